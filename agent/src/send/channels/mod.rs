//! The channels for alerts: what each of them must be able to do, and what can go wrong on all of them.

pub mod command;
pub mod from_settings;
#[cfg(feature = "webhook")]
pub mod heartbeat;
#[cfg(feature = "webhook")]
mod http;
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
use crate::tell::batch_words::clean;
use crate::tell::outbox::Blame;
use std::fmt;
use std::future::Future;
#[cfg(feature = "tls")]
use std::io;
use std::pin::Pin;
use std::time::Duration;

/// How long one delivery may take where the configuration says nothing of it: a slow mail server has a minute.
pub const PATIENCE: Duration = Duration::from_secs(60);

/// The longest answer of another side that is repeated in the log, in characters.
const LONGEST_ANSWER: usize = 200;

/// A delivery under way.
pub type Sending<'a> = Pin<Box<dyn Future<Output = Result<Receipt, Fault>> + Send + 'a>>;

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

/// The other side's word that it has the batch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Receipt {
    /// What it said.
    pub said: String,
    /// For whom it did not take the batch, each with its reason.
    pub refused: Vec<String>,
}

impl Receipt {
    /// What the other side said, cleaned and cut.
    pub fn new(said: &str) -> Self {
        Self { said: short(said), refused: Vec::new() }
    }
}

/// Why a batch has not arrived, as far as is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Fault {
    /// Something on the box is not as the channel needs it, such as a secret's file.
    NotReady(String),
    /// The other side cannot be reached.
    Unreachable(String),
    /// The other side's certificate is not to be trusted.
    Untrusted(String),
    /// It took too long. It may have arrived.
    TimedOut(Duration),
    /// The other side does not let us in.
    NotLetIn(String),
    /// The other side does not want this batch.
    Refused(String),
    /// The other side cannot do it now.
    Later(String),
    /// The other side says what nobody should say there.
    Nonsense(String),
}

impl Fault {
    /// Whether another batch may fare better.
    pub fn blame(&self) -> Blame {
        if matches!(self, Self::Refused(_)) { Blame::Batch } else { Blame::Channel }
    }

    /// From a failure of the connection.
    #[cfg(feature = "tls")]
    pub(crate) fn from_io(error: &io::Error) -> Self {
        use tokio_rustls::rustls;
        let said = short(&error.to_string());
        // What rustls thinks of a certificate is inside an error of the connection.
        match (error.kind(), error.get_ref()) {
            (io::ErrorKind::TimedOut, _) => Self::Unreachable("nobody answers".to_owned()),
            (_, Some(inner)) if inner.is::<rustls::Error>() => Self::Untrusted(said),
            (_, Some(inner)) if inner.is::<reach::TooMuch>() => Self::Nonsense(said),
            (io::ErrorKind::InvalidData, _) => Self::Nonsense(said),
            _ if matches!(error.raw_os_error(), Some(libc::EMFILE | libc::ENFILE)) => Self::NotReady(format!(
                "found \"{error}\", wanted a file descriptor for the connection (LimitNOFILE= in the unit)"
            )),
            _ => Self::Unreachable(said),
        }
    }

    /// From the failure of the connection that is behind another error, if there is one.
    #[cfg(any(feature = "mail", feature = "webhook"))]
    pub(crate) fn behind(error: &(dyn std::error::Error + 'static)) -> Option<Self> {
        let chain = std::iter::successors(Some(error), |error| error.source());
        chain.into_iter().find_map(|error| error.downcast_ref::<io::Error>()).map(Self::from_io)
    }
}

impl fmt::Display for Fault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::NotReady(why) => f.write_str(why),
            Self::Unreachable(why) => write!(f, "the other side cannot be reached: {why}"),
            Self::Untrusted(why) => write!(f, "the other side cannot be trusted: {why}"),
            Self::TimedOut(limit) => write!(f, "found no answer within {} s, wanted one", limit.as_secs()),
            Self::NotLetIn(why) => write!(f, "the other side does not let us in: {why}"),
            Self::Refused(why) => write!(f, "the other side does not take it: {why}"),
            Self::Later(why) => write!(f, "the other side cannot take it now: {why}"),
            Self::Nonsense(why) => write!(f, "the other side makes no sense: {why}"),
        }
    }
}

impl std::error::Error for Fault {}

/// Ends a delivery that takes too long.
pub(crate) async fn within<T>(limit: Duration, work: impl Future<Output = Result<T, Fault>>) -> Result<T, Fault> {
    tokio::time::timeout(limit, work).await.unwrap_or(Err(Fault::TimedOut(limit)))
}

/// What another side said, safe and short enough for a log line.
pub(crate) fn short(said: &str) -> String {
    let mut short: String = clean(said).trim().chars().take(LONGEST_ANSWER).collect();
    if short.len() < clean(said).trim().len() {
        short.push('…');
    }
    short
}

/// True when the other side is this machine, which needs no route.
#[cfg(feature = "tls")]
pub(crate) fn is_here(host: &str) -> bool {
    host == "localhost" || host.parse::<core::net::IpAddr>().is_ok_and(|address| address.is_loopback())
}
