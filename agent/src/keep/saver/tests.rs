//! Stories of saving: disks that are slow, full or hang, and what is told of them.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a failing step fails the test")]

use super::*;
use crate::clock::Clock;
use crate::keep::store::tests::ledger;
use std::sync::mpsc;

const FILE: &str = "store.db";

/// A saver whose disk answers what it is told to, when it is told to.
fn saver(memory: &mut Memory) -> (Saver, mpsc::Sender<Result<(), Trouble>>, mpsc::Receiver<i64>) {
    let (answer, answers) = mpsc::channel();
    let (saw, saved) = mpsc::channel();
    let (first, key) = ledger(1);
    *memory = Memory::with_ledger(first);
    let save = move |work: &Work| {
        let saved = match work {
            Work::Ledger(ledger) => ledger.now(&key, "reallocated_sectors").unwrap(),
            Work::Number(last, _) => -i64::from(last.0),
            Work::Promised(ledger, _) => ledger.now(&key, "reallocated_sectors").unwrap(),
            Work::Look => return None,
        };
        let _ = saw.send(saved);
        let outcome = answers.recv().unwrap_or(Ok(()));
        match work {
            Work::Ledger(_) | Work::Promised(..) => {
                Some(outcome.map_err(|trouble| KeepFault { at: PathBuf::from(FILE), trouble }))
            }
            Work::Number(_, kept) => {
                let _ = kept.send(());
                None
            }
            Work::Look => None,
        }
    };
    (Saver::with(PathBuf::from(FILE), Moment::default(), save).unwrap(), answer, saved)
}

fn minute(minute: u64) -> Moment {
    Moment::after_boot(Duration::from_secs(60 * minute))
}

/// Takes turns until the save that is under way has ended; what was to be said.
#[allow(clippy::disallowed_methods, reason = "the thread needs a moment")]
fn ended(saver: &mut Saver, now: Moment, memory: &mut Memory) -> Option<SaveEvent> {
    let mut said = None;
    for _ in 0..6000 {
        said = saver.turn(now, memory).or(said);
        if !saver.is_saving {
            return said;
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    panic!("the save never ended")
}

#[test]
fn what_is_new_is_saved_every_quarter_of_an_hour_and_at_the_end() {
    let mut memory = Memory::default();
    let (mut saver, answer, saved) = saver(&mut memory);
    drop(answer);
    assert_eq!(saver.turn(minute(14), &mut memory), None);
    assert!(memory.ledger().is_new, "too soon after the start");
    assert_eq!(saver.turn(minute(15), &mut memory), None);
    assert!(!memory.ledger().is_new, "handed on");
    assert_eq!(ended(&mut saver, minute(15), &mut memory), None);
    for at in 16..100 {
        assert_eq!(saver.turn(minute(at), &mut memory), None);
    }
    assert_eq!(saved.try_iter().collect::<Vec<_>>(), [1], "nothing was new after that");
    assert_eq!(saver.finish(&mut memory), None);
    assert_eq!(saved.iter().collect::<Vec<_>>(), [1], "once more at the end");
}

#[test]
fn that_a_run_has_begun_is_saved_at_once_and_then_all_goes_its_usual_way() {
    let mut memory = Memory::default();
    let (mut saver, answer, saved) = saver(&mut memory);
    drop(answer);
    saver.begin(&mut memory);
    assert_eq!(saved.recv_timeout(Duration::from_secs(60)), Ok(1));
    assert_eq!(ended(&mut saver, minute(1), &mut memory), None);
    memory = Memory::with_ledger(ledger(2).0);
    assert_eq!(saver.turn(minute(14), &mut memory), None);
    assert!(memory.ledger().is_new, "the next waits");
}

#[test]
fn what_is_urgent_is_saved_after_five_seconds_and_once() {
    let mut memory = Memory::default();
    let (mut saver, answer, saved) = saver(&mut memory);
    drop(answer);
    let second = |second: u64| Moment::after_boot(Duration::from_secs(second));
    let urgent = |memory: &mut Memory, count: i64| {
        let (mut ledger, _) = ledger(count);
        ledger.incident_store.is_urgent = true;
        *memory = Memory::with_ledger(ledger);
    };
    urgent(&mut memory, 1);
    for at in 0..5 {
        assert_eq!(saver.turn(second(at), &mut memory), None);
        assert!(!saver.is_saving, "after {at} s");
    }
    assert_eq!(saver.turn(second(5), &mut memory), None);
    assert!(!memory.ledger().incident_store.is_urgent, "handed on");
    assert_eq!(ended(&mut saver, second(5), &mut memory), None);
    urgent(&mut memory, 2);
    assert_eq!(saver.turn(second(9), &mut memory), None);
    assert_eq!(saved.try_iter().collect::<Vec<_>>(), [1], "no two within five seconds");
    assert_eq!(saver.turn(second(10), &mut memory), None);
    assert_eq!(ended(&mut saver, second(10), &mut memory), None);
    for at in 11..600 {
        assert_eq!(saver.turn(second(at), &mut memory), None);
    }
    assert_eq!(saved.try_iter().collect::<Vec<_>>(), [2], "nothing was urgent after that");
}

#[test]
fn saving_that_fails_is_told_once_tried_again_and_told_once_when_it_works() {
    let mut memory = Memory::default();
    let (mut saver, answer, saved) = saver(&mut memory);
    let fault = KeepFault { at: PathBuf::from(FILE), trouble: Trouble::Full };
    let mut save = |at: u64, outcome: Result<(), Trouble>| {
        answer.send(outcome).unwrap();
        // Before its time nothing is tried.
        assert_eq!(saver.turn(minute(at - 1), &mut memory), None);
        assert_eq!(saver.turn(minute(at), &mut memory), None);
        ended(&mut saver, minute(at), &mut memory)
    };
    assert_eq!(save(15, Err(Trouble::Full)), Some(SaveEvent::Fails(fault)));
    assert_eq!(save(16, Err(Trouble::Full)), None, "nothing new to say");
    assert_eq!(save(17, Ok(())), Some(SaveEvent::WorksAgain));
    assert_eq!(save(60, Ok(())), None, "nothing new to save");
    assert_eq!(saved.try_iter().collect::<Vec<_>>(), [1, 1, 1]);
}

/// Whatever is written to a store that was removed is found by nobody.
#[test]
fn a_folder_that_vanishes_is_told_within_a_minute_and_a_new_store_is_begun() {
    let folder = tempfile::tempdir().unwrap();
    let state = folder.path().join("state");
    let store = Store::open(&state, Clock::default()).unwrap().0;
    let (kept, key) = ledger(1);
    let mut memory = Memory::with_ledger(kept);
    let mut saver = Saver::start(store, Moment::default()).unwrap();
    saver.begin(&mut memory);
    assert_eq!(ended(&mut saver, minute(0), &mut memory), None);
    std::fs::rename(&state, folder.path().join("elsewhere")).unwrap();
    let looked = std::iter::repeat_with(|| saver.turn(minute(1), &mut memory)).find_map(|said| said).unwrap();
    let fault = KeepFault { at: state.join(FILE), trouble: Trouble::Vanished };
    assert_eq!((looked, saver.fault()), (SaveEvent::Fails(fault.clone()), Some(&fault)));
    assert_eq!(saver.turn(minute(2), &mut memory), None);
    assert_eq!(ended(&mut saver, minute(2), &mut memory), Some(SaveEvent::WorksAgain));
    assert_eq!(saver.fault(), None);
    assert_eq!(saver.finish(&mut memory), None);
    let (again, remarks) = Store::open(&state, Clock::default()).unwrap();
    assert_eq!((again.load_ledger().unwrap().now(&key, "reallocated_sectors"), remarks), (Some(1), Vec::new()));
}

#[test]
fn a_save_that_hangs_holds_nobody_up_and_is_told_once() {
    let mut memory = Memory::default();
    let (mut saver, answer, saved) = saver(&mut memory);
    assert_eq!(saver.turn(minute(15), &mut memory), None);
    assert_eq!(saved.recv_timeout(Duration::from_secs(60)), Ok(1));
    memory = Memory::with_ledger(ledger(2).0);
    let fault = KeepFault { at: PathBuf::from(FILE), trouble: Trouble::Hangs };
    assert_eq!(saver.turn(minute(30), &mut memory), Some(SaveEvent::Fails(fault)));
    assert_eq!(saver.turn(minute(45), &mut memory), None);
    answer.send(Ok(())).unwrap();
    assert_eq!(ended(&mut saver, minute(46), &mut memory), Some(SaveEvent::WorksAgain));
    assert_eq!(saved.try_iter().count(), 0, "nothing waited behind it");
    drop(answer);
    assert_eq!(saver.turn(minute(62), &mut memory), None);
    assert_eq!(saver.finish(&mut memory), None);
    assert_eq!(saved.iter().collect::<Vec<_>>(), [2, 2]);
}

#[test]
fn the_number_of_an_incident_is_kept_before_it_is_told_and_once() {
    let mut memory = Memory::default();
    let (mut saver, answer, saved) = saver(&mut memory);
    drop(answer);
    saver.prompt = Duration::from_secs(60);
    for number in [1, 1, 3, 2, 3] {
        saver.keep_number(IncidentId(number));
        assert!(saver.asked.is_none(), "it was waited for");
    }
    assert_eq!(saved.try_iter().collect::<Vec<_>>(), [-1, -3]);
}

#[test]
fn a_disk_that_does_not_answer_is_waited_for_once() {
    let mut memory = Memory::default();
    let (mut saver, answer, saved) = saver(&mut memory);
    saver.prompt = Duration::from_millis(1);
    for number in 1..100 {
        saver.keep_number(IncidentId(number));
    }
    assert!(saver.asked.is_some(), "the next number is not waited for");
    drop(answer);
    let all = (1..100).map(|_| saved.recv_timeout(Duration::from_secs(60)).unwrap());
    assert!(all.eq((1..100).map(|number| -number)), "nothing is left out");
}

#[test]
fn what_is_promised_is_on_disk_before_and_is_not_urgent_after() {
    let mut memory = Memory::default();
    let (mut saver, answer, saved) = saver(&mut memory);
    saver.prompt = Duration::from_secs(60);
    let (mut new, _) = ledger(7);
    new.incident_store.is_urgent = true;
    memory = Memory::with_ledger(new);
    answer.send(Ok(())).unwrap();
    assert_eq!(saver.keep_promise(&mut memory), Ok(()));
    assert_eq!(saved.try_iter().collect::<Vec<_>>(), [7]);
    assert!(!memory.ledger().incident_store.is_urgent);
    assert_eq!(ended(&mut saver, minute(1), &mut memory), None);
    // A disk that refuses keeps no promise, and it is told like any other save that failed.
    answer.send(Err(Trouble::Full)).unwrap();
    let fault = KeepFault { at: PathBuf::from(FILE), trouble: Trouble::Full };
    assert_eq!(saver.keep_promise(&mut memory), Err(fault.clone()));
    assert_eq!(ended(&mut saver, minute(1), &mut memory), Some(SaveEvent::Fails(fault)));
}

#[test]
fn a_disk_that_hangs_is_given_one_promise_to_keep() {
    let mut memory = Memory::default();
    let (mut saver, answer, saved) = saver(&mut memory);
    saver.prompt = Duration::from_millis(1);
    let hangs = KeepFault { at: PathBuf::from(FILE), trouble: Trouble::Hangs };
    for _ in 0..100 {
        assert_eq!(saver.keep_promise(&mut memory), Err(hangs.clone()));
    }
    assert!(memory.ledger().is_new, "what was not kept is saved as soon as it can be");
    drop(answer);
    assert_eq!(saver.finish(&mut memory), None);
    assert_eq!(saved.iter().count(), 2, "the one promise, and the last save");
}
