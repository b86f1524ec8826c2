//! Stories of what is told once although the program ends suddenly or its owner works on the box: what the incident store has and
//! nobody was told, what was told and is not in the incident store, and what is held back.

use super::*;
use crate::judge::IncidentStore;
use crate::verdict::{Cause, Confidence, Ended, Handling, Incident, IncidentId, UpdateKind};

const MARK: &str = "5ed9e000";

fn incident(number: u32) -> Incident {
    Incident {
        id: IncidentId(number),
        cause: Cause::DataCable,
        confidence: Confidence::Likely,
        severity: Warning,
        worst: Critical,
        updates: 1,
        last_update: Some(UpdateKind::Opened),
        since: at(40).stamp.moment,
        conditions: Vec::new(),
        drives: Vec::new(),
        part: None,
        evidence: Vec::new(),
        unmeasured: Vec::new(),
        handling: Handling::NoTray,
        hot_swap: false,
        acknowledged: false,
        reported: None,
    }
}

/// A message as the agent makes it.
fn told(incident: &Incident, kind: MessageKind, second: u64) -> Message {
    let id = format!("{MARK}-{}.{}.{kind}", incident.id, incident.updates);
    let record = Some(Box::new(incident.clone()));
    Message { id, record, ..message(&incident.id.to_string(), 0, kind, Critical, second) }
}

fn held(message: Message) -> Message {
    Message { held: true, ..message }
}

fn incident_store(open: &[Incident]) -> IncidentStore {
    let mut incident_store = IncidentStore::default();
    incident_store.mark = MARK.to_owned();
    incident_store.recover(open.to_vec(), |_| false);
    incident_store
}

/// As a start does.
fn recover(incident_store: &mut IncidentStore, outbox: &Outbox, now: &Stamp) {
    let (kept, mark) = (outbox.kept(), incident_store.mark.clone());
    incident_store.recover(kept.open_incidents(now), |incident| kept.has_reported_end(&mark, incident.id));
}

fn numbers(incident_store: &IncidentStore) -> Vec<(u32, u32)> {
    incident_store.open().iter().map(|incident| (incident.id.0, incident.updates)).collect()
}

#[test]
fn what_was_told_and_not_kept_is_in_the_incident_store_after_a_sudden_end() {
    let mut outbox = outbox(vec![rule("mail")]);
    let (kept, mut worse, lost) = (incident(4), incident(5), incident(6));
    for incident in [&kept, &worse, &lost] {
        outbox.take(told(incident, Opened, 60), &at(60));
    }
    worse.take_update(UpdateKind::Worsened);
    outbox.take(told(&worse, Worsened, 70), &at(70));
    // The incident store is from before all of that, but for the first, which has gone on since.
    let mut incident_store = incident_store(&[Incident { updates: 3, ..kept }, incident(5)]);
    recover(&mut incident_store, &outbox, &at(80).stamp);
    assert_eq!(numbers(&incident_store), [(4, 3), (5, 2), (6, 1)]);
    assert_eq!(incident_store.open()[2].since, at(40).stamp.moment, "the same boot");
}

#[test]
fn what_was_told_to_be_over_is_not_open_after_a_sudden_end() {
    let mut outbox = outbox(vec![rule("mail")]);
    let mut open = incident(5);
    outbox.take(told(&open, Opened, 60), &at(60));
    let mut incident_store = incident_store(&[open.clone(), incident(55)]);
    open.take_update(UpdateKind::Closed { lasted: Some(Duration::from_secs(9)), how: Ended::Over });
    outbox.take(told(&open, Closed, 70), &at(70));
    recover(&mut incident_store, &outbox, &at(80).stamp);
    assert_eq!(numbers(&incident_store), [(55, 1)]);
}

#[test]
fn an_incident_that_comes_back_in_another_boot_began_as_long_ago_as_it_was() {
    let mut outbox = outbox(vec![rule("mail")]);
    outbox.take(told(&incident(6), Opened, 60), &at(60));
    // An hour and 20 s later by the calendar, 10 s after the machine has started again.
    let next =
        Stamp { boot_id: "summer".into(), moment: Moment::after_boot(Duration::from_secs(10)), ..at(60 + 3620).stamp };
    for (now, ago) in [(next.clone(), 3640), (Stamp { wall: None, ..next }, 30)] {
        let mut incident_store = IncidentStore::default();
        recover(&mut incident_store, &outbox, &now);
        assert_eq!(now.moment.since(incident_store.open()[0].since).as_secs(), ago, "{now:?}");
    }
}

/// What the outbox of before knows, in the one of after.
fn restarted(before: &Outbox, rules: Vec<Rule>, now: &Now) -> Outbox {
    let mut after = Outbox::new(rules, policy(), before.kept()).0;
    after.begin(now);
    after
}

#[test]
fn a_channel_that_was_left_alone_is_left_alone_after_a_restart_too() {
    let mut before = outbox(vec![rule("mail"), rule("hook")]);
    before.take(message("a", 1, Opened, Warning, 0), &at(0));
    for now in [0, 60, 180] {
        let NextStep::Send(batch) = before.next("mail", &at(now)) else { panic!("nothing leaves at {now}") };
        before.begun("mail", &batch, &at(now));
        before.failed("mail", &ChannelFault::NoAnswer, &at(now), 0.5);
    }
    assert_eq!(waits_until(&before, "mail", &at(200)), Some(480));
    let mut after = restarted(&before, vec![rule("mail"), rule("hook")], &at(200));
    assert_eq!(waits_until(&after, "mail", &at(200)), Some(480), "the third pause goes on");
    assert_eq!(sent(&mut after, "hook", &at(200)), ["a.1"], "and holds up nobody else");
    // A later look at the clock does not begin it anew.
    after.begin(&at(300));
    assert_eq!(waits_until(&after, "mail", &at(300)), Some(480));
    let NextStep::Send(batch) = after.next("mail", &at(480)) else { panic!("the pause is over") };
    after.begun("mail", &batch, &at(480));
    after.failed("mail", &ChannelFault::NoAnswer, &at(480), 0.5);
    assert_eq!(waits_until(&after, "mail", &at(480)), Some(480 + 15 * 60), "the next one is longer");
    // Another place, or the same under other conditions, need not wait for it.
    let mut elsewhere = restarted(&after, vec![Rule { target: 2, ..rule("mail") }], &at(500));
    assert_eq!(sent(&mut elsewhere, "mail", &at(500)), ["a.1"]);
    assert_eq!(elsewhere.kept().pauses, []);
}

/// Whoever is killed while a channel answers has nothing to say of it any more.
#[test]
fn an_attempt_whose_end_is_not_known_has_failed() {
    let mut killed = outbox(vec![rule("mail")]);
    killed.take(message("a", 1, Opened, Critical, 0), &at(0));
    let mut now = 0;
    for wait in [60, 120, 300, 900, 3600, 3600] {
        let NextStep::Send(batch) = killed.next("mail", &at(now)) else { panic!("nothing leaves at {now}") };
        killed.begun("mail", &batch, &at(now));
        killed = restarted(&killed, vec![rule("mail")], &at(now + 2));
        assert_eq!(waits_until(&killed, "mail", &at(now + 2)), Some(now + wait));
        now += wait;
    }
    // A test that arrives ends the pause, and is remembered as a success of the channel.
    killed.proved("mail", &at(now - 9));
    assert_eq!(sent(&mut killed, "mail", &at(now - 8)), ["a.1"]);
    let after = restarted(&killed, vec![rule("mail")], &at(now));
    assert_eq!(
        (after.kept().pauses, after.standings(&at(now))[0].last_success.clone()),
        (vec![], Some(at(now - 8).stamp))
    );
    let elsewhere = Rule { target: 2, ..rule("mail") };
    assert_eq!(restarted(&killed, vec![elsewhere], &at(now)).standings(&at(now))[0].last_success, None);
}

#[test]
fn after_a_reboot_a_pause_goes_on_as_far_as_anybody_can_tell() {
    let mut before = outbox(vec![rule("mail")]);
    before.take(message("a", 1, Opened, Warning, 0), &at(9000));
    let NextStep::Send(batch) = before.next("mail", &at(9000)) else { panic!("a batch") };
    before.begun("mail", &batch, &at(9000));
    let reboot = |second: u64, calendar: Option<u64>| {
        let wall = calendar.map(|calendar| at(calendar).stamp.wall).unwrap_or_default();
        Now { stamp: Stamp { boot_id: "summer".into(), wall, ..at(second).stamp }, minute_of_day: None }
    };
    for (now, wanted) in [(reboot(10, Some(9030)), 40), (reboot(10, None), 60)] {
        let after = restarted(&before, vec![rule("mail")], &now);
        assert_eq!(waits_until(&after, "mail", &now), Some(wanted), "{now:?}");
    }
    let late = reboot(10, Some(9060));
    assert!(matches!(restarted(&before, vec![rule("mail")], &late).next("mail", &late), NextStep::Send(_)));
}

fn rehearsed(incident: &str, sequence: u32, second: u64) -> Message {
    let kind = if sequence == 1 { Opened } else { MessageKind::Closed };
    Message { is_rehearsed: true, ..message(&format!("test-{incident}"), sequence, kind, Critical, second) }
}

#[test]
fn what_a_rehearsal_could_not_say_while_it_ran_is_dropped() {
    let mut outbox = outbox(vec![rule("mail"), rule("hook"), rule("slow")]);
    outbox.take(message("real", 1, Opened, Warning, 0), &at(0));
    let NextStep::Send(batch) = outbox.next("hook", &at(0)) else { panic!("a batch") };
    outbox.begun("hook", &batch, &at(0));
    outbox.failed("hook", &ChannelFault::NoAnswer, &at(0), 0.5);
    sent(&mut outbox, "slow", &at(0));
    outbox.take(rehearsed("7", 1, 5), &at(5));
    outbox.failed("hook", &ChannelFault::NoAnswer, &at(5), 0.5);
    assert_eq!(sent(&mut outbox, "mail", &at(5)), ["real.1", "test-7.1"]);
    let NextStep::Send(slow) = outbox.next("slow", &at(9)) else { panic!("a batch") };
    outbox.begun("slow", &slow, &at(9));
    let (dropped, writes) = outbox.end_rehearsal(vec![rehearsed("7", 2, 10)], &at(10));
    assert_eq!(dropped.into_iter().collect::<Vec<_>>(), [("hook".to_owned(), 1)]);
    assert_eq!(writes[0], Write::Done("hook".into(), vec!["test-7.1".into()]));
    assert_eq!(sent(&mut outbox, "mail", &at(10)), ["test-7.2"], "who has heard of it hears its end");
    // What was under way has failed: it is not tried again, nor is the end told to somebody who has heard nothing.
    outbox.failed("slow", &ChannelFault::NoAnswer, &at(20), 0.5);
    assert_eq!(outbox.expire_rehearsal(&at(20)).0.into_values().collect::<Vec<_>>(), [1]);
    assert_eq!(outbox.expire_rehearsal(&at(70)).0.into_values().collect::<Vec<_>>(), [1], "the end had its minute");
    assert_eq!(outbox.rehearsal_expires(), None);
    assert_eq!(sent(&mut outbox, "slow", &at(999)), [""; 0]);
    assert_eq!(sent(&mut outbox, "hook", &at(999)), ["real.1"], "what is real");
}

/// It ends within a second, before all that it has to report has left.
#[test]
fn a_channel_that_got_a_part_of_a_rehearsal_gets_its_end() {
    let mut outbox = outbox(vec![rule("mail"), rule("hook")]);
    outbox.take(rehearsed("7", 1, 5), &at(5));
    assert_eq!(sent(&mut outbox, "mail", &at(5)), ["test-7.1"]);
    let NextStep::Send(batch) = outbox.next("hook", &at(5)) else { panic!("a batch") };
    outbox.begun("hook", &batch, &at(5));
    let worsened = Message { kind: Worsened, ..rehearsed("7", 2, 6) };
    outbox.take(worsened, &at(6));
    let (dropped, _) = outbox.end_rehearsal(vec![rehearsed("7", 3, 6)], &at(6));
    assert_eq!(dropped.into_values().collect::<Vec<_>>(), [1, 1]);
    assert_eq!(sent(&mut outbox, "mail", &at(6)), ["test-7.3"]);
    outbox.delivered("hook", &at(7));
    assert_eq!(sent(&mut outbox, "hook", &at(7)), ["test-7.3"], "its first message was under way");
}

#[test]
fn a_rehearsal_that_is_not_over_keeps_what_it_has_to_say() {
    let mut outbox = outbox(vec![rule("mail")]);
    outbox.take(rehearsed("7", 1, 5), &at(5));
    outbox.end_rehearsal(Vec::new(), &at(10));
    // The next one has begun before the minute after the first is over.
    outbox.take(rehearsed("8", 1, 20), &at(20));
    assert!(outbox.expire_rehearsal(&at(100)).0.is_empty());
    assert_eq!(sent(&mut outbox, "mail", &at(100)), ["test-8.1"]);
    // None outlasts a restart; held back, it would be told when its owner has long gone on.
    outbox.mute(true);
    outbox.take(held(rehearsed("9", 1, 200)), &at(200));
    let mut after = restarted(&outbox, vec![rule("mail")], &at(300));
    assert_eq!(after.drop_rehearsed().0.into_values().collect::<Vec<_>>(), [1]);
    assert_eq!(after.kept().waiting, []);
}

#[test]
fn what_is_told_again_after_a_restart_goes_only_to_channels_that_have_not_heard_of_it() {
    let mut before = outbox(vec![rule("mail")]);
    before.take(told(&incident(5), Opened, 60), &at(60));
    assert_eq!(sent(&mut before, "mail", &at(60)), ["5ed9e000-5.1.opened"]);
    // So many others later that its name alone would not be known any more.
    for n in 0..=REMEMBERED as u32 {
        before.take(message("other", n, Worsened, Warning, 60), &at(60));
    }
    (0..20).for_each(|hour| drop(sent(&mut before, "mail", &at(3600 * hour))));
    assert_eq!(before.kept().waiting, []);
    let mut after = Outbox::new(vec![rule("mail"), rule("hook")], policy(), before.kept()).0;
    after.take(told(&incident(5), Opened, 99_000), &at(99_000));
    after.take(told(&incident(6), Opened, 99_000), &at(99_000));
    assert_eq!(sent(&mut after, "mail", &at(99_000)), ["5ed9e000-6.1.opened"], "kept and not told");
    assert_eq!(sent(&mut after, "hook", &at(99_000)), ["5ed9e000-5.1.opened", "5ed9e000-6.1.opened"]);
    assert_eq!(after.take(told(&incident(5), Opened, 99_001), &at(99_001)), []);
}

#[test]
fn what_is_made_while_its_owner_works_on_the_box_waits_for_the_end_of_that_also_over_a_restart() {
    let mut before = outbox(vec![rule("mail")]);
    before.take(told(&incident(5), Opened, 0), &at(0));
    before.mute(true);
    before.take(held(told(&incident(6), Opened, 60)), &at(60));
    before.take(rehearsed("7", 1, 60), &at(60));
    assert_eq!(sent(&mut before, "mail", &at(60)), ["5ed9e000-5.1.opened", "test-7.1"], "from before, and rehearsed");
    let mut after = Outbox::new(vec![rule("mail")], policy(), before.kept()).0;
    after.mute(true);
    assert_eq!(sent(&mut after, "mail", &at(7200)), [""; 0]);
    assert_eq!(after.standings(&at(7200))[0].oldest, None, "nobody waits for it");
    let day = 24 * 3600;
    assert_eq!(remind(&mut after, &at(2 * day)), []);
    after.mute(false);
    assert_eq!(sent(&mut after, "mail", &at(7200)), ["5ed9e000-6.1.opened"]);
    assert!(!remind(&mut after, &at(2 * day)).is_empty());
}

#[test]
fn what_begins_and_ends_while_its_owner_works_on_the_box_is_not_told() {
    let mut outbox = outbox(vec![rule("mail"), rule("hook")]);
    let (mut open, mut pulled) = (incident(5), incident(6));
    outbox.take(told(&open, Opened, 0), &at(0));
    sent(&mut outbox, "mail", &at(0));
    sent(&mut outbox, "hook", &at(0));
    outbox.mute(true);
    outbox.take(held(told(&pulled, Opened, 60)), &at(60));
    let over = UpdateKind::Closed { lasted: Some(Duration::from_secs(9)), how: Ended::Over };
    for incident in [&mut open, &mut pulled] {
        incident.take_update(over);
        outbox.take(held(told(incident, Closed, 70)), &at(70));
    }
    assert_eq!(outbox.kept().incidents, []);
    outbox.mute(false);
    for channel in ["mail", "hook"] {
        assert_eq!(sent(&mut outbox, channel, &at(80)), ["5ed9e000-5.2.closed"], "who heard of it hears its end");
    }
}

#[test]
fn what_is_held_back_is_bounded() {
    let mut outbox = outbox(vec![rule("mail")]);
    outbox.mute(true);
    for n in 0..MOST as u32 + 40 {
        outbox.take(held(told(&incident(n), Opened, 60)), &at(60));
    }
    outbox.mute(false);
    let kept = outbox.kept().waiting;
    assert_eq!((kept.len(), kept.iter().map(|waiting| waiting.left_out).sum::<u32>()), (MOST, 40));
}
