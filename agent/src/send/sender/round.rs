//! The sender's rounds: take in what is new, store it, send what may leave, hear what came of it.

use super::order::{SendEvent, SenderOrder, SenderSettings, TrialReply};
use super::world::World;
use crate::clock::Moment;
use crate::keep::OutboxStore;
use crate::send::channels::command::StateFolder;
use crate::send::channels::from_settings::{Named, channels, policy, rules};
use crate::send::channels::{ChannelFault, Needs, Receipt};
use crate::tell::batch::Batch;
use crate::tell::box_state::BoxState;
use crate::tell::message::{Message, MessageKind, Stamp};
use crate::tell::outbox::{Dropped, Kept, NextStep, Now, Outbox, QueueState, Write};
#[cfg(test)]
use crate::tell::outbox::{Policy, Rule};
use crate::tell::words::phrases::Phrases;
use std::collections::BTreeMap;
use std::sync::Arc;
use std::sync::atomic::AtomicBool;
use std::time::Duration;
use tokio::sync::mpsc::Receiver;
use tokio::sync::watch;
use tokio::task::JoinSet;
use traylight_config::Heartbeat;

/// What is under way when it is asked to stop has so long to end.
pub(super) const LAST: Duration = Duration::from_secs(5);
/// It looks around by itself at least so often: for reminders, and for what the store still lacks.
pub(super) const IDLE: Duration = Duration::from_secs(600);
/// While something waits for a road, a clock or better times, it looks so often whether there are any.
pub(super) const ANXIOUS: Duration = Duration::from_secs(5);
/// A clock that nobody has set by then never will be: certificates are checked by what it says.
const CLOCK_GRACE: Duration = Duration::from_secs(600);
/// A store that could not be written is tried again so often.
pub(super) const STORE_PAUSE: Duration = Duration::from_secs(60);
/// What came of something that was under way.
pub(super) enum DeliveryOutcome {
    Batch(String, Box<Batch>, Result<Receipt, ChannelFault>),
    Trial(String, Vec<String>, Result<Receipt, ChannelFault>),
    #[cfg_attr(not(feature = "webhook"), allow(dead_code, reason = "the heartbeat is fetched as web requests are"))]
    Heartbeat(Result<Receipt, ChannelFault>),
}

/// The settings that a sender goes by: the rules, what holds for all channels, the heartbeat, and each channel by its name.
#[cfg(test)]
pub(super) type MadeFrom = (Vec<Rule>, Policy, Option<Heartbeat>, Vec<(String, String)>);

/// The sender at work.
pub(super) struct Round {
    pub(super) outbox: Outbox,
    pub(super) store: Option<OutboxStore>,
    /// The store lacks something: it is to be written anew, from this moment on.
    pub(super) store_lacks_since: Option<Moment>,
    pub(super) channels: Vec<Named>,
    pub(super) folder: StateFolder,
    pub(super) world: Box<dyn World>,
    pub(super) report: Box<dyn Fn(SendEvent) + Send>,
    pub(super) under_way: JoinSet<DeliveryOutcome>,
    /// Who waits for the test of a channel that is under way.
    pub(super) trials: BTreeMap<String, TrialReply>,
    roads: String,
    state: watch::Receiver<BoxState>,
    pub(super) heartbeat: Option<Heartbeat>,
    /// What its owner wants from now on, to be done once the orders that came with it are taken in.
    renewal: Option<SenderSettings>,
    /// When the heartbeat is next due, and whether the last one failed.
    #[cfg_attr(not(feature = "webhook"), allow(dead_code, reason = "the heartbeat is fetched as web requests are"))]
    pub(super) heartbeat_at: Moment,
    pub(super) heartbeat_fails: bool,
}

impl Round {
    /// A sender without channels; [`Round::begin`] gives it some.
    pub fn new(
        world: Box<dyn World>,
        report: Box<dyn Fn(SendEvent) + Send>,
        state: watch::Receiver<BoxState>,
        store: Option<OutboxStore>,
    ) -> Self {
        let roads = world.roads();
        let heartbeat_at = world.now().stamp.moment;
        let under_way = JoinSet::new();
        Self {
            outbox: Outbox::default(),
            store,
            store_lacks_since: None,
            channels: Vec::new(),
            folder: StateFolder::default(),
            world,
            report,
            under_way,
            trials: BTreeMap::new(),
            roads,
            state,
            heartbeat: None,
            renewal: None,
            heartbeat_at,
            heartbeat_fails: false,
        }
    }

    /// Begins with what was kept.
    pub fn begin(&mut self, wanted: SenderSettings, is_muted: bool) {
        let kept = self.store.as_ref().map(OutboxStore::load).transpose().unwrap_or_else(|fault| {
            (self.report)(SendEvent::NotStored(fault));
            None
        });
        self.take_up(wanted, kept.unwrap_or_default());
        self.outbox.mute(is_muted);
        self.resume_heartbeat();
    }

    /// Goes on with other settings: what is under way has a moment to end, what waits goes to the channels of now.
    pub(super) async fn renew(&mut self, wanted: SenderSettings) {
        self.finish().await;
        // What has not ended by now may have arrived; it was tried, and says so when it is sent again.
        self.under_way.abort_all();
        while self.under_way.join_next().await.is_some() {}
        self.give_up_trials();
        let (is_muted, reach) = (self.outbox.is_muted(), self.outbox.rehearsal_reach.clone());
        self.take_up(wanted, self.outbox.kept());
        self.outbox.mute(is_muted);
        self.outbox.rehearsal_reach = reach;
        self.outbox.road_changed();
        self.heartbeat_at = self.world.now().stamp.moment;
    }

    /// The channels of these settings, and an outbox for them that goes on with this.
    fn take_up(&mut self, wanted: SenderSettings, kept: Kept) {
        let SenderSettings { alerts, box_name } = wanted;
        self.know_folder();
        let (channels, absent) = channels(&alerts, &box_name, &self.state, &self.folder);
        absent.into_iter().for_each(|which| (self.report)(SendEvent::NotBuiltIn(which)));
        let (outbox, orphans, writes) = Outbox::new(rules(&alerts), policy(&alerts), kept);
        orphans.into_iter().for_each(|(channel, count)| (self.report)(SendEvent::Orphans { channel, count }));
        (self.outbox, self.channels, self.heartbeat) = (outbox, channels, alerts.heartbeat);
        self.keep(&writes);
        let dropped = self.outbox.drop_rehearsed();
        let writes = self.say_dropped(dropped);
        self.keep(&writes);
        if self.heartbeat.is_none() {
            let writes = self.outbox.heartbeat.over();
            self.keep(&writes);
        }
    }

    /// The settings that it goes by.
    #[cfg(test)]
    pub fn made_from(&self) -> MadeFrom {
        let (rules, policy) = self.outbox.made_from();
        let channels = self.channels.iter().map(|(name, channel)| (name.clone(), channel.made_from()));
        (rules, policy, self.heartbeat.clone(), channels.collect())
    }

    /// Goes round until there are no more orders.
    pub async fn run(
        &mut self,
        mut orders: Receiver<SenderOrder>,
        is_watched: &AtomicBool,
        standings: &watch::Sender<Vec<QueueState>>,
    ) {
        loop {
            let now = self.world.now();
            let writes = self.outbox.begin(&now);
            self.keep(&writes);
            let state = self.state.borrow().clone();
            let writes = self.outbox.remind(&now, &state.unacknowledged);
            self.keep(&writes);
            let dropped = self.outbox.expire_rehearsal(&now);
            let writes = self.say_dropped(dropped);
            self.keep(&writes);
            self.say_all_is_well(&state, &now);
            self.mend_store(&now);
            let mut wait = self.send(&now);
            if let Some(heartbeat) = self.heartbeat.clone() {
                wait = wait.min(self.beat(&heartbeat, is_watched, &now));
            }
            standings.send_replace(self.outbox.standings(&now));
            tokio::select! {
                order = orders.recv() => match order {
                    Some(order) => self.take(order, &mut orders),
                    None => break,
                },
                Some(Ok(outcome)) = self.under_way.join_next() => self.take_outcome(outcome),
                () = tokio::time::sleep(wait) => self.look_at_roads(),
            }
            if let Some(wanted) = self.renewal.take() {
                self.renew(wanted).await;
            }
        }
        self.finish().await;
    }

    /// Takes in an order and all that have come with it, and stores them together.
    fn take(&mut self, first: SenderOrder, more: &mut Receiver<SenderOrder>) {
        let now = self.world.now();
        let mut writes = Vec::new();
        let mut next = Some(first);
        while let Some(order) = next {
            writes.extend(match order {
                SenderOrder::Tell(message) => self.outbox.take(*message, &now),
                SenderOrder::Try(trial) => {
                    self.try_now(*trial);
                    Vec::new()
                }
                SenderOrder::EndRehearsal(last) => {
                    let dropped = self.outbox.end_rehearsal(last, &now);
                    self.say_dropped(dropped)
                }
                SenderOrder::Keep(store) => {
                    self.take_store(*store);
                    Vec::new()
                }
                SenderOrder::Renew(wanted) => {
                    self.renewal = Some(*wanted);
                    Vec::new()
                }
                SenderOrder::Mute(is_muted) => {
                    self.outbox.mute(is_muted);
                    Vec::new()
                }
            });
            next = more.try_recv().ok();
        }
        self.keep(&writes);
    }

    /// Says what of a rehearsal goes nowhere; what is to be stored of that.
    fn say_dropped(&self, (dropped, writes): (Dropped, Vec<Write>)) -> Vec<Write> {
        dropped.into_iter().for_each(|(channel, count)| (self.report)(SendEvent::RehearsalDropped { channel, count }));
        writes
    }

    /// Lets leave what may; how long until there is more to do.
    fn send(&mut self, now: &Now) -> Duration {
        let mut wait = if self.store_lacks_since.is_some() { STORE_PAUSE } else { IDLE };
        if let Some(at) = self.outbox.rehearsal_expires() {
            wait = wait.min(at.since(now.stamp.moment).max(Duration::from_millis(1)));
        }
        let names: Vec<String> = self.outbox.names().collect();
        for name in names {
            let Some((_, channel)) = named(&self.channels, &name) else { continue };
            let channel = Arc::clone(channel);
            match self.outbox.next(&name, now) {
                NextStep::Wait(None) => {}
                NextStep::Wait(Some(until)) => {
                    let fails = self.fails(&name, now);
                    let left = until.since(now.stamp.moment).max(Duration::from_millis(1));
                    wait = wait.min(if fails { left.min(ANXIOUS) } else { left });
                }
                NextStep::Send(_) if !self.is_ready(channel.needs(), now) => wait = wait.min(ANXIOUS),
                NextStep::Send(batch) => {
                    // On disk before it leaves: whoever finds it tried before knows that it may have arrived.
                    let writes = self.outbox.begun(&name, &batch, now);
                    self.keep(&writes);
                    self.under_way.spawn(async move {
                        let outcome = channel.send(&batch).await;
                        DeliveryOutcome::Batch(name, batch, outcome)
                    });
                }
            }
        }
        wait
    }

    pub(super) fn is_ready(&self, needs: Needs, now: &Now) -> bool {
        let clock = now.stamp.wall.is_some() || now.stamp.moment.since_boot() >= CLOCK_GRACE;
        (!needs.clock || clock) && (!needs.route || !self.world.roads().is_empty())
    }

    fn take_outcome(&mut self, outcome: DeliveryOutcome) {
        match outcome {
            DeliveryOutcome::Batch(channel, batch, outcome) => self.batch_outcome(channel, &batch, outcome),
            DeliveryOutcome::Trial(channel, ids, outcome) => self.trial_outcome(channel, ids, outcome),
            DeliveryOutcome::Heartbeat(outcome) => self.heartbeat_outcome(outcome),
        }
    }

    fn batch_outcome(&mut self, channel: String, batch: &Batch, outcome: Result<Receipt, ChannelFault>) {
        let now = self.world.now();
        match outcome {
            Ok(receipt) => {
                let failed = self.fails(&channel, &now);
                let (writes, after) = self.outbox.delivered(&channel, &now);
                self.keep(&writes);
                self.report_receipt(channel, batch.ids(), receipt, failed.then_some(after));
            }
            Err(fault) => {
                if self.outbox.failed(&channel, &fault, &now, self.world.chance()) {
                    self.report_failure(channel, fault, &now);
                }
            }
        }
    }

    /// A channel begins to fail.
    pub(super) fn report_failure(&self, channel: String, fault: ChannelFault, now: &Now) {
        let states = self.outbox.standings(now);
        let waiting = states.iter().find(|state| state.channel == channel).map_or(0, |state| state.waiting);
        (self.report)(SendEvent::Fails { channel, fault, waiting });
    }

    pub(super) fn fails(&self, channel: &str, now: &Now) -> bool {
        self.outbox.standings(now).iter().any(|at| at.channel == channel && at.trouble.is_some())
    }

    /// The other side has it; `after` is for how long the channel had failed before, if it had.
    pub(super) fn report_receipt(
        &self,
        channel: String,
        ids: Vec<String>,
        receipt: Receipt,
        after: Option<Option<Duration>>,
    ) {
        let Receipt { reply, refused } = receipt;
        if let Some(after) = after {
            (self.report)(SendEvent::WorksAgain { channel: channel.clone(), after });
        }
        if !refused.is_empty() {
            (self.report)(SendEvent::NotToAll { channel: channel.clone(), refused });
        }
        (self.report)(SendEvent::Delivered { channel, ids, reply });
    }

    fn look_at_roads(&mut self) {
        let roads = self.world.roads();
        if roads != self.roads {
            self.roads = roads;
            self.outbox.road_changed();
        }
    }

    fn say_all_is_well(&mut self, state: &BoxState, now: &Now) {
        if !state.is_fine || !self.outbox.all_well_is_due(now) {
            return;
        }
        let writes = self.outbox.take(all_is_well(state, now.stamp.clone()), now);
        self.keep(&writes);
    }

    /// Waits for the last of what is under way, and lets the channels end what they have open.
    async fn finish(&mut self) {
        let rest = async {
            while let Some(outcome) = self.under_way.join_next().await {
                if let Ok(outcome) = outcome {
                    self.take_outcome(outcome);
                }
            }
        };
        let _ = tokio::time::timeout(LAST, rest).await;
        for (_, channel) in &self.channels {
            let _ = tokio::time::timeout(LAST, channel.finish()).await;
        }
    }
}

fn all_is_well(state: &BoxState, made_at: Stamp) -> Message {
    let second = made_at.wall.as_ref().map_or(made_at.moment.since_boot().as_secs(), |wall| wall.epoch_s);
    Message {
        id: format!("{}-all-well.{second}", state.mark),
        incident: "all-well".to_owned(),
        title: state.language.plain("message.all-well").to_owned(),
        sentence: state.sentence.clone(),
        ..Message::notice(MessageKind::AllWell, &state.box_name, made_at, state.language)
    }
}

/// The channel of this name.
pub(super) fn named<'a>(channels: &'a [Named], name: &str) -> Option<&'a Named> {
    channels.iter().find(|(known, _)| known == name)
}
