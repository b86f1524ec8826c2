//! A store with what was in it; and the tries to open one that could not be opened, on a thread of their own, since a disk
//! may hang.

use super::fault::KeepFault;
use super::outbox::OutboxStore;
use super::store::Store;
use crate::clock::Clock;
use crate::judge::ledger::Ledger;
use std::io;
use std::path::{Path, PathBuf};
use std::sync::mpsc::{RecvTimeoutError, Sender, channel};
use std::time::Duration;
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};

/// Pauses between tries, in seconds; the last one is kept up.
const PAUSES: [u64; 4] = [2, 5, 15, 60];

/// A store that was opened.
pub struct Opened {
    /// For the ledger.
    pub store: Store,
    /// The ledger that was in it.
    pub ledger: Ledger,
    /// Where alerts are kept until they have left.
    pub outboxes: Outboxes,
    /// What was set aside, in words for the owner.
    pub remarks: Vec<String>,
}

impl Opened {
    /// Opens the store in the state folder, and reads what is in it.
    pub fn open(state_dir: &Path, clock: Clock) -> Result<Self, KeepFault> {
        let (store, remarks) = Store::open(state_dir, clock)?;
        let ledger = store.load_ledger()?;
        let outboxes = Outboxes::open(state_dir)?;
        Ok(Self { store, ledger, outboxes, remarks })
    }
}

/// Where alerts are kept until they have left, opened once for each thread that writes there.
pub struct Outboxes {
    /// For the thread that takes messages out.
    pub sender: OutboxStore,
    /// For the loop, which keeps codes.
    pub codes: OutboxStore,
}

impl Outboxes {
    /// Opens them in the state folder, beside a store that is open.
    pub fn open(state_dir: &Path) -> Result<Self, KeepFault> {
        Ok(Self { sender: OutboxStore::open(state_dir)?, codes: OutboxStore::open(state_dir)? })
    }
}

/// The tries. They end when this is dropped.
pub struct Opening {
    outcomes: UnboundedReceiver<Result<Opened, KeepFault>>,
    _stop: Sender<()>,
}

impl Opening {
    /// Begins to try, after the first pause.
    pub fn start(state_dir: PathBuf, clock: Clock) -> io::Result<Self> {
        Self::with(PAUSES.map(Duration::from_secs), move || Opened::open(&state_dir, clock.clone()))
    }

    fn with(pauses: [Duration; 4], open: impl Fn() -> Result<Opened, KeepFault> + Send + 'static) -> io::Result<Self> {
        let (tell, outcomes) = unbounded_channel();
        let (stop, stopped) = channel::<()>();
        let work = move || {
            for pause in pauses.into_iter().chain(std::iter::repeat(pauses[3])) {
                if stopped.recv_timeout(pause) != Err(RecvTimeoutError::Timeout) {
                    return;
                }
                let outcome = open();
                let is_open = outcome.is_ok();
                if tell.send(outcome).is_err() || is_open {
                    return;
                }
            }
        };
        std::thread::Builder::new().name("store".to_owned()).spawn(work)?;
        Ok(Self { outcomes, _stop: stop })
    }

    /// What came of the next try.
    pub async fn outcome(&mut self) -> Result<Opened, KeepFault> {
        match self.outcomes.recv().await {
            Some(outcome) => outcome,
            None => std::future::pending().await,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    #[allow(clippy::disallowed_methods, reason = "something stands in the folder's way")]
    fn a_folder_that_comes_late_is_opened_and_what_was_wrong_until_then_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let (state, blocked) = (folder.path().join("reeds/state"), folder.path().join("reeds"));
        std::fs::File::create(&blocked).unwrap();
        let open = {
            let state = state.clone();
            move || Opened::open(&state, Clock::default())
        };
        let mut opening = Opening::with([Duration::from_millis(1); 4], open).unwrap();
        let runtime = tokio::runtime::Builder::new_current_thread().build().unwrap();
        for _ in 0..3 {
            let fault = runtime.block_on(opening.outcome()).err().unwrap();
            assert!(
                fault.to_string().contains("reeds/state: expected a writable folder, found \"Not a directory"),
                "{fault}"
            );
        }
        std::fs::remove_file(&blocked).unwrap();
        let opened = std::iter::repeat_with(|| runtime.block_on(opening.outcome())).find_map(Result::ok).unwrap();
        assert_eq!((opened.ledger, opened.remarks), (Ledger::default(), Vec::new()));
        assert!(state.join("store.db").exists());
    }
}
