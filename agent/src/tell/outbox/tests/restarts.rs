//! Stories of what is told once although the program ends suddenly or its owner works on the box: what the book has and
//! nobody was told, what was told and is not in the book, and what is held back.

use super::*;
use crate::judge::Book;
use crate::verdict::{Cause, Confidence, Ended, Handling, Incident, IncidentId, Turned};

const MARK: &str = "5ed9e000";

fn incident(number: u32) -> Incident {
    Incident {
        id: IncidentId(number),
        cause: Cause::DataCable,
        confidence: Confidence::Likely,
        severity: Warning,
        worst: Critical,
        turns: 1,
        last_turn: Some(Turned::Opened),
        since: at(40).stamp.moment,
        conditions: Vec::new(),
        drives: Vec::new(),
        part: None,
        evidence: Vec::new(),
        unmeasured: Vec::new(),
        handling: Handling::NoTray,
        acknowledged: false,
        reported: None,
    }
}

/// A message as the agent makes it.
fn told(incident: &Incident, turn: Turn, second: u64) -> Message {
    let id = format!("{MARK}-{}.{}.{turn}", incident.id, incident.turns);
    let record = Some(Box::new(incident.clone()));
    Message { id, record, ..message(&incident.id.to_string(), 0, turn, Critical, second) }
}

fn held(message: Message) -> Message {
    Message { held: true, ..message }
}

fn book(open: &[Incident]) -> Book {
    let mut book = Book::default();
    book.mark = MARK.to_owned();
    book.recover(open.to_vec(), |_| false);
    book
}

fn numbers(book: &Book) -> Vec<(u32, u32)> {
    book.open().iter().map(|incident| (incident.id.0, incident.turns)).collect()
}

#[test]
fn what_was_told_and_not_kept_is_in_the_book_after_a_sudden_end() {
    let mut outbox = outbox(vec![rule("mail")]);
    let (kept, mut worse, lost) = (incident(4), incident(5), incident(6));
    for incident in [&kept, &worse, &lost] {
        outbox.take(told(incident, Opened, 60), &at(60));
    }
    worse.take_turn(Turned::Worsened);
    outbox.take(told(&worse, Worsened, 70), &at(70));
    // The book is from before all of that, but for the first, which has gone on since.
    let mut book = book(&[Incident { turns: 3, ..kept }, incident(5)]);
    outbox.kept().recover(&mut book, &at(80).stamp);
    assert_eq!(numbers(&book), [(4, 3), (5, 2), (6, 1)]);
    assert_eq!(book.open()[2].since, at(40).stamp.moment, "the same boot");
}

#[test]
fn what_was_told_to_be_over_is_not_open_after_a_sudden_end() {
    let mut outbox = outbox(vec![rule("mail")]);
    let mut open = incident(5);
    outbox.take(told(&open, Opened, 60), &at(60));
    let mut book = book(&[open.clone(), incident(55)]);
    open.take_turn(Turned::Closed { lasted: Duration::from_secs(9), how: Ended::Over });
    outbox.take(told(&open, Closed, 70), &at(70));
    outbox.kept().recover(&mut book, &at(80).stamp);
    assert_eq!(numbers(&book), [(55, 1)]);
}

#[test]
fn an_incident_that_comes_back_in_another_boot_began_as_long_ago_as_it_was() {
    let mut outbox = outbox(vec![rule("mail")]);
    outbox.take(told(&incident(6), Opened, 60), &at(60));
    // An hour and 20 s later by the calendar, 10 s after the machine has started again.
    let next =
        Stamp { boot_id: "summer".into(), moment: Moment::after_boot(Duration::from_secs(10)), ..at(60 + 3620).stamp };
    for (now, ago) in [(next.clone(), 3640), (Stamp { wall: None, ..next }, 30)] {
        let mut book = Book::default();
        outbox.kept().recover(&mut book, &now);
        assert_eq!(now.moment.since(book.open()[0].since).as_secs(), ago, "{now:?}");
    }
}

#[test]
fn what_is_told_again_after_a_restart_goes_only_to_ways_that_have_not_heard_of_it() {
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
    before.take_for("mail", message("test", 1, Turn::Test, Notice, 60));
    assert_eq!(sent(&mut before, "mail", &at(60)), ["5ed9e000-5.1.opened", "test.1"], "from before, and asked for");
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
    let over = Turned::Closed { lasted: Duration::from_secs(9), how: Ended::Over };
    for incident in [&mut open, &mut pulled] {
        incident.take_turn(over);
        outbox.take(held(told(incident, Closed, 70)), &at(70));
    }
    assert_eq!(outbox.kept().stories, []);
    outbox.mute(false);
    for way in ["mail", "hook"] {
        assert_eq!(sent(&mut outbox, way, &at(80)), ["5ed9e000-5.2.closed"], "who heard of it hears its end");
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
