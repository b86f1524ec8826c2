//! What is kept over restarts, as the loop sees it: a store that works or fails, or one that could not be opened yet and is
//! tried again.

use super::core::Core;
use super::dispatch::{self, Dispatch};
use crate::clock::{Clock, Moment};
use crate::judge::Memory;
use crate::judge::ledger::Ledger;
use crate::keep::{KeepFault, Opened, Opening, Outboxes, SaveEvent, Saver, Store};
use crate::send::sender;
use crate::tell::log::LogEntry;
use std::io;
use std::path::PathBuf;
use traylight_config::Settings;

/// What a store that does not work costs.
const COSTS: &str = "counters, incidents and waiting alerts would be lost by a restart";

/// What is kept.
pub struct Keeping {
    state_dir: PathBuf,
    saver: Option<Saver>,
    opening: Option<Opening>,
    /// Why the store could not be opened.
    not_open: Option<KeepFault>,
    /// Why alerts that wait are not stored.
    not_stored: Option<KeepFault>,
}

/// What a store begins with.
pub struct Begin {
    /// What there is to say.
    pub entries: Vec<LogEntry>,
    /// What was kept.
    pub ledger: Ledger,
    /// Where alerts are kept; `None` while there is no store.
    pub outboxes: Option<Outboxes>,
}

impl Keeping {
    /// Begins with a store, or with the tries to open it.
    pub fn begin(kept: Result<Opened, KeepFault>, state_dir: PathBuf, clock: &Clock) -> io::Result<(Self, Begin)> {
        let closed =
            Self { state_dir: state_dir.clone(), saver: None, opening: None, not_open: None, not_stored: None };
        match kept {
            Ok(Opened { store, ledger, outboxes, remarks }) => {
                let saver = Some(Saver::start(store, clock.now())?);
                let begin = Begin { entries: about_remarks(remarks), ledger, outboxes: Some(outboxes) };
                Ok((Self { saver, ..closed }, begin))
            }
            Err(fault) => {
                let entry = LogEntry::agent(4, "store-not-open", format!("{COSTS}; retrying: {fault}"));
                let opening = Some(Opening::start(state_dir, clock.clone())?);
                let begin = Begin { entries: vec![entry], ledger: Ledger::default(), outboxes: None };
                Ok((Self { opening, not_open: Some(fault), ..closed }, begin))
            }
        }
    }

    /// The stores of alerts for channels that are configured only now. `None` while there is no store; they come with it. When
    /// they cannot be opened, alerts that wait are not kept, which is a fault until a later reload can open them.
    pub fn outboxes(&mut self) -> Option<Outboxes> {
        self.saver.as_ref()?;
        let opened = Outboxes::open(&self.state_dir);
        self.not_stored = opened.as_ref().err().cloned();
        opened.ok()
    }

    /// A run has begun: a machine that goes down in its first minutes must be found out.
    pub fn run_begins(&mut self, memory: &mut Memory) {
        if let Some(saver) = &mut self.saver {
            saver.begin(memory);
        }
    }

    /// What came of the next try to open the store.
    pub async fn outcome(&mut self) -> Result<Opened, KeepFault> {
        match &mut self.opening {
            Some(opening) => opening.outcome().await,
            None => std::future::pending().await,
        }
    }

    /// Takes in what came of a try. From a store with a history it goes on as after a restart: what was learned since the
    /// start is learned again, what was told is told under the numbers of that history.
    pub fn opened(
        &mut self,
        outcome: Result<Opened, KeepFault>,
        core: &mut Core,
        dispatch: Option<&mut Dispatch>,
        settings: &Settings,
        clock: &Clock,
    ) -> Vec<LogEntry> {
        let opened = outcome.and_then(|opened| {
            let Opened { store, mut ledger, outboxes, remarks } = opened;
            let saver = start(store, clock)?;
            if ledger != Ledger::default() {
                dispatch::prepare(&mut ledger.incident_store, Some(&outboxes), &settings.alerts, clock);
                ledger.begin(clock.boot_id());
                core.go_on_from(ledger);
            }
            Ok((saver, outboxes, remarks))
        });
        match opened {
            Err(fault) => {
                self.not_open = Some(fault);
                Vec::new()
            }
            Ok((saver, outboxes, remarks)) => {
                (self.opening, self.not_open) = (None, None);
                self.saver = Some(saver);
                self.run_begins(&mut core.memory);
                if let Some(dispatch) = dispatch {
                    dispatch.keep(outboxes, &core.memory.ledger().incident_store);
                }
                let opened = LogEntry::agent(
                    5,
                    "store-opened",
                    "the store is open now; counters, incidents and alerts survive a restart",
                );
                about_remarks(remarks).into_iter().chain([opened]).collect()
            }
        }
    }

    /// Takes in what the sender reports of its part of the store.
    pub fn send_event(&mut self, report: &sender::SendEvent) {
        match report {
            sender::SendEvent::NotStored(fault) => self.not_stored = Some(fault.clone()),
            sender::SendEvent::StoredAgain => self.not_stored = None,
            _ => {}
        }
    }

    /// Why what must outlive a restart is not kept, in words; `None` while it is.
    pub fn fault(&self) -> Option<String> {
        let saving = self.saver.as_ref().and_then(Saver::fault);
        self.not_open.as_ref().or(saving).or(self.not_stored.as_ref()).map(KeepFault::to_string)
    }

    /// Keeps the last number of an incident before anybody is told it.
    pub fn keep_number(&mut self, memory: &Memory) {
        if let Some(saver) = &mut self.saver {
            saver.keep_number(memory.ledger().incident_store.last_number());
        }
    }

    /// Keeps what its owner is about to be promised, before he is; why it is not kept, where it is not.
    pub fn keep_promise(&mut self, memory: &mut Memory) -> Option<KeepFault> {
        match &mut self.saver {
            _ if !memory.ledger().incident_store.is_urgent => None,
            Some(saver) => saver.keep_promise(memory).err(),
            None => self.not_open.clone(),
        }
    }

    /// Saves what is due; what is to be said.
    pub fn turn(&mut self, now: Moment, memory: &mut Memory) -> Option<LogEntry> {
        self.saver.as_mut()?.turn(now, memory).map(about_saving)
    }

    /// Saves once more and waits until all is done; what is to be said.
    pub fn finish(self, memory: &mut Memory) -> Option<LogEntry> {
        self.saver?.finish(memory).map(about_saving)
    }
}

fn start(store: Store, clock: &Clock) -> Result<Saver, KeepFault> {
    let at = store.file().to_owned();
    Saver::start(store, clock.now()).map_err(|error| KeepFault::thread(at, &error))
}

fn about_remarks(remarks: Vec<String>) -> Vec<LogEntry> {
    remarks.into_iter().map(|remark| LogEntry::agent(4, "store-begun-anew", remark)).collect()
}

fn about_saving(said: SaveEvent) -> LogEntry {
    match said {
        SaveEvent::Fails(fault) => LogEntry::agent(4, "not-saved", format!("{COSTS}: {fault}")),
        SaveEvent::WorksAgain => LogEntry::agent(5, "saved-again", "counters are saved again"),
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::disallowed_methods, reason = "a state folder is moved away")]
    use super::*;

    /// A channel is configured when the store has just become unusable: its alerts would live in memory only.
    #[test]
    fn that_alerts_cannot_be_stored_is_a_fault_of_the_store() {
        let folder = tempfile::tempdir().expect("there is room for a folder");
        let (state, clock) = (folder.path().join("state"), Clock::of_this_machine());
        std::fs::create_dir(&state).expect("a folder in it");
        let kept = Opened::open(&state, clock.clone());
        let (mut keeping, _) = Keeping::begin(kept, state.clone(), &clock).expect("there is a thread to spare");
        assert_eq!(keeping.fault(), None);
        std::fs::rename(&state, folder.path().join("elsewhere")).expect("the folder is moved");
        assert!(keeping.outboxes().is_none());
        let fault = keeping.fault().expect("alerts that wait are not kept");
        assert!(fault.contains("store.db"), "{fault}");
        std::fs::rename(folder.path().join("elsewhere"), &state).expect("the folder is back");
        assert!(keeping.outboxes().is_some());
        assert_eq!(keeping.fault(), None);
    }
}
