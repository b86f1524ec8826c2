//! What is left out when a queue is full: first what lies between the first and the last message of an incident, then
//! the first of incidents that are over, whose last message says it all; then what a later message of its incident says
//! as well, which names all that holds; only then the oldest of the least severe.
//! Whatever is left out is counted, and the count travels with the message that comes after it. And what began and ended
//! while somebody worked on the box is not told at all.

use super::kept::Write;
use super::queue::{ChannelQueue, QueuedMessage};
use crate::tell::message::{Message, MessageKind};

/// The most messages that wait for one channel.
pub(super) const MOST: usize = 500;

impl ChannelQueue {
    /// Leaves out as many as are too many.
    pub(super) fn make_room(&mut self) -> Vec<Write> {
        let (mut gone, mut counted) = (Vec::new(), Vec::new());
        while self.entries.len() > MOST {
            let Some(index) = self.dispensable() else { break };
            let Some(out) = self.entries.remove(index) else { break };
            // The next of its incident takes over the count, else whatever comes next.
            let same = |entry: &QueuedMessage| entry.message.incident == out.message.incident;
            let heir = (index..self.entries.len()).find(|later| same(&self.entries[*later]));
            if let Some(heir) = self.entries.get_mut(heir.unwrap_or(index)) {
                heir.left_out += out.left_out + 1;
                counted.push(Write::LeftOut(self.rule.channel.clone(), heir.message.id.clone(), heir.left_out));
            }
            gone.push(out.message.id.clone());
        }
        if gone.is_empty() {
            return Vec::new();
        }
        counted.push(Write::Done(self.rule.channel.clone(), gone));
        counted
    }

    /// Takes back all messages about the incident that this one ends, if it began while messages were held back and none of
    /// them has left.
    pub(super) fn withdraw(&mut self, end: &Message) -> Option<Write> {
        let of_it = |entry: &&QueuedMessage| entry.message.incident == end.incident;
        let is_unsent = |entry: &QueuedMessage| entry.message.held && entry.tried == 0;
        let began = self.entries.iter().filter(of_it).any(|entry| entry.message.kind == MessageKind::Opened);
        if !began || !self.entries.iter().filter(of_it).all(is_unsent) {
            return None;
        }
        let gone = self.entries.iter().filter(of_it).map(|entry| entry.message.id.clone()).collect();
        self.entries.retain(|entry| entry.message.incident != end.incident);
        Some(Write::Done(self.rule.channel.clone(), gone))
    }

    /// Which one can be spared the most. The newest never is, so that there is always one to carry the count.
    fn dispensable(&self) -> Option<usize> {
        let older = self.entries.len().saturating_sub(1);
        let free = |index: &usize| !self.is_under_way(&self.entries[*index]);
        for incident in self.incidents() {
            let of_it = |index: &usize| self.entries[*index].message.incident == incident;
            let places: Vec<usize> = (0..self.entries.len()).filter(of_it).collect();
            let middle = places.get(1..places.len() - 1).unwrap_or_default().iter().copied().find(free);
            if middle.is_some() {
                return middle;
            }
        }
        for incident in self.incidents() {
            let of_it = |index: &usize| self.entries[*index].message.incident == incident;
            let mut places = (0..self.entries.len()).filter(of_it);
            if let (Some(first), Some(last)) = (places.next(), places.next()) {
                if self.entries[last].message.kind.is_last() && free(&first) {
                    return Some(first);
                }
            }
        }
        let is_newest = |index: usize| {
            let of_it = |later: &QueuedMessage| later.message.incident == self.entries[index].message.incident;
            !self.entries.iter().skip(index + 1).any(of_it)
        };
        // The first of equals is the oldest.
        (0..older).filter(free).min_by_key(|index| (is_newest(*index), self.entries[*index].message.severity))
    }
}
