//! The messages that wait for one channel, and what is sent of them next.

use super::kept::{KeptPause, LastSuccess};
use super::pause::Pause;
use super::quiet::quiet_until;
use super::terms::{NextStep, Now, Rule};
use crate::clock::Moment;
use crate::tell::batch::{Batch, Item};
use crate::tell::delivery::ChannelFault;
use crate::tell::message::{Message, MessageKind, Stamp};
use crate::verdict::Severity;
use std::collections::{BTreeSet, VecDeque};
use std::sync::Arc;
use std::time::Duration;
use traylight_config::QuietHours;

/// So many messages within [`WINDOW`] have each a batch of their own.
const BURST: usize = 5;
const WINDOW: Duration = Duration::from_secs(10 * 60);
/// When there are more, a critical one waits no longer than this for the next batch.
const URGENT: Duration = Duration::from_secs(60);
/// A batch holds no more, so that no server finds it too large.
const LONGEST_BATCH: usize = 50;

/// One message that waits for one channel.
#[derive(Debug, Clone, PartialEq)]
pub(super) struct QueuedMessage {
    /// Messages are counted as they are taken in; the same on every channel.
    pub number: u64,
    pub message: Arc<Message>,
    pub tried: u32,
    pub left_out: u32,
}

/// One channel's queue.
#[derive(Debug, Clone)]
pub(super) struct ChannelQueue {
    pub rule: Rule,
    pub entries: VecDeque<QueuedMessage>,
    pub pause: Pause,
    /// The pause after a test that failed. What is real does not wait for it.
    pub test_pause: Pause,
    /// The pause as the store has it.
    pub kept_pause: Option<KeptPause>,
    /// Since when it fails, and how.
    pub trouble: Option<(Stamp, ChannelFault)>,
    pub last_success: Option<LastSuccess>,
    /// The messages of the batch that has left and was not heard of since.
    under_way: Vec<String>,
    /// When the last batches of real messages arrived.
    batches: VecDeque<Moment>,
    /// A batch was refused: until all has left, each message goes by itself.
    is_apart: bool,
}

impl ChannelQueue {
    pub fn new(rule: Rule) -> Self {
        Self {
            rule,
            entries: VecDeque::new(),
            pause: Pause::default(),
            test_pause: Pause::default(),
            kept_pause: None,
            trouble: None,
            last_success: None,
            under_way: Vec::new(),
            batches: VecDeque::new(),
            is_apart: false,
        }
    }

    /// Whether this channel is to be told of it.
    pub fn wants(&self, message: &Message) -> bool {
        let rule = &self.rule;
        match message.kind {
            // Who would be told of trouble is told that there is none.
            MessageKind::AllWell => true,
            _ => {
                let is_about = message.about.iter().any(|about| rule.topics.contains(&about.topic));
                message.severity >= rule.min_severity && (rule.topics.is_empty() || is_about)
            }
        }
    }

    pub fn holds_some_of(&self, incident: &str) -> bool {
        self.entries.iter().any(|entry| entry.message.incident == incident)
    }

    /// The messages that are no tests.
    pub fn real(&self) -> impl Iterator<Item = &QueuedMessage> {
        self.entries.iter().filter(|entry| !entry.message.is_test())
    }

    pub fn is_under_way(&self, entry: &QueuedMessage) -> bool {
        self.under_way.contains(&entry.message.id)
    }

    /// What to do now.
    pub fn next(&self, quiet: Option<QuietHours>, is_muted: bool, now: &Now) -> NextStep {
        if !self.under_way.is_empty() || self.entries.is_empty() {
            return NextStep::Wait(None);
        }
        if let Some(until) = self.pause.until(now.moment()) {
            return NextStep::Wait(Some(until));
        }
        let quiet_until = quiet_until(quiet, now);
        let may_leave = |entry: &&QueuedMessage| {
            let is_held = is_muted && entry.message.held;
            !is_held && (quiet_until.is_none() || self.is_loud(entry))
        };
        let (tests, real): (Vec<&QueuedMessage>, Vec<&QueuedMessage>) =
            self.entries.iter().filter(may_leave).partition(|entry| entry.message.is_test());
        let step = if real.is_empty() { NextStep::Wait(quiet_until) } else { self.next_real(&real, now) };
        // Tests neither wait for a burst nor add to one: what is real must not wait for them.
        match (step, self.test_pause.until(now.moment())) {
            (NextStep::Wait(_), None) if !tests.is_empty() => send(&tests[..1], now),
            (NextStep::Wait(until), Some(over)) if !tests.is_empty() => {
                NextStep::Wait(Some(until.map_or(over, |until| until.min(over))))
            }
            (step, _) => step,
        }
    }

    /// What to do about real messages that may leave.
    fn next_real(&self, ready: &[&QueuedMessage], now: &Now) -> NextStep {
        let recent = self.batches.iter().filter(|sent| now.moment().since(**sent) < WINDOW).count();
        if !self.rule.shares_batches || self.is_apart || recent + ready.len() <= BURST {
            return send(&ready[..1], now);
        }
        match self.room_at(recent, ready) {
            Some(room) if room > now.moment() => NextStep::Wait(Some(room)),
            _ => send(&ready[..ready.len().min(LONGEST_BATCH)], now),
        }
    }

    /// When the next batch may leave after a burst.
    fn room_at(&self, recent: usize, ready: &[&QueuedMessage]) -> Option<Moment> {
        if recent < BURST {
            return None;
        }
        let window = self.batches.iter().rev().nth(BURST - 1)?.plus(WINDOW);
        let urgent = self.batches.back()?.plus(URGENT);
        let is_urgent = ready.iter().any(|entry| entry.message.severity == Severity::Critical);
        Some(if is_urgent { urgent.min(window) } else { window })
    }

    /// Critical messages, and what came before them in their incident, do not wait for the morning; nor does a test,
    /// for which somebody waits.
    fn is_loud(&self, entry: &QueuedMessage) -> bool {
        let critical = |other: &QueuedMessage| {
            other.message.incident == entry.message.incident && other.message.severity == Severity::Critical
        };
        entry.message.is_test() || self.entries.iter().any(critical)
    }

    /// The batch with these messages leaves; the pause that follows unless it arrives. A test has none that outlasts a restart.
    pub fn begun(&mut self, ids: Vec<String>, since: &Stamp) -> Option<KeptPause> {
        for entry in &mut self.entries {
            if ids.contains(&entry.message.id) {
                entry.tried += 1;
            }
        }
        self.under_way = ids;
        if self.is_test_under_way() {
            return None;
        }
        let Rule { channel, target, .. } = &self.rule;
        let (channel, failures) = (channel.clone(), self.pause.failures() + 1);
        self.kept_pause = Some(KeptPause { channel, target: *target, failures, since: since.clone() });
        self.kept_pause.clone()
    }

    /// Tests leave by themselves: a batch has nothing else or no test.
    fn is_test_under_way(&self) -> bool {
        self.entries.iter().any(|entry| entry.message.is_test() && self.is_under_way(entry))
    }

    /// The messages that have arrived.
    pub fn delivered(&mut self, now: Moment) -> Vec<Arc<Message>> {
        let ids = std::mem::take(&mut self.under_way);
        let (gone, left): (VecDeque<QueuedMessage>, VecDeque<QueuedMessage>) =
            self.entries.drain(..).partition(|entry| ids.contains(&entry.message.id));
        self.entries = left;
        if gone.iter().any(|entry| !entry.message.is_test()) {
            self.batches.push_back(now);
        }
        while self.batches.len() > BURST {
            self.batches.pop_front();
        }
        self.pause.forget();
        self.test_pause.forget();
        self.kept_pause = None;
        self.is_apart &= !self.entries.is_empty();
        gone.into_iter().map(|entry| entry.message).collect()
    }

    /// The other side has accepted something; for how long the channel had failed before.
    pub fn works(&mut self, now: &Stamp) -> (LastSuccess, Option<Duration>) {
        let failed_for = self.trouble.take().and_then(|(since, _)| since.age(now));
        let Rule { channel, target, .. } = &self.rule;
        let success = LastSuccess { channel: channel.clone(), target: *target, at: now.clone() };
        (self.last_success.insert(success).clone(), failed_for)
    }

    /// Notes why it fails, and since when; true when it had not failed before.
    pub fn note_trouble(&mut self, fault: &ChannelFault, now: &Stamp) -> bool {
        let before = self.trouble.take();
        let is_new = before.is_none();
        self.trouble = Some((before.map_or_else(|| now.clone(), |(since, _)| since), fault.clone()));
        is_new
    }

    /// What waits is tried next, pause or not.
    pub fn end_pauses(&mut self) {
        self.pause.end();
        self.test_pause.end();
    }

    pub fn failed(&mut self, is_of_batch: bool, now: Moment, jitter: f64) {
        let is_test = self.is_test_under_way();
        let back = std::mem::take(&mut self.under_way);
        let pause = if is_test { &mut self.test_pause } else { &mut self.pause };
        pause.lengthen(now, jitter);
        if !is_of_batch {
            return;
        }
        // A batch that nobody wants must not stand before all others. What follows it in its incident goes with it.
        if let [id] = back.as_slice() {
            let incident = self.entries.iter().find(|entry| entry.message.id == *id);
            if let Some(incident) = incident.map(|entry| entry.message.incident.clone()) {
                let (refused, others): (VecDeque<QueuedMessage>, VecDeque<QueuedMessage>) =
                    self.entries.drain(..).partition(|entry| entry.message.incident == incident);
                self.entries = others;
                self.entries.extend(refused);
            }
        }
        self.is_apart |= !is_test;
    }

    /// The incidents that have entries here, in the order of their first ones.
    pub fn incidents(&self) -> Vec<String> {
        let mut seen = BTreeSet::new();
        let incidents = self.entries.iter().map(|entry| &entry.message.incident);
        incidents.filter(|incident| seen.insert(*incident)).cloned().collect()
    }
}

fn send(entries: &[&QueuedMessage], now: &Now) -> NextStep {
    let item =
        |entry: &&QueuedMessage| Item::new((*entry.message).clone(), entry.left_out, entry.tried + 1, &now.stamp);
    let mut items = entries.iter().map(item);
    match items.next() {
        Some(first) => NextStep::Send(Box::new(Batch { first, more: items.collect() })),
        None => NextStep::Wait(None),
    }
}
