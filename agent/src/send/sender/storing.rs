//! How the sender stores what waits, and what it does while it cannot.

use super::order::SendEvent;
use super::round::{Round, STORE_PAUSE};
use crate::keep::OutboxStore;
use crate::tell::outbox::{Now, Write};

impl Round {
    /// The channels learn where the store is, which may have come after them.
    pub(super) fn know_folder(&self) {
        if let Some(folder) = self.store.as_ref().and_then(OutboxStore::folder) {
            let _ = self.folder.set(folder.to_owned());
        }
    }

    /// Stores it. What cannot be stored is sent all the same: an alert must not fail with the disk that it is about.
    pub(super) fn keep(&mut self, writes: &[Write]) {
        if self.store_lacks_since.is_some() {
            return;
        }
        if let Some(Err(fault)) = self.store.as_mut().map(|store| store.apply(writes)) {
            self.store_lacks_since = Some(self.world.now().stamp.moment);
            (self.report)(SendEvent::NotStored(fault));
        }
    }

    /// A store that came late: what is in it goes on beside what waits, and all of it is stored.
    pub(super) fn take_store(&mut self, mut store: OutboxStore) {
        let stored = store.load().and_then(|kept| {
            self.outbox.adopt(kept);
            store.replace(&self.outbox.kept())
        });
        self.store = Some(store);
        self.know_folder();
        if let Err(fault) = stored {
            self.store_lacks_since = Some(self.world.now().stamp.moment);
            (self.report)(SendEvent::NotStored(fault));
        }
    }

    pub(super) fn mend_store(&mut self, now: &Now) {
        let Some(since) = self.store_lacks_since else { return };
        if now.stamp.moment.since(since) < STORE_PAUSE {
            return;
        }
        self.store_lacks_since = match self.store.as_mut().map(|store| store.replace(&self.outbox.kept())) {
            Some(Err(_)) => Some(now.stamp.moment),
            _ => {
                (self.report)(SendEvent::StoredAgain);
                None
            }
        };
    }
}
