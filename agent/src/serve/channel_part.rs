//! A channel for alerts in the document, as the running agent knows it.

use crate::tell::message::Stamp;
use crate::tell::outbox::QueueState;
use serde::{Deserialize, Serialize};
use traylight_config::Destination;

/// A channel for alerts.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Channel {
    /// Its name in the configuration.
    pub name: String,
    /// `mail`, `webhook`, `mqtt` or `command`.
    pub kind: String,
    /// True once somebody has entered the code of a test message.
    pub confirmed: bool,
    /// How many messages are queued; tests are not counted.
    pub waiting: usize,
    /// For how long the oldest of them has waited, in seconds; `null` when none is, or the time is not known.
    pub oldest_wait_s: Option<u64>,
    /// When it last accepted a message, local time (RFC 3339); `null` when it never has, or the clock was not set.
    pub last_success_at: Option<String>,
    /// How long ago that was, in seconds; `null` where the time is not known.
    pub last_success_s: Option<u64>,
    /// Why it fails, in words; `null` while it works.
    pub trouble: Option<String>,
    /// For how long it has failed, in seconds; `null` while it works, or when the time is not known.
    pub trouble_since_s: Option<u64>,
}

impl Channel {
    /// Of its queue, and where it leads.
    pub fn of(state: &QueueState, leads_to: &Destination, confirmed: bool, now: &Stamp) -> Self {
        let seconds = |stamp: &Stamp| stamp.age(now).map(|age| age.as_secs());
        let (last, trouble) = (state.last_success.as_ref(), state.trouble.as_ref());
        Self {
            name: state.channel.clone(),
            kind: kind(leads_to).to_owned(),
            confirmed,
            waiting: state.waiting,
            oldest_wait_s: state.oldest.as_ref().and_then(seconds),
            last_success_at: last.and_then(|at| at.wall_text(now)),
            last_success_s: last.and_then(seconds),
            trouble: trouble.map(|(_, why)| why.clone()),
            trouble_since_s: trouble.and_then(|(since, _)| seconds(since)),
        }
    }
}

fn kind(leads_to: &Destination) -> &'static str {
    match leads_to {
        Destination::Mail(_) => "mail",
        Destination::Webhook(_) => "webhook",
        Destination::Mqtt(_) => "mqtt",
        Destination::Command(_) => "command",
    }
}
