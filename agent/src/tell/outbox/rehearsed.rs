//! What a rehearsal had to say and could not in time: it is dropped, and comes to nobody minutes later among what is real.

use super::kept::Write;
use super::planner::Outbox;
use super::queue::ChannelQueue;
use super::terms::Now;
use crate::clock::Moment;
use crate::tell::message::Message;
use std::collections::BTreeMap;
use std::time::Duration;

/// That a rehearsal is over can be told for so long; what is tried then and fails is not tried again.
const LAST_WORDS: Duration = Duration::from_secs(60);

/// How many messages were dropped, by channel.
pub type Dropped = BTreeMap<String, usize>;

impl Outbox {
    /// Takes in that a rehearsal is over, with what is last said of it. A channel that a message about an incident has reached,
    /// or may reach yet, gets its end as well; others hear nothing of it.
    pub fn end_rehearsal(&mut self, last: Vec<Message>, now: &Now) -> (Dropped, Vec<Write>) {
        let (dropped, mut writes) = self.drop_rehearsed();
        for message in last {
            let is_reached = |queue: &&ChannelQueue| {
                // What is left of it in the queue is under way.
                self.rehearsal_reach.has(&queue.rule.channel, &message.incident)
                    || queue.holds_some_of(&message.incident)
            };
            let reached = self.queues.iter().filter(is_reached);
            let channels: Vec<String> = reached.map(|queue| queue.rule.channel.clone()).collect();
            writes.extend(self.put(message.into(), &channels));
        }
        self.rehearsal_over = Some(now.moment());
        (dropped, writes)
    }

    /// Drops what is left of a rehearsal that is over and has had its time.
    pub fn expire_rehearsal(&mut self, now: &Now) -> (Dropped, Vec<Write>) {
        let Some(over) = self.rehearsal_over else { return Default::default() };
        let is_late = now.moment() >= over.plus(LAST_WORDS);
        let outcome = self.drop_of_rehearsal(|tried| is_late || tried > 0);
        if !self.queues.iter().any(|queue| queue.entries.iter().any(|entry| entry.message.is_rehearsed)) {
            self.rehearsal_over = None;
        }
        outcome
    }

    /// Drops all that was rehearsed and is not under way: no rehearsal outlasts a restart.
    pub fn drop_rehearsed(&mut self) -> (Dropped, Vec<Write>) {
        self.drop_of_rehearsal(|_| true)
    }

    /// When there may be something to drop next.
    pub fn rehearsal_expires(&self) -> Option<Moment> {
        self.rehearsal_over.map(|over| over.plus(LAST_WORDS))
    }

    fn drop_of_rehearsal(&mut self, has_had_its_time: impl Fn(u32) -> bool) -> (Dropped, Vec<Write>) {
        let (mut dropped, mut writes) = (Dropped::new(), Vec::new());
        for queue in &mut self.queues {
            let goes = |queue: &ChannelQueue, index: usize| {
                let entry = &queue.entries[index];
                entry.message.is_rehearsed && !queue.is_under_way(entry) && has_had_its_time(entry.tried)
            };
            let places: Vec<usize> = (0..queue.entries.len()).filter(|index| goes(queue, *index)).collect();
            let gone: Vec<String> = places
                .iter()
                .rev()
                .filter_map(|index| queue.entries.remove(*index))
                .map(|entry| entry.message.id.clone())
                .collect();
            if !gone.is_empty() {
                queue.test_pause.forget();
                dropped.insert(queue.rule.channel.clone(), gone.len());
                writes.push(Write::Done(queue.rule.channel.clone(), gone));
            }
        }
        (dropped, writes)
    }
}
