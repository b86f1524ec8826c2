//! The channels for alerts: what each of them must be able to do, and what can go wrong on all of them.

pub mod command;
mod fault;
pub mod from_settings;
#[cfg(feature = "webhook")]
pub mod heartbeat;
#[cfg(feature = "webhook")]
mod http;
#[cfg(feature = "tls")]
mod issuer;
#[cfg(feature = "mail")]
pub mod mail;
#[cfg(feature = "mqtt")]
pub mod mqtt;
#[cfg(feature = "mqtt")]
pub mod mqtt_packet;
#[cfg(feature = "tls")]
pub mod reach;
pub mod secret;
#[cfg(feature = "mail")]
mod smtp;
#[cfg(feature = "tls")]
mod tls;
#[cfg(feature = "webhook")]
pub mod webhook;

use crate::tell::batch::Batch;
use crate::tell::delivery::short;
pub use crate::tell::delivery::{ChannelFault, Receipt, Reply};
pub(crate) use fault::within;
use std::future::Future;
use std::pin::Pin;
use std::time::Duration;

/// How long one delivery may take where the configuration says nothing of it: a slow mail server has a minute.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// A delivery under way.
pub type Sending<'a> = Pin<Box<dyn Future<Output = Result<Receipt, ChannelFault>> + Send + 'a>>;

/// A channel.
pub trait Channel: Send + Sync {
    /// Sends a batch and waits for the other side's word that it has it.
    fn send<'a>(&'a self, batch: &'a Batch) -> Sending<'a>;

    /// What must be there before it is worth a try.
    fn needs(&self) -> Needs;

    /// The settings that it goes by, in words.
    #[cfg(test)]
    fn made_from(&self) -> String;

    /// Ends what it has open, once nothing more is sent.
    fn finish<'a>(&'a self) -> Pin<Box<dyn Future<Output = ()> + Send + 'a>> {
        Box::pin(async {})
    }
}

/// What must be there before a channel is worth a try.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Needs {
    /// A route to other machines.
    pub route: bool,
    /// A clock that was set: certificates are valid from one day to another.
    pub clock: bool,
}

/// A message that cannot be written in the form of its channel; a library's reason.
#[cfg(feature = "tls")]
fn not_sendable(error: &dyn std::fmt::Display) -> ChannelFault {
    ChannelFault::NotSendable { error: short(&error.to_string()) }
}
