//! When the ledger is saved, and by whom: a thread of its own, since a memory card may hang while it is written to, and
//! that must not hold up the judging.

use super::{KeepFault, Store, Trouble};
use crate::clock::Moment;
use crate::judge::Memory;
use crate::judge::ledger::Ledger;
use crate::verdict::IncidentId;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, TryRecvError, channel};
use std::time::Duration;

/// Flash wears: no two saves are closer together than this, but for the first, the last and what is urgent.
const EVERY: Duration = Duration::from_secs(15 * 60);
/// What must outlive a sudden end, such as an incident that begins or ends, waits no longer than this.
const URGENT: Duration = Duration::from_secs(5);
/// A disk is waited for no longer before a number is told that it should have kept.
const PROMPT: Duration = Duration::from_secs(1);
/// What failed is tried again after this, and so often it is seen whether the store is still there.
const AGAIN: Duration = Duration::from_secs(60);
/// The last save is waited for no longer; a supervisor would lose its patience later.
const LAST: Duration = Duration::from_secs(20);

/// What is to be said of saving: once when it begins to fail, once when it is over.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Report {
    /// Nothing was saved; why.
    Fails(KeepFault),
    /// What was not saved before is saved.
    WorksAgain,
}

/// What the thread is given to do.
enum Work {
    Ledger(Box<Ledger>),
    /// See whether the store is still there.
    Look,
    /// The last number of an incident; who waits for it hears when it is kept, and nothing when it is not.
    Number(IncidentId, Sender<()>),
}

/// Saves what is new.
pub struct Saver {
    file: PathBuf,
    work: Option<Sender<Work>>,
    /// How saving went, or looking; true for saving.
    outcomes: Receiver<(bool, Result<(), KeepFault>)>,
    /// When the last save was begun, or the saver.
    tried: Moment,
    is_saving: bool,
    /// When it was last begun to look.
    looked: Moment,
    is_looking: bool,
    fault: Option<KeepFault>,
    /// The last number that the disk was given to keep, and what it has not answered yet.
    number: IncidentId,
    asked: Option<Receiver<()>>,
    prompt: Duration,
}

impl Saver {
    /// Starts the thread for a store.
    ///
    /// # Errors
    /// When the machine has no thread to spare.
    pub fn start(store: Store, now: Moment) -> io::Result<Self> {
        let (file, clock) = (store.file.clone(), store.clock.clone());
        let state_dir = file.parent().map(Path::to_owned).unwrap_or_default();
        let mut open = Some(store);
        Self::with(file, now, move |work| {
            let outcome = match (&open, work) {
                // What fails here fails for the ledger as well, which says so.
                (None, Work::Number(..)) => return None,
                (Some(store), Work::Number(last, kept)) => {
                    store.keep_number(*last).is_ok().then(|| kept.send(()));
                    return None;
                }
                (None, _) => {
                    Store::open(&state_dir, clock.clone()).and_then(|(store, _)| done(open.insert(store), work))
                }
                (Some(store), _) => done(store, work),
            };
            if outcome.as_ref().is_err_and(|fault| fault.trouble == Trouble::Vanished) {
                // Closed, so that its lock on the folder does not keep the next one out.
                open = None;
            }
            Some(outcome)
        })
    }

    fn with(
        file: PathBuf,
        now: Moment,
        mut save: impl FnMut(&Work) -> Option<Result<(), KeepFault>> + Send + 'static,
    ) -> io::Result<Self> {
        let (sender, given) = channel();
        let (results, outcomes) = channel();
        let work = move || {
            for work in given {
                // Nobody waits for the last one any more if it took too long.
                let is_save = matches!(work, Work::Ledger(_));
                let _ = save(&work).map(|outcome| results.send((is_save, outcome)));
            }
            // Closing the store is work too, and the end of `results` says that all is done.
            drop(save);
            drop(results);
        };
        std::thread::Builder::new().name("saver".to_owned()).spawn(work)?;
        let (work, number) = (Some(sender), IncidentId::default());
        Ok(Self {
            file,
            work,
            outcomes,
            tried: now,
            is_saving: false,
            looked: now,
            is_looking: false,
            fault: None,
            number,
            asked: None,
            prompt: PROMPT,
        })
    }

    /// Saves at once that a run has begun: a machine that goes down in its first minutes must be found out.
    pub fn begin(&mut self, memory: &mut Memory) {
        self.number = memory.ledger().book.last_number();
        self.save(memory);
    }

    /// Keeps the last number of an incident before anybody is told it, so that it is never given again. A disk that does
    /// not answer is waited for once: an alert must not wait for the disk that it may be about.
    pub fn keep_number(&mut self, last: IncidentId) {
        let (Some(work), true) = (&self.work, last > self.number) else { return };
        self.number = last;
        let hangs = self.asked.take().is_some_and(|asked| asked.try_recv() == Err(TryRecvError::Empty));
        let (kept, answer) = channel();
        // The thread ends only with this handle.
        let _ = work.send(Work::Number(last, kept));
        if hangs || answer.recv_timeout(self.prompt) == Err(RecvTimeoutError::Timeout) {
            self.asked = Some(answer);
        }
    }

    /// Hears how the last save went, and begins the next when it is due; what is to be said.
    pub fn turn(&mut self, now: Moment, memory: &mut Memory) -> Option<Report> {
        if let Ok((is_save, outcome)) = self.outcomes.try_recv() {
            let under_way = if is_save { &mut self.is_saving } else { &mut self.is_looking };
            *under_way = false;
            // That it is there says nothing of whether it can be written to.
            if is_save || outcome.is_err() {
                return self.hear(outcome);
            }
        }
        // What failed is tried again although nothing is new.
        let pause = if self.fault.is_some() { AGAIN } else { EVERY };
        let is_due = now.since(self.tried) >= pause && (memory.ledger().is_new || self.fault.is_some());
        let is_urgent = now.since(self.tried) >= URGENT && memory.ledger().book.is_urgent && !self.is_saving;
        if !is_due && !is_urgent {
            if now.since(self.looked) >= AGAIN && !self.is_looking && !self.is_saving {
                (self.looked, self.is_looking) = (now, true);
                self.hand_over(Work::Look);
            }
            return None;
        }
        self.tried = now;
        if self.is_saving {
            return self.hear(Err(KeepFault { at: self.file.clone(), trouble: Trouble::Hangs }));
        }
        self.save(memory);
        None
    }

    /// Saves once more and waits until all is done; what is to be said.
    pub fn finish(mut self, memory: &mut Memory) -> Option<Report> {
        // An empty ledger is what is there without a store.
        if *memory.ledger() != Ledger::default() {
            self.save(memory);
        }
        self.work = None;
        let mut said = None;
        loop {
            match self.outcomes.recv_timeout(LAST) {
                Ok((true, outcome)) => said = self.hear(outcome).or(said),
                Ok((false, _)) => {}
                Err(RecvTimeoutError::Disconnected) => return said,
                Err(RecvTimeoutError::Timeout) => {
                    return self.hear(Err(KeepFault { at: self.file.clone(), trouble: Trouble::Hangs }));
                }
            }
        }
    }

    fn save(&mut self, memory: &mut Memory) {
        self.hand_over(Work::Ledger(Box::new(memory.ledger().clone())));
        memory.ledger_was_kept();
        self.is_saving = true;
    }

    fn hand_over(&self, job: Work) {
        if let Some(work) = &self.work {
            // The thread ends only with this handle.
            let _ = work.send(job);
        }
    }

    /// Why the last save failed; `None` when it did not.
    pub fn fault(&self) -> Option<&KeepFault> {
        self.fault.as_ref()
    }

    fn hear(&mut self, outcome: Result<(), KeepFault>) -> Option<Report> {
        let failed_before = std::mem::replace(&mut self.fault, outcome.clone().err()).is_some();
        match outcome {
            Err(fault) if !failed_before => Some(Report::Fails(fault)),
            Ok(()) if failed_before => Some(Report::WorksAgain),
            _ => None,
        }
    }
}

/// Does it in this store.
fn done(store: &Store, work: &Work) -> Result<(), KeepFault> {
    match work {
        Work::Ledger(ledger) => store.save_ledger(ledger),
        Work::Look | Work::Number(..) => store.is_there(),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a failing step fails the test")]

    use super::*;
    use crate::clock::Clock;
    use crate::keep::tests::ledger;
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
                Work::Look => return None,
            };
            let _ = saw.send(saved);
            let outcome = answers.recv().unwrap_or(Ok(()));
            match work {
                Work::Ledger(_) => Some(outcome.map_err(|trouble| KeepFault { at: PathBuf::from(FILE), trouble })),
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
    fn ended(saver: &mut Saver, now: Moment, memory: &mut Memory) -> Option<Report> {
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
            ledger.book.is_urgent = true;
            *memory = Memory::with_ledger(ledger);
        };
        urgent(&mut memory, 1);
        for at in 0..5 {
            assert_eq!(saver.turn(second(at), &mut memory), None);
            assert!(!saver.is_saving, "after {at} s");
        }
        assert_eq!(saver.turn(second(5), &mut memory), None);
        assert!(!memory.ledger().book.is_urgent, "handed on");
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
        assert_eq!(save(15, Err(Trouble::Full)), Some(Report::Fails(fault)));
        assert_eq!(save(16, Err(Trouble::Full)), None, "nothing new to say");
        assert_eq!(save(17, Ok(())), Some(Report::WorksAgain));
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
        assert_eq!((looked, saver.fault()), (Report::Fails(fault.clone()), Some(&fault)));
        assert_eq!(saver.turn(minute(2), &mut memory), None);
        assert_eq!(ended(&mut saver, minute(2), &mut memory), Some(Report::WorksAgain));
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
        assert_eq!(saver.turn(minute(30), &mut memory), Some(Report::Fails(fault)));
        assert_eq!(saver.turn(minute(45), &mut memory), None);
        answer.send(Ok(())).unwrap();
        assert_eq!(ended(&mut saver, minute(46), &mut memory), Some(Report::WorksAgain));
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
}
