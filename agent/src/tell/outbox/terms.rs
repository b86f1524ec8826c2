//! What the outbox goes by, and what it answers: rules, the time, what to do next.

use crate::clock::Moment;
use crate::tell::batch::Batch;
use crate::tell::delivery::ChannelFault;
use crate::tell::message::{Stamp, Topic};
use crate::verdict::Severity;
use std::time::Duration;
use traylight_config::QuietHours;

/// What one channel is told of, and how.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Rule {
    /// The name of the channel.
    pub channel: String,
    /// Nothing less goes to this channel.
    pub min_severity: Severity,
    /// Kinds of parts; empty means all.
    pub topics: Vec<Topic>,
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
    pub(super) fn moment(&self) -> Moment {
        self.stamp.moment
    }
}

/// What to do about a channel now.
#[derive(Debug, Clone, PartialEq)]
pub enum NextStep {
    /// Send this.
    Send(Box<Batch>),
    /// Nothing before this moment; `None` is until something happens.
    Wait(Option<Moment>),
}

/// The state of a channel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct QueueState {
    /// Its name.
    pub channel: String,
    /// How many messages wait for it; tests are not counted.
    pub waiting: usize,
    /// When the oldest of them was made, where it is known how long ago that is.
    pub oldest: Option<Stamp>,
    /// Since when it fails, and how.
    pub trouble: Option<(Stamp, ChannelFault)>,
    /// When it has accepted something last, where that is known.
    pub last_success: Option<Stamp>,
}
