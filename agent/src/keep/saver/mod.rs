//! When the ledger is saved, and by whom: a thread of its own, since a memory card may hang while it is written to, and
//! that must not hold up the judging.

use super::fault::{KeepFault, Trouble};
use super::store::Store;
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
pub enum SaveEvent {
    /// Nothing was saved; why.
    Fails(KeepFault),
    /// What was not saved before is saved.
    WorksAgain,
}

/// What the thread is given to do.
enum Work {
    Ledger(Box<Ledger>),
    /// The ledger, with something in it that somebody is promised, who waits to hear whether the disk has it.
    Promised(Box<Ledger>, Sender<Result<(), KeepFault>>),
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
    /// What was promised and the disk has not answered yet.
    promised: Option<Receiver<Result<(), KeepFault>>>,
    prompt: Duration,
}

impl Saver {
    /// Starts the thread for a store.
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
                let is_save = matches!(work, Work::Ledger(_) | Work::Promised(..));
                let outcome = save(&work);
                if let (Work::Promised(_, answer), Some(outcome)) = (&work, &outcome) {
                    let _ = answer.send(outcome.clone());
                }
                let _ = outcome.map(|outcome| results.send((is_save, outcome)));
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
            promised: None,
            prompt: PROMPT,
        })
    }

    /// Saves at once that a run has begun: a machine that goes down in its first minutes must be found out.
    pub fn begin(&mut self, memory: &mut Memory) {
        self.number = memory.ledger().incident_store.last_number();
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

    /// Saves before somebody is promised that something holds, such as that an incident is acknowledged. A disk that does
    /// not answer is waited for once; what is new is then saved as soon as it can be.
    pub fn keep_promise(&mut self, memory: &mut Memory) -> Result<(), KeepFault> {
        let hangs = KeepFault { at: self.file.clone(), trouble: Trouble::Hangs };
        if let Some(before) = self.promised.take() {
            if before.try_recv() == Err(TryRecvError::Empty) {
                self.promised = Some(before);
                return Err(hangs);
            }
        }
        let (answer, answered) = channel();
        self.hand_over(Work::Promised(Box::new(memory.ledger().clone()), answer));
        self.is_saving = true;
        match answered.recv_timeout(self.prompt) {
            Ok(outcome) => outcome.map(|()| memory.ledger_was_kept()),
            Err(_) => {
                self.promised = Some(answered);
                Err(hangs)
            }
        }
    }

    /// Hears how the last save went, and begins the next when it is due; what is to be said.
    pub fn turn(&mut self, now: Moment, memory: &mut Memory) -> Option<SaveEvent> {
        if let Ok((is_save, outcome)) = self.outcomes.try_recv() {
            let under_way = if is_save { &mut self.is_saving } else { &mut self.is_looking };
            *under_way = false;
            // That it is there says nothing of whether it can be written to.
            if is_save || outcome.is_err() {
                return self.take_outcome(outcome);
            }
        }
        // What failed is tried again although nothing is new.
        let pause = if self.fault.is_some() { AGAIN } else { EVERY };
        let is_due = now.since(self.tried) >= pause && (memory.ledger().is_new || self.fault.is_some());
        let is_urgent = now.since(self.tried) >= URGENT && memory.ledger().incident_store.is_urgent && !self.is_saving;
        if !is_due && !is_urgent {
            if now.since(self.looked) >= AGAIN && !self.is_looking && !self.is_saving {
                (self.looked, self.is_looking) = (now, true);
                self.hand_over(Work::Look);
            }
            return None;
        }
        self.tried = now;
        if self.is_saving {
            return self.take_outcome(Err(KeepFault { at: self.file.clone(), trouble: Trouble::Hangs }));
        }
        self.save(memory);
        None
    }

    /// Saves once more and waits until all is done; what is to be said.
    pub fn finish(mut self, memory: &mut Memory) -> Option<SaveEvent> {
        // An empty ledger is what is there without a store.
        if *memory.ledger() != Ledger::default() {
            self.save(memory);
        }
        self.work = None;
        let mut said = None;
        loop {
            match self.outcomes.recv_timeout(LAST) {
                Ok((true, outcome)) => said = self.take_outcome(outcome).or(said),
                Ok((false, _)) => {}
                Err(RecvTimeoutError::Disconnected) => return said,
                Err(RecvTimeoutError::Timeout) => {
                    return self.take_outcome(Err(KeepFault { at: self.file.clone(), trouble: Trouble::Hangs }));
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

    fn take_outcome(&mut self, outcome: Result<(), KeepFault>) -> Option<SaveEvent> {
        let failed_before = std::mem::replace(&mut self.fault, outcome.clone().err()).is_some();
        match outcome {
            Err(fault) if !failed_before => Some(SaveEvent::Fails(fault)),
            Ok(()) if failed_before => Some(SaveEvent::WorksAgain),
            _ => None,
        }
    }
}

/// Does it in this store.
fn done(store: &Store, work: &Work) -> Result<(), KeepFault> {
    match work {
        Work::Ledger(ledger) | Work::Promised(ledger, _) => store.save_ledger(ledger),
        Work::Look | Work::Number(..) => store.is_there(),
    }
}

#[cfg(test)]
mod tests;
