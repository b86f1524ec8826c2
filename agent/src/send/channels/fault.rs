//! What the system and the libraries report of a connection, as a fault of its channel.

use crate::tell::delivery::ChannelFault;
#[cfg(feature = "tls")]
use crate::tell::delivery::short;
#[cfg(feature = "tls")]
use std::fmt;
use std::future::Future;
#[cfg(feature = "tls")]
use std::io;
use std::time::Duration;

#[cfg(feature = "tls")]
impl ChannelFault {
    /// From a failure of the connection.
    pub(crate) fn from_io(error: &io::Error) -> Self {
        // What rustls thinks of a certificate is inside an error of the connection.
        if let Some(inner) = error.get_ref() {
            if let Some(TooMuch(most)) = inner.downcast_ref() {
                return Self::ReplyTooLong { most: *most };
            }
            if let Some(error) = inner.downcast_ref() {
                return of_tls(error);
            }
        }
        use io::ErrorKind as Kind;
        match error.kind() {
            Kind::TimedOut => Self::NoAnswer,
            Kind::ConnectionRefused => Self::ConnectionRefused,
            Kind::HostUnreachable | Kind::NetworkUnreachable => Self::NoRoute,
            Kind::ConnectionReset | Kind::ConnectionAborted | Kind::BrokenPipe | Kind::UnexpectedEof => {
                Self::ConnectionClosed
            }
            Kind::InvalidData => Self::InvalidReply { reply: short(&error.to_string()) },
            _ if matches!(error.raw_os_error(), Some(libc::EMFILE | libc::ENFILE)) => Self::NoDescriptors,
            _ => Self::ConnectionFailed { error: short(&error.to_string()) },
        }
    }

    /// From the failure of the connection that is behind another error, if there is one.
    #[cfg(any(feature = "mail", feature = "webhook"))]
    pub(crate) fn behind(error: &(dyn std::error::Error + 'static)) -> Option<Self> {
        let chain = std::iter::successors(Some(error), |error| error.source());
        chain.into_iter().find_map(|error| error.downcast_ref::<io::Error>()).map(Self::from_io)
    }
}

/// What is wrong with a certificate or the encryption.
#[cfg(feature = "tls")]
fn of_tls(error: &tokio_rustls::rustls::Error) -> ChannelFault {
    use super::issuer::UnknownIssuer;
    use tokio_rustls::rustls::CertificateError as Wrong;
    use tokio_rustls::rustls::Error;
    let wrong = match error {
        Error::InvalidCertificate(wrong) => wrong,
        Error::AlertReceived(alert) => return ChannelFault::TlsAlert { alert: u8::from(*alert) },
        Error::PeerIncompatible(_) => return ChannelFault::TlsIncompatible,
        Error::InvalidMessage(_) | Error::InappropriateMessage { .. } | Error::InappropriateHandshakeMessage { .. } => {
            return ChannelFault::NotTls;
        }
        Error::NoCertificatesPresented => return ChannelFault::NoCertificate,
        _ => return ChannelFault::TlsBroken,
    };
    match wrong {
        Wrong::UnknownIssuer => ChannelFault::CertificateIssuer { issuer: None },
        Wrong::Expired | Wrong::ExpiredContext { .. } => ChannelFault::CertificateExpired,
        Wrong::NotValidYet | Wrong::NotValidYetContext { .. } => ChannelFault::CertificateNotYetValid,
        Wrong::NotValidForName | Wrong::NotValidForNameContext { .. } => ChannelFault::CertificateName,
        Wrong::Revoked => ChannelFault::CertificateRevoked,
        Wrong::BadSignature => ChannelFault::CertificateSignature,
        Wrong::InvalidPurpose | Wrong::InvalidPurposeContext { .. } => ChannelFault::CertificatePurpose,
        Wrong::Other(other) => match (other.0.downcast_ref(), other.0.downcast_ref()) {
            (Some(UnknownIssuer(issuer)), _) => ChannelFault::CertificateIssuer { issuer: Some(issuer.clone()) },
            (_, Some(webpki::Error::CaUsedAsEndEntity)) => ChannelFault::CertificateOfAuthority,
            _ => ChannelFault::CertificateMalformed,
        },
        _ => ChannelFault::CertificateMalformed,
    }
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
    let late = ChannelFault::TimedOut { seconds: limit.as_secs() };
    tokio::time::timeout(limit, work).await.unwrap_or(Err(late))
}

#[cfg(all(test, feature = "tls"))]
mod tests {
    use super::*;
    use tokio_rustls::rustls::{AlertDescription, CertificateError, Error, OtherError, PeerMisbehaved};

    #[test]
    fn what_is_wrong_with_a_certificate_or_tls_is_told_apart() {
        let of = |wrong| of_tls(&Error::InvalidCertificate(wrong));
        let other = |error| CertificateError::Other(OtherError(std::sync::Arc::new(error)));
        assert_eq!(of(other(webpki::Error::CaUsedAsEndEntity)), ChannelFault::CertificateOfAuthority);
        assert_eq!(of(other(webpki::Error::PathLenConstraintViolated)), ChannelFault::CertificateMalformed);
        assert_eq!(of(CertificateError::BadEncoding), ChannelFault::CertificateMalformed);
        assert_eq!(of(CertificateError::UnknownIssuer), ChannelFault::CertificateIssuer { issuer: None });
        let alert = of_tls(&Error::AlertReceived(AlertDescription::HandshakeFailure));
        assert_eq!(alert, ChannelFault::TlsAlert { alert: 40 });
        let broken = of_tls(&Error::PeerMisbehaved(PeerMisbehaved::IllegalMiddleboxChangeCipherSpec));
        assert_eq!(broken, ChannelFault::TlsBroken);
    }

    #[test]
    fn a_failure_of_the_connection_is_told_apart() {
        let of = |kind: io::ErrorKind| ChannelFault::from_io(&kind.into());
        assert_eq!(of(io::ErrorKind::ConnectionRefused), ChannelFault::ConnectionRefused);
        assert_eq!(of(io::ErrorKind::NetworkUnreachable), ChannelFault::NoRoute);
        assert_eq!(of(io::ErrorKind::ConnectionReset), ChannelFault::ConnectionClosed);
        let too_much = ChannelFault::from_io(&io::Error::other(TooMuch(9)));
        assert_eq!(too_much, ChannelFault::ReplyTooLong { most: 9 });
        let none_left = ChannelFault::from_io(&io::Error::from_raw_os_error(libc::EMFILE));
        assert_eq!(none_left, ChannelFault::NoDescriptors);
    }
}
