//! Which channels a rehearsed incident has reached: they get its end, also when the rest of it is dropped.

use crate::tell::message::Message;
use std::collections::BTreeSet;

/// The rehearsed incidents that have a message on a channel and no end yet, each with that channel.
#[derive(Debug, Clone, Default)]
pub struct RehearsalReach(BTreeSet<(String, String)>);

impl RehearsalReach {
    /// Takes in that a message has arrived.
    pub(super) fn arrived(&mut self, channel: &str, message: &Message) {
        let key = (channel.to_owned(), message.incident.clone());
        if message.is_rehearsed && message.kind.is_last() {
            self.0.remove(&key);
        } else if message.is_rehearsed {
            self.0.insert(key);
        }
    }

    /// True when something of this incident has arrived on this channel.
    pub(super) fn has(&self, channel: &str, incident: &str) -> bool {
        self.0.contains(&(channel.to_owned(), incident.to_owned()))
    }
}
