//! Stories of tests: they wait for nothing, are answered with what the other side said, and one is under way at a time.

use super::*;
use crate::send::channels::Receipt;

type Outcome = Result<Receipt, ChannelFault>;

/// Begins a test; where its outcome comes.
fn try_channel(sender: &Sender, channel_name: &str) -> Receiver<Outcome> {
    let (reply, outcome) = channel();
    let message = example("test-code", 1, MessageKind::Test, Severity::Notice);
    sender.try_channel(channel_name, message, Box::new(move |came| drop(reply.send(came))));
    outcome
}

fn outcome(of: &Receiver<Outcome>) -> Outcome {
    of.recv_timeout(Duration::from_secs(60)).expect("an outcome")
}

fn no_bell() -> ChannelFault {
    ChannelFault::ProgramFailed { code: 1, reply: Some("no bell".to_owned()) }
}

#[test]
fn a_test_waits_for_no_pause_and_what_waits_follows_once_it_arrives() {
    let hut =
        Hut::new(&[("bell", "test -e $0/mended || { echo no bell; exit 1; }; (cat; echo) >> $0/received; echo rung")]);
    let (sender, reports) = hut.sender(&PretendWorld::default());
    sender.tell(opened("a"));
    assert!(matches!(next(&reports), SendEvent::Fails { .. }), "and is left alone for a minute of a clock that stands");
    assert_eq!(outcome(&try_channel(&sender, "bell")), Err(no_bell()));
    std::fs::write(hut.path().join("mended"), "").unwrap();
    assert_eq!(outcome(&try_channel(&sender, "bell")), Ok(Receipt::new("rung")));
    let events: Vec<SendEvent> = (0..3).map(|_| next(&reports)).collect();
    assert!(matches!(&events[0], SendEvent::WorksAgain { .. }), "{events:?}");
    assert_eq!(hut.received("received"), ["test-code.1", "a.1"]);
    // Once more than what was reported last.
    outcome(&try_channel(&sender, "bell")).unwrap();
    let state = &sender.standings()[0];
    assert!(state.trouble.is_none() && state.last_success.is_some(), "{state:?}");
    sender.finish();
}

#[test]
fn a_test_that_fails_is_trouble_of_its_channel_and_a_channel_that_is_none_is_told() {
    let hut = Hut::new(&[("bell", "echo no bell; exit 1")]);
    let (sender, reports) = hut.sender(&PretendWorld::default());
    outcome(&try_channel(&sender, "bell")).unwrap_err();
    assert!(matches!(next(&reports), SendEvent::Fails { fault, waiting: 0, .. } if fault == no_bell()));
    outcome(&try_channel(&sender, "bell")).unwrap_err();
    assert_eq!(outcome(&try_channel(&sender, "gong")), Err(ChannelFault::NotBuiltIn));
    sender.finish();
    assert_eq!(reports.try_iter().count(), 0, "once");
}

#[test]
fn one_test_at_a_time_and_a_reload_in_the_middle_of_it_is_told() {
    let hut = Hut::new(&[("bell", "touch $0/begun; sleep 1000")]);
    let (sender, _reports) = hut.sender(&PretendWorld::default());
    let first = try_channel(&sender, "bell");
    assert_eq!(outcome(&try_channel(&sender, "bell")), Err(ChannelFault::TestUnderWay));
    sender.renew(hut.wanted()).unwrap();
    assert_eq!(outcome(&first), Err(ChannelFault::Reloaded));
    // The next one is not held to be the second.
    drop(try_channel(&sender, "bell"));
    sender.finish();
}
