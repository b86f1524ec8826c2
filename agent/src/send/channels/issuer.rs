//! Who has issued a server's certificate that is not trusted: the TLS library does not report it, so its verifier is asked and
//! the name is read from the certificate.

use crate::tell::delivery::short;
use std::fmt;
use std::sync::Arc;
use tokio_rustls::rustls::client::WebPkiServerVerifier;
use tokio_rustls::rustls::client::danger::{HandshakeSignatureValid, ServerCertVerified, ServerCertVerifier};
use tokio_rustls::rustls::pki_types::{CertificateDer, ServerName, UnixTime};
use tokio_rustls::rustls::{CertificateError, DigitallySignedStruct, Error, OtherError, SignatureScheme};

/// The longest name that is repeated, in characters.
const LONGEST: usize = 60;
/// The types in a name (X.690, 8.9 and 8.11; X.520: `id-at-commonName` is 2.5.4.3, `id-at-organizationName` 2.5.4.10).
const SEQUENCE: u8 = 0x30;
const SET: u8 = 0x31;
const OBJECT_ID: u8 = 0x06;
const COMMON_NAME: &[u8] = &[0x55, 4, 3];
const ORGANIZATION: &[u8] = &[0x55, 4, 10];

/// The library's verifier, with the name of an issuer that is not known.
#[derive(Debug)]
pub(super) struct NamingVerifier(pub Arc<WebPkiServerVerifier>);

/// The name of the issuer, cleaned and cut.
#[derive(Debug, Clone, PartialEq, Eq)]
pub(super) struct UnknownIssuer(pub String);

impl fmt::Display for UnknownIssuer {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "unknown issuer: {}", self.0)
    }
}

impl std::error::Error for UnknownIssuer {}

impl ServerCertVerifier for NamingVerifier {
    fn verify_server_cert(
        &self,
        end_entity: &CertificateDer<'_>,
        intermediates: &[CertificateDer<'_>],
        server_name: &ServerName<'_>,
        ocsp_response: &[u8],
        now: UnixTime,
    ) -> Result<ServerCertVerified, Error> {
        let verified = self.0.verify_server_cert(end_entity, intermediates, server_name, ocsp_response, now);
        verified.map_err(|error| match (&error, issuer(end_entity)) {
            (Error::InvalidCertificate(CertificateError::UnknownIssuer), Some(name)) => {
                Error::InvalidCertificate(CertificateError::Other(OtherError(Arc::new(UnknownIssuer(name)))))
            }
            _ => error,
        })
    }

    fn verify_tls12_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signature: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        self.0.verify_tls12_signature(message, certificate, signature)
    }

    fn verify_tls13_signature(
        &self,
        message: &[u8],
        certificate: &CertificateDer<'_>,
        signature: &DigitallySignedStruct,
    ) -> Result<HandshakeSignatureValid, Error> {
        self.0.verify_tls13_signature(message, certificate, signature)
    }

    fn supported_verify_schemes(&self) -> Vec<SignatureScheme> {
        self.0.supported_verify_schemes()
    }
}

/// The name of the certificate's issuer.
fn issuer(certificate: &CertificateDer<'_>) -> Option<String> {
    let certificate = webpki::EndEntityCert::try_from(certificate).ok()?;
    name(certificate.issuer())
}

/// The common name in an issuer's name, else its organization (RFC 5280, 4.1.2.4): sets of pairs of a type and a text.
fn name(issuer: &[u8]) -> Option<String> {
    let pairs = elements(issuer).filter(|(tag, _)| *tag == SET).flat_map(|(_, set)| elements(set));
    let texts = pairs.filter(|(tag, _)| *tag == SEQUENCE).filter_map(|(_, pair)| {
        let mut pair = elements(pair);
        match (pair.next()?, pair.next()?) {
            ((OBJECT_ID, kind), (_, text)) => Some((kind, text)),
            _ => None,
        }
    });
    let all: Vec<(&[u8], &[u8])> = texts.collect();
    let of = |wanted| all.iter().rev().find(|(kind, _)| *kind == wanted);
    let (_, text) = of(COMMON_NAME).or_else(|| of(ORGANIZATION))?;
    let text: String = short(&String::from_utf8_lossy(text)).chars().take(LONGEST).collect();
    (!text.is_empty()).then_some(text)
}

/// The elements of DER one behind the other, each with its tag (X.690, 8.1), up to one that is cut or longer than 64 KiB.
fn elements(bytes: &[u8]) -> impl Iterator<Item = (u8, &[u8])> {
    let mut rest = bytes;
    std::iter::from_fn(move || {
        let (length, behind) = match *rest.get(1)? {
            0x81 => (usize::from(*rest.get(2)?), 3),
            0x82 => (usize::from(u16::from_be_bytes([*rest.get(2)?, *rest.get(3)?])), 4),
            length if length < 0x80 => (usize::from(length), 2),
            _ => return None,
        };
        let (tag, body) = (*rest.first()?, rest.get(behind..behind + length)?);
        rest = &rest[behind + length..];
        Some((tag, body))
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn element(tag: u8, body: &[u8]) -> Vec<u8> {
        let length = u16::try_from(body.len()).unwrap().to_be_bytes();
        let mut element = if body.len() < 0x80 { vec![tag, length[1]] } else { vec![tag, 0x82, length[0], length[1]] };
        element.extend(body);
        element
    }

    fn part(kind: &[u8], text: &str) -> Vec<u8> {
        let pair = [element(OBJECT_ID, kind), element(0x0C, text.as_bytes())].concat();
        element(SET, &element(SEQUENCE, &pair))
    }

    #[test]
    fn an_issuer_is_named_by_its_common_name_else_by_its_organization() {
        let (organization, common) = (part(ORGANIZATION, "Reed Bed"), part(COMMON_NAME, "Reed Bed CA"));
        assert_eq!(name(&[organization.clone(), common].concat()).as_deref(), Some("Reed Bed CA"));
        assert_eq!(name(&organization).as_deref(), Some("Reed Bed"));
        assert_eq!(name(&part(&[0x55, 4, 6], "DE")), None);
        let long = name(&part(COMMON_NAME, &"reed ".repeat(60))).unwrap();
        assert_eq!(long.chars().count(), LONGEST);
        assert_eq!(name(&part(COMMON_NAME, "a\u{1b}[2J\nb\u{202e}")).as_deref(), Some("a[2J b"));
    }

    proptest! {
        /// Whoever answers in the server's place may send anything.
        #[test]
        fn whatever_stands_in_the_place_of_a_name_is_short_and_harmless(bytes in prop::collection::vec(any::<u8>(), 0..80)) {
            let found = name(&element(SET, &element(SEQUENCE, &bytes))).or_else(|| name(&bytes)).unwrap_or_default();
            prop_assert!(found.chars().count() <= LONGEST && !found.contains(char::is_control));
        }
    }
}
