//! The outbox: it takes messages in, gives out what may leave, and is told what came of that.

use super::heartbeat::{HeartbeatPause, NAME};
use super::kept::{Kept, LastSuccess, REMEMBERED, ReportedIncident, Waiting, Write};
use super::pause::Pause;
use super::queue::{ChannelQueue, QueuedMessage};
use super::reach::RehearsalReach;
use super::terms::{NextStep, Now, Policy, QueueState, Rule};
use crate::clock::Moment;
use crate::tell::batch::Batch;
use crate::tell::delivery::ChannelFault;
use crate::tell::message::{Message, MessageKind, Stamp};
use crate::verdict::Severity;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::Arc;
use std::time::Duration;

/// What waits, and what it knows of the channels.
#[derive(Debug, Clone, Default)]
pub struct Outbox {
    policy: Policy,
    pub(super) queues: Vec<ChannelQueue>,
    pub(super) incidents: BTreeMap<String, ReportedIncident>,
    all_well: Option<Stamp>,
    taken: VecDeque<String>,
    /// The number of the last message that was taken in.
    last: u64,
    /// Somebody works on the box: what was made since waits.
    is_muted: bool,
    /// Pauses from before are brought over at the first look at the clock.
    has_begun: bool,
    pub(super) rehearsal_over: Option<Moment>,
    /// Who has got what of rehearsals.
    pub rehearsal_reach: RehearsalReach,
    /// The pause of the heartbeat, which is kept beside those of the channels.
    pub heartbeat: HeartbeatPause,
}

impl Outbox {
    /// An outbox for these channels with what was kept. What waited for a channel that is not there any more goes nowhere;
    /// how many messages that were, by channel.
    pub fn new(rules: Vec<Rule>, policy: Policy, kept: Kept) -> (Self, BTreeMap<String, usize>, Vec<Write>) {
        let mut queues: Vec<ChannelQueue> = rules.into_iter().map(ChannelQueue::new).collect();
        let (mut orphans, mut writes) = (BTreeMap::new(), Vec::new());
        let (mut number, mut before) = (0, None);
        for Waiting { channel, message, tried, left_out } in kept.waiting {
            number += u64::from(before.replace(message.id.clone()).as_ref() != Some(&message.id));
            match queues.iter_mut().find(|queue| queue.rule.channel == channel) {
                Some(queue) => queue.entries.push_back(QueuedMessage { number, message, tried, left_out }),
                None => {
                    *orphans.entry(channel.clone()).or_insert(0) += 1;
                    writes.push(Write::Done(channel, vec![message.id.clone()]));
                }
            }
        }
        let (heartbeat, pauses): (Vec<_>, Vec<_>) = kept.pauses.into_iter().partition(|pause| pause.channel == NAME);
        for pause in pauses {
            match queues
                .iter_mut()
                .find(|queue| queue.rule.channel == pause.channel && queue.rule.target == pause.target)
            {
                Some(queue) => queue.kept_pause = Some(pause),
                None => writes.push(Write::PauseOver(pause.channel)),
            }
        }
        for success in kept.successes {
            let led_there = |rule: &Rule| rule.channel == success.channel && rule.target == success.target;
            if let Some(queue) = queues.iter_mut().find(|queue| led_there(&queue.rule)) {
                queue.last_success = Some(success);
            }
        }
        let incidents = kept.incidents.into_iter().map(|reported| (reported.last.incident.clone(), reported)).collect();
        (
            Self {
                policy,
                queues,
                incidents,
                all_well: kept.all_well,
                taken: kept.taken.into(),
                last: number,
                is_muted: false,
                has_begun: false,
                rehearsal_over: None,
                rehearsal_reach: RehearsalReach::default(),
                heartbeat: HeartbeatPause::kept(heartbeat.into_iter().next()),
            },
            orphans,
            writes,
        )
    }

    /// The settings that it goes by.
    #[cfg(test)]
    pub fn made_from(&self) -> (Vec<Rule>, Policy) {
        (self.queues.iter().map(|queue| queue.rule.clone()).collect(), self.policy.clone())
    }

    /// Takes in what an earlier run has left, beside what has come since this one began. What waited for channels that are
    /// configured no more is left out.
    pub fn adopt(&mut self, kept: Kept) {
        let mut before = None;
        for Waiting { channel, message, tried, left_out } in kept.waiting {
            self.last += u64::from(before.replace(message.id.clone()).as_ref() != Some(&message.id));
            if let Some(queue) = self.queues.iter_mut().find(|queue| queue.rule.channel == channel) {
                queue.entries.push_back(QueuedMessage { number: self.last, message, tried, left_out });
            }
        }
        for reported in kept.incidents {
            self.incidents.entry(reported.last.incident.clone()).or_insert(reported);
        }
        for id in kept.taken.into_iter().rev() {
            self.taken.push_front(id);
        }
        self.all_well = self.all_well.take().or(kept.all_well);
    }

    /// Messages that are made while somebody works on the box wait until that is over.
    pub fn mute(&mut self, is_muted: bool) {
        self.is_muted = is_muted;
    }

    /// True while messages that are made wait because somebody works on the box.
    pub fn is_muted(&self) -> bool {
        self.is_muted
    }

    /// Takes in a message. Store what comes out before the next [`Outbox::next`].
    pub fn take(&mut self, mut message: Message, now: &Now) -> Vec<Write> {
        let record = message.record.take();
        let reported = self.incidents.get(&message.incident).cloned();
        let mut channels = self.channels_for(&message, reported.as_ref());
        if self.taken.contains(&message.id) || reported.as_ref().is_some_and(|reported| reported.last.id == message.id)
        {
            // Told again after a restart. Of what is open, channels that are new hear now.
            channels.retain(|channel| reported.as_ref().is_some_and(|reported| !reported.channels.contains(channel)));
            if channels.is_empty() {
                return Vec::new();
            }
        }
        if self.is_muted && message.kind.is_last() && !message.is_rehearsed {
            let withdrawn: Vec<Write> = self.queues.iter_mut().filter_map(|queue| queue.withdraw(&message)).collect();
            if !withdrawn.is_empty() {
                self.incidents.remove(&message.incident);
                return withdrawn.into_iter().chain([Write::IncidentOver(message.incident)]).collect();
            }
        }
        let mut writes = self.put(Arc::new(message.clone()), &channels);
        if message.is_rehearsed {
            // Nothing of it is remembered.
            self.rehearsal_over = None;
            return writes;
        }
        match message.kind {
            MessageKind::Closed | MessageKind::PartOf => {
                let over = self.incidents.remove(&message.incident);
                writes.extend(over.map(|reported| Write::IncidentOver(reported.last.incident)));
            }
            MessageKind::Opened | MessageKind::Worsened | MessageKind::Refined | MessageKind::Reminder => {
                let (known, reminders) =
                    reported.map_or((Vec::new(), 0), |reported| (reported.channels, reported.reminders));
                let channels =
                    self.names().filter(|channel| known.contains(channel) || channels.contains(channel)).collect();
                let last = Message { page: None, ..message };
                writes.extend(self.remember(ReportedIncident {
                    last,
                    at: now.stamp.clone(),
                    reminders,
                    channels,
                    incident: record,
                }));
            }
            MessageKind::AllWell => {
                self.all_well = Some(now.stamp.clone());
                writes.push(Write::AllWell(now.stamp.clone()));
            }
            MessageKind::Test => {}
        }
        writes
    }

    /// Tells again of critical incidents that have been open for long, of those whose owner has not said that he knows.
    pub fn remind(&mut self, now: &Now, unacknowledged: &BTreeSet<String>) -> Vec<Write> {
        let every = self.policy.remind_every;
        let is_due = |reported: &&ReportedIncident| {
            reported.last.severity == Severity::Critical
                && !self.is_muted
                && unacknowledged.contains(&reported.last.incident)
                && reported.at.age(&now.stamp).is_some_and(|age| age >= every)
                // Who has not got the last of it needs no reminder.
                && !self.queues.iter().any(|queue| queue.holds_some_of(&reported.last.incident))
        };
        let due: Vec<ReportedIncident> = self.incidents.values().filter(is_due).cloned().collect();
        let mut writes = Vec::new();
        for mut reported in due {
            reported.reminders += 1;
            reported.at = now.stamp.clone();
            let id = format!("{}.reminder-{}", reported.last.incident_id(), reported.reminders);
            // What was new then is new no more.
            let also = reported.last.news.iter().chain(&reported.last.also).cloned().collect();
            let (kind, made_at, news) = (MessageKind::Reminder, now.stamp.clone(), Vec::new());
            let message = Message { id, kind, made_at, news, also, ..reported.last.clone() };
            let channels = self.channels_for(&message, Some(&reported));
            writes.extend(self.put(Arc::new(message), &channels));
            writes.extend(self.remember(reported));
        }
        writes
    }

    /// True when it is time to say that all is well. The first time is a whole period after the first look.
    pub fn all_well_is_due(&self, now: &Now) -> bool {
        let (Some(every), Some(last)) = (self.policy.all_well_every, &self.all_well) else { return false };
        !self.is_muted && last.age(&now.stamp).is_some_and(|age| age >= every)
    }

    /// Goes on with the pauses from before, and begins to count the time to the first "all is well".
    pub fn begin(&mut self, now: &Now) -> Vec<Write> {
        if !std::mem::replace(&mut self.has_begun, true) {
            for queue in &mut self.queues {
                queue.pause =
                    queue.kept_pause.as_ref().map_or_else(Pause::default, |kept| Pause::resume(kept, &now.stamp));
            }
        }
        // Without a calendar the count would be lost with this boot.
        let begins = self.policy.all_well_every.is_some() && self.all_well.is_none() && now.stamp.wall.is_some();
        if !begins {
            return Vec::new();
        }
        self.all_well = Some(now.stamp.clone());
        vec![Write::AllWell(now.stamp.clone())]
    }

    /// The names of the channels, in the order of the rules.
    pub fn names(&self) -> impl Iterator<Item = String> {
        self.queues.iter().map(|queue| queue.rule.channel.clone())
    }

    /// What to do about the channel now.
    pub fn next(&self, channel: &str, now: &Now) -> NextStep {
        self.queue(channel).map_or(NextStep::Wait(None), |queue| queue.next(self.policy.quiet, self.is_muted, now))
    }

    /// The batch is about to leave.
    pub fn begun(&mut self, channel: &str, batch: &Batch, now: &Now) -> Vec<Write> {
        let Some(queue) = self.queue_mut(channel) else { return Vec::new() };
        let pause = queue.begun(batch.ids(), &now.stamp);
        std::iter::once(Write::Tried(channel.to_owned(), batch.ids())).chain(pause.map(Write::Pause)).collect()
    }

    /// The batch that was under way has arrived. With it, for how long the channel had failed before.
    pub fn delivered(&mut self, channel: &str, now: &Now) -> (Vec<Write>, Option<Duration>) {
        let Some(queue) = self.queue_mut(channel) else { return (Vec::new(), None) };
        let gone = queue.delivered(now.moment());
        let (success, trouble) = queue.works(&now.stamp);
        gone.iter().for_each(|message| self.rehearsal_reach.arrived(channel, message));
        let done = Write::Done(channel.to_owned(), gone.iter().map(|message| message.id.clone()).collect());
        (vec![done, Write::PauseOver(channel.to_owned()), Write::Success(success)], trouble)
    }

    /// The channel has accepted something that was not queued: what waits for it is tried next. With it, for how long the
    /// channel had failed before.
    pub fn proved(&mut self, channel: &str, now: &Now) -> (Vec<Write>, Option<Duration>) {
        let Some(queue) = self.queue_mut(channel) else { return (Vec::new(), None) };
        queue.end_pauses();
        let (success, trouble) = queue.works(&now.stamp);
        (vec![Write::Success(success)], trouble)
    }

    /// The batch that was under way has not arrived, as far as is known. `jitter` is from 0 to 1 and spreads the pause
    /// before the next attempt. True when the channel had not failed before.
    pub fn failed(&mut self, channel: &str, fault: &ChannelFault, now: &Now, jitter: f64) -> bool {
        let Some(queue) = self.queue_mut(channel) else { return false };
        queue.failed(fault.is_of_batch(), now.moment(), jitter);
        queue.note_trouble(fault, &now.stamp)
    }

    /// Something that was not queued has not arrived. True when the channel had not failed before.
    pub fn disproved(&mut self, channel: &str, fault: &ChannelFault, now: &Now) -> bool {
        self.queue_mut(channel).is_some_and(|queue| queue.note_trouble(fault, &now.stamp))
    }

    /// The network has changed: what failed for want of it is tried at once.
    pub fn road_changed(&mut self) {
        self.queues.iter_mut().for_each(ChannelQueue::end_pauses);
    }

    /// How the channels stand. Tests are not counted with what is real.
    pub fn standings(&self, now: &Now) -> Vec<QueueState> {
        let standing = |queue: &ChannelQueue| QueueState {
            channel: queue.rule.channel.clone(),
            waiting: queue.real().count(),
            oldest: queue
                .real()
                .filter(|entry| !(self.is_muted && entry.message.held))
                .map(|entry| &entry.message.made_at)
                .filter(|made_at| made_at.age(&now.stamp).is_some())
                .max_by_key(|made_at| made_at.age(&now.stamp))
                .cloned(),
            trouble: queue.trouble.clone(),
            last_success: queue.last_success.as_ref().map(|success| success.at.clone()),
        };
        self.queues.iter().map(standing).collect()
    }

    /// All that the store must hold, to write it anew after it could not be written.
    pub fn kept(&self) -> Kept {
        let of_queue = |queue: &ChannelQueue| -> Vec<(u64, Waiting)> {
            let channel = queue.rule.channel.clone();
            let waiting = |entry: &QueuedMessage| {
                let QueuedMessage { number, message, tried, left_out } = entry.clone();
                (number, Waiting { channel: channel.clone(), message, tried, left_out })
            };
            queue.entries.iter().map(waiting).collect()
        };
        let mut waiting: Vec<(u64, Waiting)> = self.queues.iter().flat_map(of_queue).collect();
        // In the order in which they were taken in, whichever channels some of them have left on already.
        waiting.sort_by_key(|(number, _)| *number);
        Kept {
            waiting: waiting.into_iter().map(|(_, waiting)| waiting).collect(),
            incidents: self.incidents.values().cloned().collect(),
            all_well: self.all_well.clone(),
            taken: self.taken.iter().cloned().collect(),
            pauses: {
                let of_channels = self.queues.iter().filter_map(|queue| queue.kept_pause.clone());
                let mut pauses: Vec<_> = of_channels.chain(self.heartbeat.to_keep()).collect();
                pauses.sort_by(|one, other| one.channel.cmp(&other.channel));
                pauses
            },
            successes: self.successes(),
        }
    }

    fn successes(&self) -> Vec<LastSuccess> {
        let mut successes: Vec<_> = self.queues.iter().filter_map(|queue| queue.last_success.clone()).collect();
        successes.sort_by(|one, other| one.channel.cmp(&other.channel));
        successes
    }

    /// Whoever knows of an incident hears how it goes on; nobody hears only of its end.
    pub(super) fn channels_for(&self, message: &Message, reported: Option<&ReportedIncident>) -> Vec<String> {
        let is_told = |queue: &&ChannelQueue| {
            let knows = reported.is_some_and(|reported| reported.channels.contains(&queue.rule.channel));
            let only_the_end = message.kind.is_last() && reported.is_some();
            knows || (!only_the_end && queue.wants(message))
        };
        self.queues.iter().filter(is_told).map(|queue| queue.rule.channel.clone()).collect()
    }

    pub(super) fn put(&mut self, message: Arc<Message>, channels: &[String]) -> Vec<Write> {
        if channels.is_empty() {
            return Vec::new();
        }
        let mut writes = vec![Write::Put(Arc::clone(&message), channels.to_vec())];
        self.last += 1;
        self.taken.push_back(message.id.clone());
        while self.taken.len() > REMEMBERED {
            self.taken.pop_front();
        }
        for queue in self.queues.iter_mut().filter(|queue| channels.contains(&queue.rule.channel)) {
            queue.entries.push_back(QueuedMessage {
                number: self.last,
                message: Arc::clone(&message),
                tried: 0,
                left_out: 0,
            });
            writes.extend(queue.make_room());
        }
        writes
    }

    /// Remembers an incident that was reported to somebody.
    fn remember(&mut self, reported: ReportedIncident) -> Option<Write> {
        if reported.channels.is_empty() {
            return None;
        }
        self.incidents.insert(reported.last.incident.clone(), reported.clone());
        Some(Write::Incident(Box::new(reported)))
    }

    fn queue(&self, channel: &str) -> Option<&ChannelQueue> {
        self.queues.iter().find(|queue| queue.rule.channel == channel)
    }

    fn queue_mut(&mut self, channel: &str) -> Option<&mut ChannelQueue> {
        self.queues.iter_mut().find(|queue| queue.rule.channel == channel)
    }
}
