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
    /// The other side refuses the login.
    LoginRefused(String),
    /// The other side does not want this batch.
    Refused(String),
    /// The other side cannot do it now.
    Later(String),
    /// The other side replies what its protocol does not allow there.
    InvalidReply(String),
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
            (io::ErrorKind::TimedOut, _) => Self::Unreachable("no answer".to_owned()),
            (_, Some(inner)) if inner.is::<TooMuch>() => Self::InvalidReply(said),
            (kind, Some(inner)) => match inner.downcast_ref::<rustls::Error>() {
                Some(error) => Self::Untrusted(about_tls(error)),
                None if kind == io::ErrorKind::InvalidData => Self::InvalidReply(said),
                None => Self::Unreachable(said),
            },
            (io::ErrorKind::InvalidData, _) => Self::InvalidReply(said),
            _ if matches!(error.raw_os_error(), Some(libc::EMFILE | libc::ENFILE)) => Self::NotReady(format!(
                "no file descriptor left for the connection: {error}; raise LimitNOFILE= in the unit"
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
            Self::Unreachable(why) => write!(f, "connection failed: {why}"),
            Self::Untrusted(why) => f.write_str(why),
            Self::TimedOut(limit) => write!(f, "no reply within {} s", limit.as_secs()),
            Self::LoginRefused(why) => write!(f, "login refused: {why}"),
            Self::Refused(why) => write!(f, "rejected: {why}"),
            Self::Later(why) => write!(f, "rejected for now: {why}"),
            Self::InvalidReply(why) => write!(f, "invalid reply: {why}"),
        }
    }
}

impl std::error::Error for ChannelFault {}

/// What is wrong with a certificate or the encryption, and what helps. The library's own texts are for programmers.
#[cfg(feature = "tls")]
fn about_tls(error: &tokio_rustls::rustls::Error) -> String {
    use tokio_rustls::rustls::CertificateError as Wrong;
    use tokio_rustls::rustls::Error;
    let wrong = match error {
        Error::InvalidCertificate(wrong) => wrong,
        Error::AlertReceived(alert) => {
            return format!("the server ended the TLS handshake (alert {})", u8::from(*alert));
        }
        Error::PeerIncompatible(_) => {
            return "the server has no TLS version or cipher in common with traylight; it needs TLS 1.2 or 1.3"
                .to_owned();
        }
        Error::InvalidMessage(_) | Error::InappropriateMessage { .. } | Error::InappropriateHandshakeMessage { .. } => {
            return "the server's reply is not TLS; check the port and the security setting".to_owned();
        }
        Error::NoCertificatesPresented => return "the server sent no certificate".to_owned(),
        _ => return "TLS failed: the server broke the protocol".to_owned(),
    };
    let is_authority = |inner: &(dyn std::error::Error + 'static)| {
        matches!(inner.downcast_ref(), Some(webpki::Error::CaUsedAsEndEntity))
    };
    let (why, help) = match wrong {
        Wrong::UnknownIssuer => {
            ("issued by an unknown authority", "if it is your own, name its certificate in ca_file")
        }
        Wrong::Expired | Wrong::ExpiredContext { .. } => ("expired", "renew it, or set the clock of this box"),
        Wrong::NotValidYet | Wrong::NotValidYetContext { .. } => ("not valid yet", "check the clock of this box"),
        Wrong::NotValidForName | Wrong::NotValidForNameContext { .. } => {
            ("issued for another name", "use the name in the certificate")
        }
        Wrong::Other(other) if is_authority(&*other.0) => (
            "it is a CA certificate, as self-signed ones often are",
            "make one with basicConstraints=CA:FALSE and name it in ca_file",
        ),
        Wrong::Revoked => ("revoked", "renew it"),
        Wrong::BadSignature => ("its signature does not match", "check ca_file"),
        Wrong::InvalidPurpose | Wrong::InvalidPurposeContext { .. } => {
            ("not issued for a server", "make one with extendedKeyUsage=serverAuth")
        }
        _ => ("malformed or of an unsupported kind", "check it with `openssl x509 -text`"),
    };
    format!("certificate not trusted: {why}; {help}")
}

/// More came than the protocol needs.
#[cfg(feature = "tls")]
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TooMuch(pub usize);

#[cfg(feature = "tls")]
impl fmt::Display for TooMuch {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "expected at most {} bytes, found more", self.0)
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

#[cfg(all(test, feature = "tls"))]
mod tests {
    use super::*;
    use tokio_rustls::rustls::{AlertDescription, CertificateError, Error, OtherError, PeerMisbehaved};

    #[test]
    fn what_is_wrong_with_a_certificate_or_tls_is_in_plain_words() {
        let other = |error| CertificateError::Other(OtherError(std::sync::Arc::new(error)));
        let self_signed = about_tls(&Error::InvalidCertificate(other(webpki::Error::CaUsedAsEndEntity)));
        assert_eq!(
            self_signed,
            "certificate not trusted: it is a CA certificate, as self-signed ones often are; make one with \
             basicConstraints=CA:FALSE and name it in ca_file"
        );
        let errors = [
            Error::InvalidCertificate(other(webpki::Error::PathLenConstraintViolated)),
            Error::InvalidCertificate(CertificateError::BadEncoding),
            Error::AlertReceived(AlertDescription::HandshakeFailure),
            Error::PeerMisbehaved(PeerMisbehaved::IllegalMiddleboxChangeCipherSpec),
        ];
        for error in errors {
            let said = about_tls(&error);
            let names = ["Other", "PathLen", "BadEncoding", "HandshakeFailure", "Misbehaved", "Illegal"];
            assert!(names.iter().all(|name| !said.contains(name)), "{said}");
        }
    }
}
