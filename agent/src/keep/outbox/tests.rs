//! Stories of the kept outbox: what waits comes back as it was, after a restart, a cut, a full disk, and from the store
//! of the version before.

#![allow(clippy::unwrap_used, clippy::expect_used, reason = "a failing step fails the test")]
#![allow(clippy::disallowed_methods, reason = "the stories make and bend files")]

use super::*;
use crate::clock::{Clock, Moment};
use crate::keep::{Store, Trouble};
use crate::tell::message::{MessageKind, example};
use crate::tell::outbox::{NextStep, Now, Outbox, Policy, Rule};
use crate::verdict::Severity;
use std::fs;
use std::time::Duration;
use tempfile::TempDir;

fn rules() -> Vec<Rule> {
    let rule = |channel: &str| Rule {
        channel: channel.into(),
        min_severity: Severity::Notice,
        topics: Vec::new(),
        shares_batches: true,
        target: 1,
    };
    vec![rule("mail"), rule("hook")]
}

fn policy() -> Policy {
    Policy { quiet: None, remind_every: Duration::from_secs(86_400), all_well_every: None }
}

fn now() -> Now {
    let stamp = Stamp { boot_id: "spring".into(), moment: Moment::after_boot(Duration::from_secs(60)), wall: None };
    Now { stamp, minute_of_day: None }
}

fn with_store() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    Store::open(folder.path(), Clock::default()).unwrap();
    folder
}

fn opened(folder: &TempDir) -> OutboxStore {
    OutboxStore::open(folder.path()).unwrap_or_else(|fault| panic!("{fault}"))
}

/// Plays a day of an outbox, each step of it stored: taken in, tried, arrived, left out, over.
fn day(outbox: &mut Outbox, mut store: impl FnMut(&[Write], &Outbox)) {
    for n in 1..=4 {
        let page = Some(vec![0x89, b'P', b'N', b'G', n as u8]);
        let opened = Message { page, ..example(&format!("{n}"), 1, MessageKind::Opened, Severity::Critical) };
        let writes = outbox.take(opened, &now());
        store(&writes, outbox);
    }
    let closed = outbox.take(example("2", 2, MessageKind::Closed, Severity::Critical), &now());
    store(&closed, outbox);
    for channel in ["mail", "hook"] {
        let NextStep::Send(batch) = outbox.next(channel, &now()) else { panic!("a batch") };
        let begun = outbox.begun(channel, &batch, &now());
        store(&begun, outbox);
        if channel == "mail" {
            let (arrived, _) = outbox.delivered(channel, &now());
            store(&arrived, outbox);
        }
    }
    for n in 3..700 {
        let writes = outbox.take(example("4", n, MessageKind::Worsened, Severity::Critical), &now());
        store(&writes, outbox);
    }
}

#[test]
fn after_each_step_the_store_holds_what_the_outbox_holds() {
    let folder = with_store();
    let mut store = opened(&folder);
    let mut outbox = Outbox::new(rules(), policy(), store.load().unwrap()).0;
    let mut steps = 0;
    day(&mut outbox, |writes, outbox| {
        store.apply(writes).unwrap();
        steps += 1;
        // The end of the day is one long flood of the same: looked at now and then.
        if steps < 20 || steps % 100 == 0 {
            let (mut kept, mut wanted) = (store.load().unwrap(), outbox.kept());
            for kept in [&mut kept, &mut wanted] {
                kept.waiting.sort_by(|a, b| (&a.channel, &a.message.id).cmp(&(&b.channel, &b.message.id)));
            }
            assert_eq!(kept, wanted, "after step {steps}");
        }
    });
    drop(store);
    let again = opened(&folder).load().unwrap();
    let pages = again.waiting.iter().filter(|waiting| waiting.message.page.is_some()).count();
    assert!(pages >= 4, "pictures are kept: {pages}");
    let in_order = |channel: &str| -> Vec<u32> {
        let of_four = again.waiting.iter().filter(|w| w.channel == channel && w.message.incident == "4");
        of_four.map(|w| w.message.id.rsplit('.').next().unwrap().parse().unwrap()).collect()
    };
    assert!(in_order("mail").is_sorted() && in_order("mail").len() > 100);
    // Nothing is left of what went everywhere or was left out.
    let rows: i64 = opened(&folder).database.query_row("SELECT count(*) FROM message", [], |row| row.get(0)).unwrap();
    assert!(rows as usize <= again.waiting.len(), "{rows} messages for {} that wait", again.waiting.len());
}

#[test]
fn a_store_that_could_not_be_written_is_written_anew_in_one_go() {
    let folder = with_store();
    let mut store = opened(&folder);
    let mut outbox = Outbox::new(rules(), policy(), Kept::default()).0;
    // As on a disk that is full: the database says the same at a limit of its own (SQLite, SQLITE_FULL).
    let pages: i64 = store.database.pragma_query_value(None, "page_count", |row| row.get(0)).unwrap();
    store.database.execute_batch(&format!("PRAGMA max_page_count = {pages}")).unwrap();
    let mut faults = Vec::new();
    day(&mut outbox, |writes, _| faults.extend(store.apply(writes).err()));
    assert!(faults.iter().all(|fault| fault.trouble == Trouble::Full) && !faults.is_empty(), "{faults:?}");
    assert!(store.replace(&outbox.kept()).is_err(), "still full");
    store.database.execute_batch("PRAGMA max_page_count = 100000").unwrap();
    store.replace(&outbox.kept()).unwrap();
    assert_eq!(store.load().unwrap().incidents, outbox.kept().incidents);
    assert_eq!(store.load().unwrap().taken, outbox.kept().taken);
    assert_eq!(store.load().unwrap().waiting.len(), outbox.kept().waiting.len());
    // What is written anew is found again by what comes later.
    let NextStep::Send(batch) = outbox.next("mail", &now()) else { panic!("a batch") };
    store.apply(&outbox.begun("mail", &batch, &now())).unwrap();
    store.apply(&outbox.delivered("mail", &now()).0).unwrap();
    assert_eq!(store.load().unwrap().waiting.len(), outbox.kept().waiting.len());
}

/// What has left on one channel already must not change the order of what waits for another.
#[test]
fn what_is_written_anew_keeps_its_order_on_every_channel() {
    let folder = with_store();
    let mut store = opened(&folder);
    let mut outbox = Outbox::new(rules(), policy(), Kept::default()).0;
    outbox.take(example("7", 1, MessageKind::Opened, Severity::Critical), &now());
    let NextStep::Send(batch) = outbox.next("mail", &now()) else { panic!("a batch") };
    outbox.begun("mail", &batch, &now());
    outbox.delivered("mail", &now());
    outbox.take(example("7", 2, MessageKind::Closed, Severity::Critical), &now());
    store.replace(&outbox.kept()).unwrap();
    let kept = store.load().unwrap().waiting;
    let hook: Vec<&str> = kept.iter().filter(|w| w.channel == "hook").map(|w| w.message.id.as_str()).collect();
    assert_eq!(hook, ["7.1", "7.2"]);
}

#[test]
fn the_store_of_the_version_before_gets_an_outbox_and_keeps_its_ledger() {
    let folder = with_store();
    let old = Connection::open(folder.path().join(FILE)).unwrap();
    old.execute_batch(
        "DROP TABLE waiting; DROP TABLE message; DROP TABLE story; DROP TABLE all_well; DROP TABLE confirmation; DROP TABLE taken;
         DROP TABLE given; PRAGMA user_version = 1;",
    )
    .unwrap();
    let ledger = crate::keep::store::tests::ledger(7).0;
    old.execute("REPLACE INTO ledger (id, body) VALUES (1, ?1)", [serde_json::to_string(&ledger).unwrap()]).unwrap();
    drop(old);
    let (store, remarks) = Store::open(folder.path(), Clock::default()).unwrap();
    assert_eq!(remarks, [""; 0]);
    let json = |ledger| serde_json::to_string(ledger).unwrap();
    assert_eq!(json(&store.load_ledger().unwrap()), json(&ledger));
    let mut outbox = opened(&folder);
    let put = Write::Put(Arc::new(example("7", 1, MessageKind::Opened, Severity::Critical)), vec!["mail".into()]);
    outbox.apply(&[put]).unwrap();
    assert_eq!(outbox.load().unwrap().waiting.len(), 1);
    store.save_ledger(&ledger).unwrap();
}

/// Channels had another name in the third version: in columns, and in what is kept as JSON.
#[test]
fn a_store_that_calls_channels_otherwise_keeps_its_ledger_and_what_waits() {
    let folder = with_store();
    let (ledger, drive) = crate::keep::store::tests::ledger(7);
    Store::open(folder.path(), Clock::default()).unwrap().0.save_ledger(&ledger).unwrap();
    let mut store = opened(&folder);
    let mut outbox = Outbox::new(rules(), policy(), Kept::default()).0;
    store.apply(&outbox.take(example("7", 1, MessageKind::Opened, Severity::Critical), &now())).unwrap();
    let NextStep::Send(batch) = outbox.next("mail", &now()) else { panic!("a batch") };
    store.apply(&outbox.begun("mail", &batch, &now())).unwrap();
    store.ask("mail", "keeper@example.org", "4821").unwrap();
    store.confirm("4821").unwrap();
    let kept = store.load().unwrap();
    assert!(!kept.waiting.is_empty() && !kept.incidents.is_empty() && !kept.pauses.is_empty(), "{kept:?}");
    let back = "ALTER TABLE waiting RENAME COLUMN channel TO way; ALTER TABLE pause RENAME COLUMN channel TO way;
        ALTER TABLE confirmation RENAME COLUMN channel TO way;
        UPDATE story SET body = replace(body, '\"channels\":', '\"ways\":');
        UPDATE pause SET body = replace(body, '\"channel\":', '\"way\":'); PRAGMA user_version = 3;";
    store.database.execute_batch(back).unwrap();
    drop(store);

    let (store, remarks) = Store::open(folder.path(), Clock::default()).unwrap();
    assert_eq!(remarks, [""; 0]);
    assert_eq!(store.load_ledger().unwrap().now(&drive, "reallocated_sectors"), Some(7));
    let mut outbox = opened(&folder);
    assert_eq!(outbox.load().unwrap(), kept);
    assert!(outbox.is_confirmed("mail", "keeper@example.org").unwrap());
    outbox.apply(&[Write::Done("mail".into(), vec![kept.waiting[0].message.id.clone()])]).unwrap();
}

/// Wherever the log of the database ends, each step is there whole or not at all, so that nothing that was said to be
/// stored is half there.
#[test]
fn a_cut_at_any_moment_leaves_whole_steps() {
    let folder = with_store();
    let mut store = opened(&folder);
    for n in 1..=5 {
        let message = Arc::new(example(&format!("{n}"), 1, MessageKind::Opened, Severity::Critical));
        store.apply(&[Write::Put(message, vec!["mail".into(), "hook".into()])]).unwrap();
    }
    let file = fs::read(folder.path().join(FILE)).unwrap();
    let log = fs::read(folder.path().join("store.db-wal")).unwrap();
    let mut seen = Vec::new();
    for end in (0..=log.len()).step_by(512).chain([log.len()]) {
        let cut = tempfile::tempdir().unwrap();
        fs::write(cut.path().join(FILE), &file).unwrap();
        fs::write(cut.path().join("store.db-wal"), &log[..end]).unwrap();
        let (_, remarks) = Store::open(cut.path(), Clock::default()).unwrap();
        assert_eq!(remarks, [""; 0], "cut at {end}");
        seen.push(opened(&cut).load().unwrap().waiting.len());
    }
    assert!(seen.is_sorted(), "{seen:?}");
    seen.dedup();
    assert_eq!(seen, [0, 2, 4, 6, 8, 10]);
}

#[test]
fn an_outbox_that_is_cut_or_filled_with_zeros_is_set_aside_with_its_store() {
    let folder = with_store();
    let mut store = opened(&folder);
    let message = Arc::new(example("7", 1, MessageKind::Opened, Severity::Critical));
    store.apply(&[Write::Put(message, vec!["mail".into()])]).unwrap();
    drop(store);
    let good = fs::read(folder.path().join(FILE)).unwrap();
    let half = good.len() / 2;
    for bytes in [good[..half].to_vec(), [&good[..half], &vec![0; half]].concat(), vec![0; good.len()]] {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join(FILE), &bytes).unwrap();
        let (_store, remarks) = Store::open(folder.path(), Clock::default()).unwrap();
        assert!(remarks[0].contains("found a damaged file"), "{remarks:?}");
        assert_eq!(opened(&folder).load().unwrap(), Kept::default());
        assert_eq!(fs::read(folder.path().join("store.db.aside-1")).unwrap(), bytes, "kept as it was found");
    }
}

#[test]
fn a_channel_is_confirmed_by_the_code_that_was_read_there_and_only_at_that_target() {
    let folder = with_store();
    let mut store = opened(&folder);
    assert!(!store.is_confirmed("mail", "keeper@example.org").unwrap());
    store.ask("mail", "keeper@example.org", "4821").unwrap();
    store.ask("hook", "https://hooks.example.org/", "1177").unwrap();
    assert!(!store.is_confirmed("mail", "keeper@example.org").unwrap(), "sent is not read");
    // Another process, as the owner's command is.
    let mut command = opened(&folder);
    assert_eq!(command.confirm("0000").unwrap(), None);
    assert_eq!(command.confirm("4821").unwrap().as_deref(), Some("mail"));
    assert!(store.is_confirmed("mail", "keeper@example.org").unwrap());
    assert!(!store.is_confirmed("mail", "warden@example.org").unwrap(), "it leads elsewhere now");
    assert!(!store.is_confirmed("hook", "https://hooks.example.org/").unwrap());
    store.ask("mail", "keeper@example.org", "9031").unwrap();
    assert!(!store.is_confirmed("mail", "keeper@example.org").unwrap(), "asked anew");
}

#[test]
fn without_a_store_there_is_no_outbox() {
    let folder = tempfile::tempdir().unwrap();
    let fault = OutboxStore::open(folder.path()).err().unwrap();
    assert!(fault.to_string().contains("store.db: expected a writable folder, found \"No such file"), "{fault}");
}
