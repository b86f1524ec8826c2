//! What passes between the sender's handle and its thread: orders, and reports of what came of them.

use crate::keep::{KeepFault, OutboxStore};
use crate::send::channels::{ChannelFault, Receipt, Reply};
use crate::tell::delivery::RefusedRecipient;
use crate::tell::message::Message;
use std::time::Duration;
use traylight_config::Alerts;

/// The settings that a sender goes by.
pub struct SenderSettings {
    /// The settings of alerts.
    pub alerts: Alerts,
    /// The name of the box.
    pub box_name: String,
}

/// Takes what came of a test. Dropped when the thread ends first.
pub type TrialReply = Box<dyn FnOnce(Result<Receipt, ChannelFault>) + Send>;

/// A message that is tried on one channel, beside what waits for it.
pub(super) struct Trial {
    pub channel: String,
    pub message: Message,
    pub reply: TrialReply,
}

/// What its thread is to do.
pub(super) enum SenderOrder {
    Tell(Box<Message>),
    Try(Box<Trial>),
    EndRehearsal(Vec<Message>),
    Mute(bool),
    Renew(Box<SenderSettings>),
    Keep(Box<OutboxStore>),
}

/// What is to be said of the sending.
#[derive(Debug, Clone, PartialEq)]
pub enum SendEvent {
    /// The other side has it.
    Delivered {
        /// On which channel.
        channel: String,
        /// The names of the messages.
        ids: Vec<String>,
        /// What the other side replied.
        reply: Reply,
    },
    /// The other side has it, and does not take it for some of its receivers.
    NotToAll {
        /// On which channel.
        channel: String,
        /// Those, each with the reason.
        refused: Vec<RefusedRecipient>,
    },
    /// A channel begins to fail.
    Fails {
        /// Which.
        channel: String,
        /// How.
        fault: ChannelFault,
        /// How many messages are queued for it.
        waiting: usize,
    },
    /// A channel that failed works again.
    WorksAgain {
        /// Which.
        channel: String,
        /// For how long it had failed, where that is known.
        after: Option<Duration>,
    },
    /// What waited for a channel that is not configured any more goes nowhere.
    Orphans {
        /// The channel that was.
        channel: String,
        /// How many messages.
        count: usize,
    },
    /// What a rehearsal had to say could not leave while it ran, and is not sent any more.
    RehearsalDropped {
        /// On which channel.
        channel: String,
        /// How many messages.
        count: usize,
    },
    /// A channel of the configuration cannot be used at all.
    NotBuiltIn(String),
    /// What waits is not stored: a restart would lose it. It is sent all the same.
    NotStored(KeepFault),
    /// It is stored again.
    StoredAgain,
    /// The heartbeat is not taken.
    HeartbeatFails(ChannelFault),
    /// It is taken again.
    HeartbeatWorksAgain,
}
