//! A channel for alerts in the document, as the running agent knows it.

use crate::tell::delivery::ChannelFault;
use crate::tell::message::Stamp;
use crate::tell::outbox::QueueState;
use crate::tell::words::delivery;
use crate::tell::words::phrases::Language;
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
    /// Why it fails; `null` while it works.
    pub trouble: Option<Trouble>,
}

/// Why a channel fails.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Trouble {
    /// What is wrong, such as `connection-refused`.
    pub id: String,
    /// The same in words, with what the other side replied.
    pub words: String,
    /// The words in the owner's language, when that is another than English; `null` in English.
    pub owners_words: Option<String>,
    /// For how long the channel has failed, in seconds; `null` when the time is not known.
    pub since_s: Option<u64>,
}

impl Channel {
    /// Of its queue, and where it leads.
    pub fn of(state: &QueueState, leads_to: &Destination, confirmed: bool, now: &Stamp, language: Language) -> Self {
        let seconds = |stamp: &Stamp| stamp.age(now).map(|age| age.as_secs());
        let last = state.last_success.as_ref();
        let trouble = |(since, fault): &(Stamp, ChannelFault)| Trouble {
            id: fault.id().to_owned(),
            words: delivery::fault(fault, Language::ENGLISH),
            owners_words: (language != Language::ENGLISH).then(|| delivery::fault(fault, language)),
            since_s: seconds(since),
        };
        Self {
            name: state.channel.clone(),
            kind: kind(leads_to).to_owned(),
            confirmed,
            waiting: state.waiting,
            oldest_wait_s: state.oldest.as_ref().and_then(seconds),
            last_success_at: last.and_then(|at| at.wall_text(now)),
            last_success_s: last.and_then(seconds),
            trouble: state.trouble.as_ref().map(trouble),
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
