//! Stories of what leaves when: routes, order, floods, quiet nights, failures, a queue that is full, and a restart.

mod restarts;

use super::fold::MOST;
use super::*;
use crate::clock::Moment;
use crate::tell::delivery::ChannelFault;
use crate::tell::message::{About, Message, MessageKind, Stamp, Topic, WallStamp, example};
use crate::verdict::Severity;
use MessageKind::{Closed, Opened, Worsened};
use Severity::{Critical, Notice, Warning};
use proptest::prelude::*;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;
use traylight_config::QuietHours;

fn rule(channel: &str) -> Rule {
    Rule { channel: channel.to_owned(), min_severity: Warning, topics: Vec::new(), shares_batches: true, target: 1 }
}

fn policy() -> Policy {
    Policy { quiet: None, remind_every: Duration::from_secs(24 * 3600), all_well_every: None }
}

fn outbox(rules: Vec<Rule>) -> Outbox {
    Outbox::new(rules, policy(), Kept::default()).0
}

/// The second on the boot clock; noon at second 0.
fn at(second: u64) -> Now {
    let wall = WallStamp { epoch_s: 1_778_752_800 + second, text: "2026-05-14T12:00:00+02:00".to_owned() };
    let stamp =
        Stamp { boot_id: "spring".into(), moment: Moment::after_boot(Duration::from_secs(second)), wall: Some(wall) };
    Now { stamp, minute_of_day: u16::try_from((12 * 60 + second / 60) % 1440).ok() }
}

fn message(incident: &str, sequence: u32, kind: MessageKind, severity: Severity, second: u64) -> Message {
    Message { made_at: at(second).stamp, ..example(incident, sequence, kind, severity) }
}

/// Lets everything leave that may leave now; the names in each batch.
fn sent(outbox: &mut Outbox, channel: &str, now: &Now) -> Vec<String> {
    let mut batches = Vec::new();
    while let NextStep::Send(batch) = outbox.next(channel, now) {
        outbox.begun(channel, &batch, now);
        outbox.delivered(channel, now);
        batches.push(batch.ids().join(" "));
    }
    batches
}

fn rejected() -> ChannelFault {
    ChannelFault::Rejected { reply: "550 no".to_owned() }
}

/// Lets it look for what is to be told again; its owner has acknowledged nothing.
fn remind(outbox: &mut Outbox, now: &Now) -> Vec<Write> {
    let all = outbox.incidents.keys().cloned().collect();
    outbox.remind(now, &all)
}

fn waits_until(outbox: &Outbox, channel: &str, now: &Now) -> Option<u64> {
    match outbox.next(channel, now) {
        NextStep::Wait(until) => until.map(|until| until.since_boot().as_secs()),
        NextStep::Send(batch) => panic!("{:?} would leave", batch.ids()),
    }
}

#[test]
fn each_channel_is_told_of_what_it_asked_for() {
    let pools = Rule { topics: vec![Topic::Pool], ..rule("pools") };
    let grave = Rule { min_severity: Critical, ..rule("grave") };
    let mut outbox = outbox(vec![rule("mail"), pools, grave, Rule { min_severity: Notice, ..rule("all") }]);
    let pool = vec![About { topic: Topic::Pool, name: "md0".into() }];
    outbox.take(message("a", 1, Opened, Notice, 0), &at(0));
    outbox.take(message("b", 1, Opened, Warning, 0), &at(0));
    outbox.take(Message { about: pool, ..message("c", 1, Opened, Critical, 0) }, &at(0));
    let mut told = |channel| sent(&mut outbox, channel, &at(0)).join(", ");
    assert_eq!([told("mail"), told("pools"), told("grave"), told("all")], ["b.1, c.1", "c.1", "c.1", "a.1, b.1, c.1"]);
}

#[test]
fn who_was_told_of_a_beginning_is_told_of_the_end_and_nobody_else() {
    let mut outbox = outbox(vec![rule("mail"), Rule { min_severity: Critical, ..rule("grave") }]);
    outbox.take(message("a", 1, Opened, Warning, 0), &at(0));
    outbox.take(message("a", 2, Closed, Critical, 5), &at(5));
    // It eased before anybody thought it critical: whoever asked for critical ones never heard of it.
    assert_eq!(sent(&mut outbox, "grave", &at(5)), [""; 0]);
    assert_eq!(sent(&mut outbox, "mail", &at(5)), ["a.1", "a.2"]);
    // An end whose beginning was lost with the store is told to all who would have heard of it.
    outbox.take(message("b", 2, Closed, Critical, 9), &at(9));
    assert_eq!(
        (sent(&mut outbox, "mail", &at(9)), sent(&mut outbox, "grave", &at(9))),
        (vec!["b.2".into()], vec!["b.2".into()])
    );
}

#[test]
fn the_same_message_twice_is_one() {
    let mut outbox = outbox(vec![rule("mail")]);
    assert!(!outbox.take(message("a", 1, Opened, Warning, 0), &at(0)).is_empty());
    assert_eq!(outbox.take(message("a", 1, Opened, Warning, 0), &at(0)), []);
    assert_eq!(sent(&mut outbox, "mail", &at(0)), ["a.1"]);
    // Also after it has left, and after a restart: whoever tells need not know what was told.
    let mut outbox = Outbox::new(vec![rule("mail")], policy(), outbox.kept()).0;
    assert_eq!(outbox.take(message("a", 1, Opened, Warning, 0), &at(0)), []);
    for n in 0..2 * REMEMBERED {
        outbox.take(message(&format!("b{n}"), 1, Opened, Warning, 0), &at(0));
    }
    assert_eq!(outbox.kept().taken.len(), REMEMBERED, "not for ever");
}

#[test]
fn a_flood_becomes_one_batch_and_critical_ones_wait_a_minute_at_most() {
    let mut outbox = outbox(vec![rule("mail"), Rule { shares_batches: false, ..rule("broker") }]);
    for n in 1..=5 {
        outbox.take(message(&format!("i{n}"), 1, Opened, Warning, 0), &at(0));
    }
    assert_eq!(sent(&mut outbox, "mail", &at(0)).len(), 5, "five have each a batch of their own");
    for n in 6..=8 {
        outbox.take(message(&format!("i{n}"), 1, Opened, Warning, 30), &at(30));
    }
    assert_eq!(waits_until(&outbox, "mail", &at(30)), Some(600));
    outbox.take(message("i9", 1, Opened, Critical, 40), &at(40));
    assert_eq!(waits_until(&outbox, "mail", &at(40)), Some(60));
    assert_eq!(sent(&mut outbox, "mail", &at(60)), ["i6.1 i7.1 i8.1 i9.1"]);
    assert_eq!(sent(&mut outbox, "broker", &at(60)).len(), 9, "a program reads each by itself");
    outbox.take(message("i10", 1, Opened, Warning, 601), &at(601));
    assert_eq!(sent(&mut outbox, "mail", &at(601)), ["i10.1"], "the burst is over");
}

/// Rehearsals are practice: nobody waits for a real alert because of them, nor do they get lost in a flood of real ones.
#[test]
fn tests_use_up_no_burst_and_wait_for_none() {
    let mut outbox = outbox(vec![rule("mail")]);
    let test = |n| Message { is_rehearsed: true, ..message(&format!("test-{n}"), 1, Opened, Warning, 0) };
    (1..=7).for_each(|n| drop(outbox.take(test(n), &at(0))));
    assert_eq!(sent(&mut outbox, "mail", &at(0)).len(), 7);
    for n in 1..=5 {
        outbox.take(message(&format!("i{n}"), 1, Opened, Warning, 1), &at(1));
    }
    assert_eq!(sent(&mut outbox, "mail", &at(1)).len(), 5, "real ones leave immediately");
    outbox.take(message("i6", 1, Opened, Warning, 2), &at(2));
    outbox.take(test(8), &at(2));
    assert_eq!(sent(&mut outbox, "mail", &at(2)), ["test-8.1"]);
    assert_eq!(waits_until(&outbox, "mail", &at(2)), Some(601));
    outbox.take(test(9), &at(601));
    assert_eq!(sent(&mut outbox, "mail", &at(601)), ["i6.1", "test-9.1"], "what is real goes first");
}

#[test]
fn a_test_that_fails_holds_up_no_real_message_and_is_not_counted_with_them() {
    let mut outbox = outbox(vec![rule("mail")]);
    let test = |n| Message { is_rehearsed: true, ..message(&format!("test-{n}"), 1, Opened, Warning, 0) };
    outbox.take(test(1), &at(0));
    let NextStep::Send(batch) = outbox.next("mail", &at(0)) else { panic!("a batch") };
    assert_eq!(outbox.begun("mail", &batch, &at(0)).len(), 1, "no pause that a restart would go on with");
    outbox.failed("mail", &rejected(), &at(0), 0.5);
    assert_eq!(waits_until(&outbox, "mail", &at(0)), Some(60), "the test is tried again in a minute");
    let standing = outbox.standings(&at(50)).remove(0);
    assert_eq!((standing.waiting, standing.oldest), (0, None), "no real message waits");
    assert!(standing.trouble.is_some(), "but the channel has failed");
    for n in 1..=6 {
        outbox.take(message(&format!("i{n}"), 1, Opened, Warning, 1), &at(1));
    }
    assert_eq!(outbox.standings(&at(50))[0].oldest, Some(at(1).stamp));
    assert_eq!(sent(&mut outbox, "mail", &at(1)), ["i1.1 i2.1 i3.1 i4.1 i5.1 i6.1", "test-1.1"], "together, as ever");
}

#[test]
fn what_has_waited_through_a_failure_leaves_in_batches_of_fifty() {
    let mut outbox = outbox(vec![rule("mail")]);
    for n in 0..120 {
        outbox.take(message(&format!("i{n}"), 1, Opened, Critical, 0), &at(0));
    }
    let first = sent(&mut outbox, "mail", &at(3600));
    assert_eq!(first.iter().map(|batch| batch.split(' ').count()).collect::<Vec<_>>(), [50, 50, 20]);
}

#[test]
fn in_quiet_hours_only_what_is_critical_leaves_with_what_came_before_it() {
    let quiet = Some(QuietHours { from: 12 * 60, until: 13 * 60 });
    let mut outbox = Outbox::new(vec![rule("mail")], Policy { quiet, ..policy() }, Kept::default()).0;
    outbox.take(message("a", 1, Opened, Warning, 0), &at(0));
    outbox.take(message("b", 1, Opened, Warning, 0), &at(0));
    assert_eq!(waits_until(&outbox, "mail", &at(60)), Some(3600));
    outbox.take(message("b", 2, Worsened, Critical, 120), &at(120));
    assert_eq!(sent(&mut outbox, "mail", &at(120)), ["b.1", "b.2"]);
    outbox.take(Message { is_rehearsed: true, ..message("test-7", 1, Opened, Warning, 180) }, &at(180));
    assert_eq!(sent(&mut outbox, "mail", &at(180)), ["test-7.1"], "somebody waits for it");
    assert_eq!(sent(&mut outbox, "mail", &at(3600)), ["a.1"]);
}

#[test]
fn a_channel_that_fails_is_left_alone_for_longer_and_longer_and_holds_nobody_up() {
    let mut outbox = outbox(vec![rule("mail"), rule("hook")]);
    outbox.take(message("a", 1, Opened, Warning, 0), &at(0));
    let (mut now, mut pauses) = (0, Vec::new());
    for failure in 0..6 {
        let NextStep::Send(batch) = outbox.next("mail", &at(now)) else { panic!("nothing leaves at {now}") };
        assert_eq!(batch.first.attempt, failure + 1);
        outbox.begun("mail", &batch, &at(now));
        assert_eq!(outbox.next("mail", &at(now)), NextStep::Wait(None), "one batch at a time");
        assert_eq!(outbox.failed("mail", &ChannelFault::NoAnswer, &at(now), 0.5), failure == 0);
        let until = waits_until(&outbox, "mail", &at(now)).expect("a pause");
        pauses.push((until - now) / 60);
        now = until;
    }
    assert_eq!(pauses, [1, 2, 5, 15, 60, 60]);
    assert_eq!(sent(&mut outbox, "hook", &at(0)), ["a.1"]);
    let standing = outbox.standings(&at(now)).remove(0);
    assert_eq!((standing.waiting, standing.oldest), (1, Some(at(0).stamp)), "its age grows while nothing happens");
    assert_eq!(standing.trouble, Some((at(0).stamp, ChannelFault::NoAnswer)));
    outbox.failed("mail", &ChannelFault::NoAnswer, &at(now), 0.5);
    outbox.road_changed();
    let NextStep::Send(batch) = outbox.next("mail", &at(now)) else { panic!("the road has changed") };
    outbox.begun("mail", &batch, &at(now));
    assert_eq!(outbox.delivered("mail", &at(now)).1, Some(Duration::from_secs(now)), "how long it had failed");
    outbox.take(message("b", 1, Opened, Warning, now), &at(now));
    outbox.begun("mail", &batch, &at(now));
    outbox.failed("mail", &ChannelFault::NoAnswer, &at(now), 0.5);
    assert_eq!(waits_until(&outbox, "mail", &at(now)), Some(now + 60), "the pauses begin anew");
}

#[test]
fn a_batch_that_is_refused_does_not_stand_before_the_others() {
    let mut outbox = outbox(vec![rule("mail")]);
    for n in 1..=3 {
        outbox.take(message("bad", n, Worsened, Warning, 0), &at(0));
    }
    for n in 1..=4 {
        outbox.take(message(&format!("good{n}"), 1, Opened, Warning, 0), &at(0));
    }
    let (mut now, mut arrived) = (0, Vec::new());
    for _ in 0..10 {
        if arrived.len() == 4 {
            break;
        }
        let NextStep::Send(batch) = outbox.next("mail", &at(now)) else { panic!("{now}: {arrived:?}") };
        outbox.begun("mail", &batch, &at(now));
        if batch.ids().iter().any(|id| id == "bad.1") {
            outbox.failed("mail", &rejected(), &at(now), 0.5);
            now = waits_until(&outbox, "mail", &at(now)).expect("a pause");
        } else {
            outbox.delivered("mail", &at(now));
            arrived.push(batch.ids().join(" "));
        }
    }
    assert_eq!(arrived, ["good1.1", "good2.1", "good3.1", "good4.1"]);
    let left: Vec<String> = outbox.kept().waiting.iter().map(|waiting| waiting.message.id.clone()).collect();
    assert_eq!(left, ["bad.1", "bad.2", "bad.3"], "kept, and in order");
}

#[test]
fn a_critical_incident_that_stays_open_is_told_again_every_day() {
    let mut outbox = outbox(vec![rule("mail")]);
    outbox.take(message("a", 1, Opened, Critical, 0), &at(0));
    outbox.take(message("b", 1, Opened, Warning, 0), &at(0));
    let day = 24 * 3600;
    assert_eq!(remind(&mut outbox, &at(day)), [], "who has not got the first needs no reminder");
    sent(&mut outbox, "mail", &at(0));
    assert_eq!(remind(&mut outbox, &at(day - 1)), []);
    assert!(!remind(&mut outbox, &at(day)).is_empty());
    assert_eq!(sent(&mut outbox, "mail", &at(day)), ["a.reminder-1"]);
    assert_eq!(remind(&mut outbox, &at(2 * day - 1)), []);
    remind(&mut outbox, &at(2 * day));
    assert_eq!(sent(&mut outbox, "mail", &at(2 * day)), ["a.reminder-2"]);
    let acknowledged = BTreeSet::from(["b".to_owned()]);
    assert_eq!(outbox.remind(&at(3 * day), &acknowledged), [], "its owner knows of it");
    outbox.take(message("a", 2, Closed, Critical, 2 * day), &at(2 * day));
    sent(&mut outbox, "mail", &at(2 * day));
    assert_eq!(remind(&mut outbox, &at(9 * day)), [], "it is over");
}

#[test]
fn that_all_is_well_is_due_a_period_after_the_first_look() {
    let policy = Policy { all_well_every: Some(Duration::from_secs(7 * 24 * 3600)), ..policy() };
    let mut outbox = Outbox::new(vec![Rule { min_severity: Critical, ..rule("mail") }], policy, Kept::default()).0;
    let unset = Now { stamp: Stamp { wall: None, ..at(0).stamp }, minute_of_day: None };
    assert_eq!(outbox.begin(&unset), [], "the count would not survive a restart");
    assert_eq!(outbox.begin(&at(0)), [Write::AllWell(at(0).stamp)]);
    let week = 7 * 24 * 3600;
    assert!(!outbox.all_well_is_due(&at(week - 1)));
    assert!(outbox.all_well_is_due(&at(week)));
    outbox.take(message("all-well", 1, MessageKind::AllWell, Notice, week), &at(week));
    assert!(!outbox.all_well_is_due(&at(week + 1)));
    assert_eq!(sent(&mut outbox, "mail", &at(week)), ["all-well.1"]);
}

#[test]
fn a_full_queue_keeps_the_first_and_the_last_of_each_incident_and_counts_the_rest() {
    let mut outbox = outbox(vec![rule("mail")]);
    for n in 1..=MOST as u32 + 100 {
        outbox.take(message("a", n, Worsened, Critical, 0), &at(0));
        outbox.take(message("b", n, Worsened, Warning, 0), &at(0));
    }
    let kept = outbox.kept().waiting;
    assert_eq!(kept.len(), MOST);
    let of = |incident: &str| -> Vec<&Waiting> { kept.iter().filter(|w| w.message.incident == incident).collect() };
    for incident in ["a", "b"] {
        let ids: Vec<&str> = of(incident).iter().map(|waiting| waiting.message.id.as_str()).collect();
        assert_eq!((ids[0], ids[ids.len() - 1]), (&*format!("{incident}.1"), &*format!("{incident}.600")));
    }
    let left_out: u32 = kept.iter().map(|waiting| waiting.left_out).sum();
    assert_eq!(left_out as usize + kept.len(), 1200, "each is there or counted");
}

#[test]
fn a_queue_full_of_incidents_gives_up_beginnings_of_those_that_are_over_then_the_least_severe() {
    let mut outbox = outbox(vec![Rule { min_severity: Notice, ..rule("mail") }]);
    for n in 0..MOST {
        outbox.take(message(&format!("over{n}"), 1, Opened, Warning, 0), &at(0));
        outbox.take(message(&format!("over{n}"), 2, Closed, Warning, 0), &at(0));
    }
    let kept = outbox.kept().waiting;
    assert_eq!(kept.len(), MOST);
    assert!(
        kept.iter().all(|waiting| waiting.message.kind == Closed && waiting.left_out == 1),
        "every end, each counts its beginning"
    );
    for n in 0..10 {
        outbox.take(message(&format!("open{n}"), 1, Opened, Critical, 0), &at(0));
    }
    let kept = outbox.kept().waiting;
    assert_eq!(kept.len(), MOST);
    assert_eq!(kept.iter().filter(|waiting| waiting.message.severity == Critical).count(), 10);
    assert_eq!(kept.iter().map(|waiting| waiting.left_out as usize).sum::<usize>() + kept.len(), 2 * MOST + 10);
}

/// The newest message of an incident names all that holds in it: what came before it is the first to go, however bad.
#[test]
fn a_full_queue_gives_up_no_newest_message_while_there_is_an_older_one() {
    let mut outbox = outbox(vec![rule("mail")]);
    outbox.take(message("alone", 1, Opened, Warning, 0), &at(0));
    for n in 0..MOST / 2 {
        outbox.take(message(&format!("open{n}"), 1, Opened, Critical, 0), &at(0));
        outbox.take(message(&format!("open{n}"), 2, Worsened, Warning, 0), &at(0));
    }
    let kept = outbox.kept().waiting;
    assert_eq!(kept.len(), MOST);
    assert_eq!(kept.iter().filter(|waiting| waiting.message.kind == Worsened).count(), MOST / 2);
    assert!(kept.iter().any(|waiting| waiting.message.incident == "alone"));
}

#[test]
fn after_a_restart_it_goes_on_where_it_stood() {
    let mut before = outbox(vec![rule("mail"), rule("hook"), rule("old")]);
    before.take(message("a", 1, Opened, Critical, 0), &at(0));
    let NextStep::Send(batch) = before.next("mail", &at(0)) else { panic!("a batch") };
    before.begun("mail", &batch, &at(0));
    sent(&mut before, "hook", &at(0));
    let (mut after, orphans, writes) = Outbox::new(vec![rule("mail"), rule("hook")], policy(), before.kept());
    assert_eq!(orphans, BTreeMap::from([("old".to_owned(), 1)]));
    assert_eq!(writes, [Write::Done("old".into(), vec!["a.1".into()])]);
    let NextStep::Send(batch) = after.next("mail", &at(1)) else { panic!("a batch") };
    assert_eq!(batch.first.attempt, 2, "it may have arrived before");
    assert_eq!(sent(&mut after, "hook", &at(1)), [""; 0]);
    after.take(message("a", 2, Closed, Critical, 2), &at(2));
    assert_eq!(sent(&mut after, "mail", &at(2)), ["a.1", "a.2"]);
}

proptest! {
    /// Whatever is taken in, fails, is refused or arrives: what belongs to one incident arrives in its order, once,
    /// and nothing is lost as long as there is room.
    #[test]
    fn incidents_keep_their_order(turns in prop::collection::vec((0..6usize, 0..4u8, 0..3u8), 1..120)) {
        let mut outbox = outbox(vec![rule("mail")]);
        let mut made = [0u32; 6];
        let mut arrived: BTreeMap<String, Vec<String>> = BTreeMap::new();
        let (mut now, mut wanted) = (0, 0);
        let mut attempt = |outbox: &mut Outbox, now: u64, fate: u8| {
            let NextStep::Send(batch) = outbox.next("mail", &at(now)) else { return };
            outbox.begun("mail", &batch, &at(now));
            match fate {
                0 => drop(outbox.failed("mail", &ChannelFault::NoAnswer, &at(now), 0.5)),
                1 => drop(outbox.failed("mail", &rejected(), &at(now), 0.5)),
                _ => {
                    outbox.delivered("mail", &at(now));
                    for item in batch.items() {
                        arrived.entry(item.message.incident.clone()).or_default().push(item.message.id.clone());
                    }
                }
            }
        };
        for (incident, fate, count) in turns {
            for _ in 0..count {
                made[incident] += 1;
                wanted += 1;
                outbox.take(message(&format!("i{incident}"), made[incident], Worsened, Warning, now), &at(now));
            }
            attempt(&mut outbox, now, fate);
            now += 90;
        }
        for _ in 0..wanted + 1 {
            now += 4000;
            attempt(&mut outbox, now, 3);
        }
        prop_assert_eq!(arrived.values().map(Vec::len).sum::<usize>(), wanted);
        for (incident, ids) in arrived {
            let in_order: Vec<String> = (1..=ids.len()).map(|n| format!("{incident}.{n}")).collect();
            prop_assert_eq!(ids, in_order);
        }
    }
}
