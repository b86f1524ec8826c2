//! What can go wrong on every channel, and how it is told.

use crate::tell::batch_text::clean;
use crate::tell::outbox::Blame;
use std::fmt;
use std::future::Future;
#[cfg(feature = "tls")]
use std::io;
use std::time::Duration;

/// The longest answer of another side that is repeated in the log, in characters.
const LONGEST_ANSWER: usize = 200;

/// Why a batch has not arrived, as far as is known.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum ChannelFault {
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

impl ChannelFault {
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
            (_, Some(inner)) if inner.is::<TooMuch>() => Self::Nonsense(said),
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

impl fmt::Display for ChannelFault {
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

impl std::error::Error for ChannelFault {}

/// More came than anybody has to say.
#[cfg(feature = "tls")]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TooMuch(pub usize);

#[cfg(feature = "tls")]
impl fmt::Display for TooMuch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "found more than {} bytes of answer, wanted at most that", self.0)
    }
}

#[cfg(feature = "tls")]
impl std::error::Error for TooMuch {}

/// Ends a delivery that takes too long.
pub(crate) async fn within<T>(
    limit: Duration,
    work: impl Future<Output = Result<T, ChannelFault>>,
) -> Result<T, ChannelFault> {
    tokio::time::timeout(limit, work).await.unwrap_or(Err(ChannelFault::TimedOut(limit)))
}

/// What another side said, safe and short enough for a log line.
pub(crate) fn short(said: &str) -> String {
    let mut short: String = clean(said).trim().chars().take(LONGEST_ANSWER).collect();
    if short.len() < clean(said).trim().len() {
        short.push('…');
    }
    short
}
