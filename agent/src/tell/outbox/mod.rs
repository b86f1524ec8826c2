//! Which message goes to which channel, and when: a function of what waits and of the time. It sends nothing and stores
//! nothing; what is to be stored comes out as [`Write`]s, to be on disk before anything leaves.
//!
//! Every channel has a queue of its own, so that one that fails holds up no other. What belongs to one incident leaves in
//! its order.

mod fold;
mod heartbeat;
mod kept;
mod pause;
mod queue;
mod quiet;
mod rehearsed;

use super::batch::Batch;
use super::message::{Message, Stamp, Topic, Turn};
use crate::clock::Moment;
use crate::verdict::Severity;
use heartbeat::Heartbeat;
pub use kept::{Kept, KeptPause, REMEMBERED, Story, Waiting, Write};
use pause::Pause;
use queue::{Entry, Queue};
pub use rehearsed::Dropped;
use std::collections::{BTreeMap, BTreeSet, VecDeque};
use std::sync::Arc;
use std::time::Duration;
use traylight_config::QuietHours;

/// What one way is told of, and how.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rule {
    /// The name of the way.
    pub channel: String,
    /// Nothing less goes to this channel.
    pub least: Severity,
    /// Kinds of parts; empty means all.
    pub about: Vec<Topic>,
    /// Whether messages that come too fast share a batch. Programs read each by itself.
    pub shares_batches: bool,
    /// The same as long as the channel leads to the same place under the same conditions: another one need not wait for what
    /// that one did.
    pub target: u64,
}

/// What holds for all channels.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Policy {
    /// When warnings wait.
    pub quiet: Option<QuietHours>,
    /// How long after it was last told of a critical incident that is still open is told again.
    pub remind_every: Duration,
    /// How often it is said that all is well, if at all.
    pub all_well_every: Option<Duration>,
}

/// The time, as far as planning needs it.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Now {
    /// On all clocks.
    pub stamp: Stamp,
    /// Minutes since midnight, local time, when the calendar can be believed.
    pub minute_of_day: Option<u16>,
}

impl Now {
    fn moment(&self) -> Moment {
        self.stamp.moment
    }
}

/// What to do about a channel now.
#[derive(Debug, Clone, PartialEq)]
pub enum Step {
    /// Send this.
    Send(Box<Batch>),
    /// Nothing before this moment; `None` is until something happens.
    Wait(Option<Moment>),
}

/// Why a batch did not arrive, as far as planning needs to know.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Blame {
    /// The channel: nothing can go there now.
    Channel,
    /// The batch: the other side does not want this one, and may want another.
    Batch,
}

/// How a channel stands.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Standing {
    /// Its name.
    pub channel: String,
    /// How many messages wait for it.
    pub waiting: usize,
    /// How long the oldest of them has waited, where that is known.
    pub oldest: Option<Duration>,
    /// Since when it fails, and how.
    pub trouble: Option<(Stamp, String)>,
}

/// What waits, and what it knows of the channels.
#[derive(Debug, Clone, Default)]
pub struct Outbox {
    policy: Policy,
    queues: Vec<Queue>,
    stories: BTreeMap<String, Story>,
    all_well: Option<Stamp>,
    taken: VecDeque<String>,
    /// The number of the last message that was taken in.
    last: u64,
    /// Somebody works on the box: what was made since waits.
    is_muted: bool,
    /// Pauses from before are brought over at the first look at the clock.
    has_begun: bool,
    rehearsal_over: Option<Moment>,
    heartbeat: Heartbeat,
}

impl Outbox {
    /// An outbox for these channels with what was kept. What waited for a channel that is not there any more goes nowhere;
    /// how many messages that were, by channel.
    pub fn new(rules: Vec<Rule>, policy: Policy, kept: Kept) -> (Self, BTreeMap<String, usize>, Vec<Write>) {
        let mut queues: Vec<Queue> = rules.into_iter().map(Queue::new).collect();
        let (mut orphans, mut writes) = (BTreeMap::new(), Vec::new());
        let (mut number, mut before) = (0, None);
        for Waiting { channel, message, tried, left_out } in kept.waiting {
            number += u64::from(before.replace(message.id.clone()).as_ref() != Some(&message.id));
            match queues.iter_mut().find(|queue| queue.rule.channel == channel) {
                Some(queue) => queue.entries.push_back(Entry { number, message, tried, left_out }),
                None => {
                    *orphans.entry(channel.clone()).or_insert(0) += 1;
                    writes.push(Write::Done(channel, vec![message.id.clone()]));
                }
            }
        }
        let (heartbeat, pauses): (Vec<_>, Vec<_>) =
            kept.pauses.into_iter().partition(|pause| pause.channel == heartbeat::NAME);
        for pause in pauses {
            match queues
                .iter_mut()
                .find(|queue| queue.rule.channel == pause.channel && queue.rule.target == pause.target)
            {
                Some(queue) => queue.kept_pause = Some(pause),
                None => writes.push(Write::PauseOver(pause.channel)),
            }
        }
        let stories = kept.stories.into_iter().map(|story| (story.last.incident.clone(), story)).collect();
        (
            Self {
                policy,
                queues,
                stories,
                all_well: kept.all_well,
                taken: kept.taken.into(),
                last: number,
                is_muted: false,
                has_begun: false,
                rehearsal_over: None,
                heartbeat: Heartbeat { kept: heartbeat.into_iter().next(), answers: false },
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
        let incident = message.record.take();
        let story = self.stories.get(&message.incident).cloned();
        let mut channels = self.channels_for(&message, story.as_ref());
        if self.taken.contains(&message.id) || story.as_ref().is_some_and(|story| story.last.id == message.id) {
            // Told again after a restart. Of what is open, channels that are new hear now.
            channels.retain(|channel| story.as_ref().is_some_and(|story| !story.channels.contains(channel)));
            if channels.is_empty() {
                return Vec::new();
            }
        }
        if self.is_muted && message.turn.is_last() {
            let withdrawn: Vec<Write> = self.queues.iter_mut().filter_map(|queue| queue.withdraw(&message)).collect();
            if !withdrawn.is_empty() {
                self.stories.remove(&message.incident);
                return withdrawn.into_iter().chain([Write::StoryOver(message.incident)]).collect();
            }
        }
        let mut writes = self.put(Arc::new(message.clone()), &channels);
        if message.is_rehearsed() {
            self.rehearsal_over = None;
        }
        match message.turn {
            Turn::Closed | Turn::PartOf => {
                let over = self.stories.remove(&message.incident);
                writes.extend(over.map(|story| Write::StoryOver(story.last.incident)));
            }
            Turn::Opened | Turn::Worsened | Turn::Refined | Turn::Reminder => {
                let (known, reminders) = story.map_or((Vec::new(), 0), |story| (story.channels, story.reminders));
                let channels =
                    self.names().filter(|channel| known.contains(channel) || channels.contains(channel)).collect();
                let last = Message { page: None, ..message };
                writes.extend(self.tell_on(Story { last, told: now.stamp.clone(), reminders, channels, incident }));
            }
            Turn::AllWell => {
                self.all_well = Some(now.stamp.clone());
                writes.push(Write::AllWell(now.stamp.clone()));
            }
            Turn::Test => {}
        }
        writes
    }

    /// Takes in a message for one way only, for which somebody waits: a pause of the way is over.
    pub fn take_for(&mut self, channel: &str, message: Message) -> Vec<Write> {
        if let Some(queue) = self.queue_mut(channel) {
            queue.pause.end();
        }
        self.put(Arc::new(message), &[channel.to_owned()])
    }

    /// Tells again of critical incidents that have been open for long, of those whose owner has not said that he knows.
    pub fn remind(&mut self, now: &Now, unacknowledged: &BTreeSet<String>) -> Vec<Write> {
        let every = self.policy.remind_every;
        let is_due = |story: &&Story| {
            story.last.severity == Severity::Critical
                && !self.is_muted
                && unacknowledged.contains(&story.last.incident)
                && story.told.age(&now.stamp).is_some_and(|age| age >= every)
                // Who has not got the last of it needs no reminder.
                && !self.queues.iter().any(|queue| queue.holds_some_of(&story.last.incident))
        };
        let due: Vec<Story> = self.stories.values().filter(is_due).cloned().collect();
        let mut writes = Vec::new();
        for mut story in due {
            story.reminders += 1;
            story.told = now.stamp.clone();
            let id = format!("{}.reminder-{}", story.last.story_id(), story.reminders);
            // What was new then is new no more.
            let also = story.last.news.iter().chain(&story.last.also).cloned().collect();
            let (turn, made_at, news) = (Turn::Reminder, now.stamp.clone(), Vec::new());
            let message = Message { id, turn, made_at, news, also, ..story.last.clone() };
            let channels = self.channels_for(&message, Some(&story));
            writes.extend(self.put(Arc::new(message), &channels));
            writes.extend(self.tell_on(story));
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
    pub fn next(&self, channel: &str, now: &Now) -> Step {
        self.queue(channel).map_or(Step::Wait(None), |queue| queue.next(self.policy.quiet, self.is_muted, now))
    }

    /// The batch is about to leave.
    pub fn begun(&mut self, channel: &str, batch: &Batch, now: &Now) -> Vec<Write> {
        let Some(queue) = self.queue_mut(channel) else { return Vec::new() };
        let pause = queue.begun(batch.ids(), &now.stamp);
        vec![Write::Tried(channel.to_owned(), batch.ids()), Write::Pause(pause)]
    }

    /// The batch that was under way has arrived. With it, for how long the channel had failed before.
    pub fn delivered(&mut self, channel: &str, now: &Now) -> (Vec<Write>, Option<Duration>) {
        let Some(queue) = self.queue_mut(channel) else { return (Vec::new(), None) };
        let trouble = queue.trouble.take().and_then(|(since, _)| since.age(&now.stamp));
        let gone = queue.delivered(now.moment());
        (vec![Write::Done(channel.to_owned(), gone), Write::PauseOver(channel.to_owned())], trouble)
    }

    /// The batch that was under way has not arrived, as far as is known. `jitter` is from 0 to 1 and spreads the pause
    /// before the next attempt. True when the channel had not failed before.
    pub fn failed(&mut self, channel: &str, blame: Blame, why: &str, now: &Now, jitter: f64) -> bool {
        let Some(queue) = self.queue_mut(channel) else { return false };
        let is_new = queue.trouble.is_none();
        let since = queue.trouble.take().map_or_else(|| now.stamp.clone(), |(since, _)| since);
        queue.trouble = Some((since, why.to_owned()));
        queue.failed(blame, now.moment(), jitter);
        is_new
    }

    /// The network has changed: what failed for want of it is tried at once.
    pub fn road_changed(&mut self) {
        for queue in &mut self.queues {
            queue.pause.end();
        }
    }

    /// How the channels stand.
    pub fn standings(&self, now: &Now) -> Vec<Standing> {
        let standing = |queue: &Queue| Standing {
            channel: queue.rule.channel.clone(),
            waiting: queue.entries.len(),
            oldest: queue
                .entries
                .iter()
                .filter(|entry| !(self.is_muted && entry.message.held))
                .filter_map(|entry| entry.message.made_at.age(&now.stamp))
                .max(),
            trouble: queue.trouble.clone(),
        };
        self.queues.iter().map(standing).collect()
    }

    /// All that the store must hold, to write it anew after it could not be written.
    pub fn kept(&self) -> Kept {
        let of_queue = |queue: &Queue| -> Vec<(u64, Waiting)> {
            let channel = queue.rule.channel.clone();
            let waiting = |entry: &Entry| {
                let Entry { number, message, tried, left_out } = entry.clone();
                (number, Waiting { channel: channel.clone(), message, tried, left_out })
            };
            queue.entries.iter().map(waiting).collect()
        };
        let mut waiting: Vec<(u64, Waiting)> = self.queues.iter().flat_map(of_queue).collect();
        // In the order in which they were taken in, whichever channels some of them have left on already.
        waiting.sort_by_key(|(number, _)| *number);
        Kept {
            waiting: waiting.into_iter().map(|(_, waiting)| waiting).collect(),
            stories: self.stories.values().cloned().collect(),
            all_well: self.all_well.clone(),
            taken: self.taken.iter().cloned().collect(),
            pauses: {
                let of_channels = self.queues.iter().filter_map(|queue| queue.kept_pause.clone());
                let mut pauses: Vec<_> = of_channels.chain(self.heartbeat.kept.clone()).collect();
                pauses.sort_by(|one, other| one.channel.cmp(&other.channel));
                pauses
            },
        }
    }

    /// Whoever knows of an incident hears how it goes on; nobody hears only of its end.
    fn channels_for(&self, message: &Message, story: Option<&Story>) -> Vec<String> {
        let is_told = |queue: &&Queue| {
            let knows = story.is_some_and(|story| story.channels.contains(&queue.rule.channel));
            let only_the_end = message.turn.is_last() && story.is_some();
            knows || (!only_the_end && queue.wants(message))
        };
        self.queues.iter().filter(is_told).map(|queue| queue.rule.channel.clone()).collect()
    }

    fn put(&mut self, message: Arc<Message>, channels: &[String]) -> Vec<Write> {
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
            queue.entries.push_back(Entry { number: self.last, message: Arc::clone(&message), tried: 0, left_out: 0 });
            writes.extend(queue.make_room());
        }
        writes
    }

    /// Remembers a story that somebody was told.
    fn tell_on(&mut self, story: Story) -> Option<Write> {
        if story.channels.is_empty() {
            return None;
        }
        self.stories.insert(story.last.incident.clone(), story.clone());
        Some(Write::Story(Box::new(story)))
    }

    fn queue(&self, channel: &str) -> Option<&Queue> {
        self.queues.iter().find(|queue| queue.rule.channel == channel)
    }

    fn queue_mut(&mut self, channel: &str) -> Option<&mut Queue> {
        self.queues.iter_mut().find(|queue| queue.rule.channel == channel)
    }
}

#[cfg(test)]
mod tests;
