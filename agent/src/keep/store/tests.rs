//! Stories of keeping: what comes back after a restart, after a cut at any moment, and from files that are no store.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a failing step fails the test")]
#![allow(clippy::disallowed_methods, reason = "the stories make and bend files")]

use super::*;
use crate::clock::Moment;
use crate::demo::{self, heron, story};
use crate::judge::{Memory, judge};
use crate::keep::database::APPLICATION;
use crate::reading::{Counter, DriveKey, Itself, Snapshot};
use std::fs;
use std::time::Duration;
use tempfile::TempDir;

const HOUR: Duration = Duration::from_secs(3600);

/// A ledger of `heron`'s drives, the first of which has counted this.
pub(in crate::keep) fn ledger(reallocated: i64) -> (Ledger, DriveKey) {
    let mut snapshot = heron::snapshot(Moment::after_boot(HOUR), &story::scene(Duration::ZERO));
    let key = snapshot.drives[0].key.clone();
    let counter = Counter { name: "reallocated_sectors".to_owned(), value: reallocated, origin: "test".to_owned() };
    snapshot.drives[0].health.value.as_mut().expect("heron's drives tell").counters = vec![counter];
    (after_a_look(Ledger::default(), &snapshot), key)
}

/// The ledger, once the box was looked at and read like this.
fn after_a_look(ledger: Ledger, snapshot: &Snapshot) -> Ledger {
    let (settings, mut memory) = (demo::settings().expect("the pretend box has settings"), Memory::with_ledger(ledger));
    judge(&settings, &mut memory, snapshot.taken, Some(snapshot), &Itself::default());
    memory.ledger().clone()
}

/// What a store says the first drive has counted.
fn counted(store: &Store) -> Option<i64> {
    let (_, key) = ledger(0);
    store.load_ledger().expect("the store can be read").now(&key, "reallocated_sectors")
}

fn opened(folder: &Path) -> (Store, Vec<String>) {
    Store::open(folder, Clock::of_this_machine()).unwrap_or_else(|fault| panic!("{fault}"))
}

/// A folder with a store that was used and closed.
fn with_store() -> TempDir {
    let folder = tempfile::tempdir().unwrap();
    opened(folder.path()).0.save_ledger(&ledger(7).0).unwrap();
    folder
}

fn names(folder: &Path) -> Vec<String> {
    let mut names: Vec<String> =
        fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().file_name().into_string().unwrap()).collect();
    names.sort();
    names
}

/// Opens a folder whose store cannot be used: a new one is begun, and the old bytes are there under another name.
fn begins_anew(folder: &Path, found: &str) {
    let before = fs::read(folder.join(FILE)).unwrap();
    let (store, remarks) = opened(folder);
    assert_eq!(remarks.len(), 1, "{remarks:?}");
    assert!(
        remarks[0].contains(&format!("store.db: expected a store of version {VERSION}, found {found}")),
        "{remarks:?}"
    );
    assert!(remarks[0].contains("store.db.aside-1, a new store is begun"), "{remarks:?}");
    assert_eq!(counted(&store), None);
    store.save_ledger(&ledger(1).0).unwrap();
    assert!(fs::read(folder.join("store.db.aside-1")).unwrap() == before, "what was found has changed");
    drop(store);
    let (again, remarks) = opened(folder);
    assert_eq!((counted(&again), remarks), (Some(1), Vec::new()));
}

#[test]
fn the_ledger_comes_back_after_a_restart() {
    let folder = tempfile::tempdir().unwrap();
    let state = folder.path().join("made/on/the/way");
    let (store, remarks) = opened(&state);
    assert_eq!((counted(&store), remarks), (None, Vec::new()));
    for count in [7, 8] {
        store.save_ledger(&ledger(count).0).unwrap();
    }
    drop(store);
    assert_eq!(names(&state), [FILE], "a store that was closed is one file");
    let (store, remarks) = opened(&state);
    assert_eq!(remarks, [""; 0]);
    let json = |ledger: &Ledger| serde_json::to_string(ledger).unwrap();
    assert_eq!(json(&store.load_ledger().unwrap()), json(&ledger(8).0));
}

/// A store that is opened in another boot: what happened before lies before it.
#[test]
fn what_was_kept_in_another_boot_lies_before_this_one() {
    let folder = tempfile::tempdir().unwrap();
    let (mut store, _) = opened(folder.path());
    let mut kept = ledger(7).0;
    let noted = Clock::of_this_machine().now().plus(Duration::from_secs(60));
    kept.incident_store.muted_until = Some(noted);
    store.save_ledger(&kept).unwrap();
    assert_eq!(store.load_ledger().unwrap().incident_store.muted_until, Some(noted), "the same boot");
    store.clock = Clock::default();
    let moved = store.load_ledger().unwrap().incident_store.muted_until.unwrap();
    assert!(moved <= Moment::after_boot(Duration::from_secs(60)), "{moved:?}, {noted:?}");
}

/// The forms that version 1 wrote and writes, to the letter: whoever changes more than that needs a new version and a
/// way up to it.
#[test]
fn what_the_first_version_wrote_is_still_understood() {
    let folder = with_store();
    let (store, _) = opened(folder.path());
    let counters = r#"{"watched":{"secs":7200,"nanos":0},"drives":{"WREN-1":{"reallocated_sectors":{"steps":[[{"secs":0,"nanos":0},3],[{"secs":3600,"nanos":500000000},5]]}}}"#;
    store.database.execute("REPLACE INTO ledger (id, body) VALUES (1, ?1)", [format!("{counters}}}")]).unwrap();
    let ledger = store.load_ledger().unwrap();
    let key = DriveKey("WREN-1".to_owned());
    assert_eq!(ledger.growth(&key, "reallocated_sectors", 2 * HOUR), Some(2));
    let now = format!(
        r#"{counters},"acquaintances":{{"began":null,"drives":{{}}}},"pools":{{}},"checks":{{}},"fill":{{"volumes":{{}}}},"controllers":{{"controllers":{{}}}},"tachometers":{{"fans":{{}}}},"warmest":{{"drives":{{}}}},"runs":{{"boot":null,"has_ended":false,"kernel":null,"kernel_before":null,"out_of_memory":null}},"occurrences":{{"tallies":{{}}}},"book":{{"mark":"","last":0,"open":[],"history":{{"closed":[],"complete_since":null}},"muted_until":null,"gaps":[]}},"signs":{{"list":[],"ended":null,"heard_until":null,"low":false}},"known":{{}},"supply":{{}},"attachments":{{}},"power_cycles":{{"drives":{{}},"suspended":{{"secs":0,"nanos":0}},"suspensions":0}},"starts":{{"missed":[],"this":null}},"sources":{{"readable":[]}},"fans":[],"links":{{}},"volumes":{{}},"climate":[],"waking":{{"suspended":null,"woke":null}}}}"#
    );
    assert_eq!(serde_json::to_string(&ledger).unwrap(), now);
    assert_eq!(serde_json::from_str::<Ledger>(&now).unwrap().growth(&key, "reallocated_sectors", 2 * HOUR), Some(2));
    let version = |name| store.database.pragma_query_value(None, name, |row| row.get::<_, i64>(0)).unwrap();
    assert_eq!((version("user_version"), version("application_id")), (VERSION, APPLICATION));
}

/// A process that is killed leaves what the system has of its files; a cut of the power may leave less of the log's
/// end. Wherever the log ends, a commit is there whole or not at all.
#[test]
fn a_cut_at_any_moment_leaves_whole_saves() {
    let folder = tempfile::tempdir().unwrap();
    let (store, _) = opened(folder.path());
    for count in 1..=6 {
        store.save_ledger(&ledger(count).0).unwrap();
    }
    // Copied while the store is open: nothing was closed, folded in or tidied up.
    let (file, log) =
        (fs::read(folder.path().join(FILE)).unwrap(), fs::read(folder.path().join("store.db-wal")).unwrap());
    let mut seen = Vec::new();
    for end in (0..=log.len()).step_by(512).chain([log.len() - 1, log.len()]) {
        let cut = tempfile::tempdir().unwrap();
        fs::write(cut.path().join(FILE), &file).unwrap();
        fs::write(cut.path().join("store.db-wal"), &log[..end]).unwrap();
        let (after, remarks) = opened(cut.path());
        assert_eq!(remarks, [""; 0], "cut at {end}");
        seen.push(counted(&after));
    }
    assert_eq!(seen[seen.len() - 2], Some(5), "one byte is missing from the last save");
    assert!(seen.is_sorted(), "{seen:?}");
    seen.dedup();
    assert_eq!(seen, [None, Some(1), Some(2), Some(3), Some(4), Some(5), Some(6)]);
}

/// The agent is killed after each incident, before it has saved its ledger; the next number is the next number.
#[test]
fn numbers_of_incidents_go_on_by_one_over_crashes() {
    let folder = tempfile::tempdir().unwrap();
    for crash in 1..=20 {
        let (store, _) = opened(folder.path());
        let mut ledger = store.load_ledger().unwrap();
        ledger.begin("a boot");
        assert_eq!(ledger.incident_store.last_number(), IncidentId(crash - 1));
        store.keep_number(IncidentId(crash)).unwrap();
    }
}

/// A store of the version before is brought up, and its incident store says how far the numbers were.
#[test]
fn a_store_of_the_second_version_is_brought_up() {
    let folder = tempfile::tempdir().unwrap();
    let (store, _) = opened(folder.path());
    let mut kept = ledger(7).0;
    kept.incident_store.number_was_given(IncidentId(12));
    store.save_ledger(&kept).unwrap();
    store.database.execute_batch("DROP TABLE given; PRAGMA user_version = 2").unwrap();
    drop(store);
    let (store, remarks) = opened(folder.path());
    assert_eq!((remarks, counted(&store)), (Vec::new(), Some(7)));
    assert_eq!(store.load_ledger().unwrap().incident_store.last_number(), IncidentId(12));
    store.keep_number(IncidentId(13)).unwrap();
    store.keep_number(IncidentId(5)).unwrap();
    assert_eq!(store.load_ledger().unwrap().incident_store.last_number(), IncidentId(13));
}

#[test]
fn a_file_that_is_no_store_is_kept_aside_and_a_new_one_is_begun() {
    let good = fs::read(with_store().path().join(FILE)).unwrap();
    let spoilt = |change: &dyn Fn(&mut Vec<u8>)| {
        let mut bytes = good.clone();
        change(&mut bytes);
        bytes
    };
    for (bytes, found) in [
        (Vec::new(), "0 of the 100 bytes"),
        (vec![0], "1 of the 100 bytes"),
        (vec![0; good.len()], "a damaged file"),
        (vec![0xFF; good.len()], "a damaged file"),
        (b"wren, 4 calls; bittern, 1 call\n".repeat(400), "a damaged file"),
        (good[..100].to_vec(), "a damaged file"),
        (good[..good.len() / 2].to_vec(), "a damaged file"),
        (good[..good.len() - 4096].to_vec(), "a damaged file"),
        (spoilt(&|bytes| bytes[4096..].fill(0)), "a damaged file"),
        // A free page is counted that is not there (SQLite's file format, 1.3.9); the ledger itself could be read.
        (spoilt(&|bytes| bytes[39] = 1), "a damaged file"),
        (spoilt(&|bytes| bytes[100..4096].fill(0xA5)), "a damaged file"),
    ] {
        let folder = tempfile::tempdir().unwrap();
        fs::write(folder.path().join(FILE), bytes).unwrap();
        begins_anew(folder.path(), found);
    }
}

#[test]
fn a_store_that_is_not_for_this_program_is_kept_aside() {
    for (change, found) in [
        ("PRAGMA user_version = 6", "version 6, which a newer traylight wrote"),
        ("PRAGMA user_version = 0", "version 0, which no traylight wrote"),
        ("PRAGMA application_id = 0", "the database of another program"),
        ("DROP TABLE waiting", "a damaged file (no such table: waiting"),
        ("INSERT INTO story VALUES ('7', '{}')", "a damaged file (Conversion error"),
        ("DROP TABLE given", "a damaged file (no such table: given"),
        ("REPLACE INTO given VALUES (1, 4294967295)", "a damaged file (Integer 4294967295 out of range"),
        ("REPLACE INTO given VALUES (1, -5)", "a damaged file (Integer -5 out of range"),
        ("ALTER TABLE waiting RENAME COLUMN left_out TO lost", "a damaged file (no such column: left_out"),
        ("DROP TABLE ledger", "a damaged file (no such table: ledger"),
        ("UPDATE ledger SET body = '{\"watched\":'", "a damaged file (Conversion error"),
        (
            "UPDATE ledger SET body = '{\"watched\":'; PRAGMA user_version = 4",
            "version 4, with conditions as an older traylight wrote them",
        ),
    ] {
        let folder = with_store();
        Connection::open(folder.path().join(FILE)).unwrap().execute_batch(change).unwrap();
        begins_anew(folder.path(), found);
    }
}

#[test]
fn what_is_kept_aside_never_takes_the_place_of_another_and_takes_its_log_along() {
    let folder = with_store();
    let (file, log) = (folder.path().join(FILE), folder.path().join("store.db-wal"));
    fs::write(folder.path().join("store.db.aside-1-wal"), "somebody's").unwrap();
    fs::write(&log, "what was not in the file yet").unwrap();
    fs::remove_file(&file).unwrap();
    let (_, remarks) = opened(folder.path());
    assert!(remarks[0].contains("found the log of a store without the store"), "{remarks:?}");
    fs::remove_file(&file).unwrap();
    fs::create_dir(&file).unwrap();
    let (_, remarks) = opened(folder.path());
    assert!(remarks[0].contains("found another kind of file"), "{remarks:?}");
    assert_eq!(names(folder.path()), [FILE, "store.db.aside-1-wal", "store.db.aside-2-wal", "store.db.aside-3"]);
    let aside = |name: &str| fs::read_to_string(folder.path().join(name)).unwrap();
    assert_eq!(aside("store.db.aside-1-wal"), "somebody's");
    assert_eq!(aside("store.db.aside-2-wal"), "what was not in the file yet");
}

/// Whatever stands where the database keeps its own files, the store that is good is used.
#[test]
fn what_is_no_file_beside_the_store_is_kept_aside_and_the_store_is_used() {
    for odd in ["store.db-wal", "store.db-shm", "store.db-journal", "store.new-wal", "store.new-journal"] {
        for make in [|path: &Path| fs::create_dir(path), |path: &Path| std::os::unix::fs::symlink("/dev/full", path)] {
            let folder = with_store();
            make(&folder.path().join(odd)).unwrap();
            let (store, remarks) = opened(folder.path());
            assert_eq!(counted(&store), Some(7), "{odd}");
            assert!(
                remarks.len() == 1
                    && remarks[0].contains(&format!("{odd}: expected a regular file of the store, found")),
                "{remarks:?}"
            );
            store.save_ledger(&ledger(8).0).unwrap();
            drop(store);
            assert_eq!(names(folder.path()), [FILE.to_owned(), format!("{odd}.aside-1")]);
        }
    }
    let folder = tempfile::tempdir().unwrap();
    fs::create_dir(folder.path().join("store.new")).unwrap();
    assert_eq!(counted(&opened(folder.path()).0), None);
    assert_eq!(names(folder.path()), [FILE, "store.new.aside-1"]);
}

#[test]
fn nobody_else_may_read_what_is_kept() {
    use std::os::unix::fs::PermissionsExt;
    let modes = |folder: &Path| -> Vec<u32> {
        let files = fs::read_dir(folder).unwrap().map(|entry| entry.unwrap().metadata().unwrap());
        files.map(|found| found.permissions().mode() & 0o777).collect()
    };
    let folder = tempfile::tempdir().unwrap();
    let (store, _) = opened(folder.path());
    store.save_ledger(&ledger(7).0).unwrap();
    assert_eq!(modes(folder.path()), [0o600; 3], "the store, its log and its index");
    drop(store);
    // As an older version left it.
    fs::set_permissions(folder.path().join(FILE), fs::Permissions::from_mode(0o644)).unwrap();
    fs::write(folder.path().join("store.db-wal"), "").unwrap();
    let (store, _) = opened(folder.path());
    store.save_ledger(&ledger(8).0).unwrap();
    assert_eq!(modes(folder.path()), [0o600; 3]);
}

#[test]
fn a_store_that_was_half_made_is_made_again() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("store.new"), "SQLite for").unwrap();
    let (store, remarks) = opened(folder.path());
    assert_eq!((counted(&store), remarks), (None, Vec::new()));
    drop(store);
    assert_eq!(names(folder.path()), [FILE]);
}

#[test]
fn a_folder_that_cannot_be_made_is_told_with_its_name() {
    let folder = tempfile::tempdir().unwrap();
    fs::write(folder.path().join("reeds"), "").unwrap();
    let fault = Store::open(&folder.path().join("reeds/state"), Clock::default()).err().unwrap();
    let said = fault.to_string().replace(&folder.path().display().to_string(), "");
    assert_eq!(said, "/reeds/state: expected a writable folder, found \"Not a directory (os error 20)\"");
}

#[test]
fn a_second_agent_does_not_get_the_folder_and_the_first_goes_on() {
    let folder = with_store();
    let (first, _) = opened(folder.path());
    let fault = Store::open(folder.path(), Clock::default()).err().unwrap();
    assert_eq!(fault.trouble, Trouble::AnotherAgent);
    assert!(fault.to_string().ends_with("found the store of another running traylight"), "{fault}");
    first.save_ledger(&ledger(9).0).unwrap();
    drop(first);
    assert_eq!(counted(&opened(folder.path()).0), Some(9));
}

/// The database has a limit of its own for the size of its file; beyond it, it says the same as on a full disk
/// (SQLite's document on result codes, SQLITE_FULL).
#[test]
fn a_save_that_does_not_fit_says_so_and_the_one_before_stays() {
    let folder = with_store();
    let (store, _) = opened(folder.path());
    store.database.execute_batch("PRAGMA max_page_count = 2").unwrap();
    let (mut large, _) = ledger(8);
    for drive in 0..200 {
        let mut snapshot = heron::snapshot(Moment::after_boot(2 * HOUR), &story::scene(Duration::ZERO));
        snapshot.drives.truncate(1);
        snapshot.drives[0].key = DriveKey(format!("WREN-{drive}"));
        large = after_a_look(large, &snapshot);
    }
    let fault = store.save_ledger(&large).unwrap_err();
    assert_eq!(fault.trouble, Trouble::Full);
    assert!(fault.to_string().ends_with("store.db: expected free space for the store, found a full disk"), "{fault}");
    assert_eq!(counted(&store), Some(7));
}

#[test]
fn a_store_that_another_program_writes_to_is_a_fault_and_not_set_aside() {
    let folder = with_store();
    let (store, _) = opened(folder.path());
    let other = Connection::open(folder.path().join(FILE)).unwrap();
    other.execute_batch("BEGIN IMMEDIATE").unwrap();
    assert_eq!(store.save_ledger(&ledger(8).0).unwrap_err().trouble, Trouble::Locked);
    assert_eq!(counted(&store), Some(7), "reading goes on");
    other.execute_batch("ROLLBACK").unwrap();
    store.save_ledger(&ledger(8).0).unwrap();
    assert_eq!((counted(&store), names(folder.path()).iter().any(|name| name.contains("aside"))), (Some(8), false));
}
