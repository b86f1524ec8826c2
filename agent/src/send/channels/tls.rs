//! Whom to trust: the authorities of the system, and one more where the configuration names it. Read when a connection
//! is begun, so that the system's updates count and nothing lies in memory meanwhile.

#![allow(clippy::disallowed_methods, reason = "the authority's file is read here")]

use super::issuer::NamingVerifier;
use super::reach::{Allowance, reach};
use super::{ChannelFault, short};
use std::fmt;
use std::sync::Arc;
use tokio::io::{AsyncRead, AsyncWrite};
use tokio_rustls::TlsConnector;
use tokio_rustls::rustls::client::WebPkiServerVerifier;
use tokio_rustls::rustls::crypto::ring::default_provider;
use tokio_rustls::rustls::pki_types::pem::PemObject;
use tokio_rustls::rustls::pki_types::{CertificateDer, ServerName};
use tokio_rustls::rustls::{ClientConfig, RootCertStore};

/// A connection, encrypted or not.
pub(super) trait Stream: AsyncRead + AsyncWrite + Unpin + Send + Sync + fmt::Debug {}
impl<T: AsyncRead + AsyncWrite + Unpin + Send + Sync + fmt::Debug> Stream for T {}

/// To whom a connection leads, and under what conditions.
#[derive(Debug, Clone, Copy)]
pub(super) struct TlsTarget<'a> {
    pub host: &'a str,
    pub port: u16,
    /// Encrypted from its first byte.
    pub tls: bool,
    pub ca_file: Option<&'a str>,
}

/// Connects; with `tls`, and trusts nobody without a certificate for the host.
pub(super) async fn connect(target: TlsTarget<'_>, allowance: Allowance) -> Result<Box<dyn Stream>, ChannelFault> {
    let TlsTarget { host, port, tls, ca_file } = target;
    let connected = reach(host, port, allowance).await?;
    if !tls {
        return Ok(Box::new(connected));
    }
    let name = ServerName::try_from(host.to_owned());
    let name = name.map_err(|_| ChannelFault::ServerName { host: short(host) })?;
    let connector = TlsConnector::from(Arc::new(client(ca_file)?));
    let secured = connector.connect(name, connected).await.map_err(|error| ChannelFault::from_io(&error))?;
    Ok(Box::new(secured))
}

fn client(ca_file: Option<&str>) -> Result<ClientConfig, ChannelFault> {
    let mut roots = RootCertStore::empty();
    // One certificate of the system's that cannot be read is no reason to trust none.
    roots.add_parsable_certificates(rustls_native_certs::load_native_certs().certs);
    if let Some(file) = ca_file {
        for certificate in authorities(file)? {
            roots.add(certificate).map_err(|error| not_usable(file, &error))?;
        }
    }
    let provider = Arc::new(default_provider());
    let config = ClientConfig::builder_with_provider(Arc::clone(&provider))
        .with_safe_default_protocol_versions()
        .map_err(|error| ChannelFault::NotSendable { error: short(&error.to_string()) })?;
    // Without authorities there is no verifier.
    let verifier = WebPkiServerVerifier::builder_with_provider(Arc::new(roots), provider).build();
    let verifier = NamingVerifier(verifier.map_err(|_| ChannelFault::NoAuthorities)?);
    Ok(config.dangerous().with_custom_certificate_verifier(Arc::new(verifier)).with_no_client_auth())
}

/// The certificates in a PEM file (RFC 7468); at least one.
pub(super) fn authorities(file: &str) -> Result<Vec<CertificateDer<'static>>, ChannelFault> {
    let bytes = std::fs::read(file).map_err(|error| not_usable(file, &error))?;
    let certificates: Result<Vec<_>, _> = CertificateDer::pem_slice_iter(&bytes).collect();
    match certificates {
        Ok(certificates) if !certificates.is_empty() => Ok(certificates),
        Ok(_) => Err(ChannelFault::CaFileEmpty { file: file.to_owned() }),
        Err(error) => Err(not_usable(file, &error)),
    }
}

fn not_usable(file: &str, error: &dyn fmt::Display) -> ChannelFault {
    ChannelFault::CaFile { file: file.to_owned(), error: short(&error.to_string()) }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn a_file_without_certificates_is_told() {
        let folder = tempfile::tempdir().unwrap();
        let file = folder.path().join("ca.pem").display().to_string();
        let fault = |bytes: &[u8]| {
            std::fs::write(&file, bytes).unwrap();
            client(Some(&file)).err()
        };
        assert_eq!(fault(b""), Some(ChannelFault::CaFileEmpty { file: file.clone() }));
        let garbage = fault(b"-----BEGIN CERTIFICATE-----\nAAAA\n-----END CERTIFICATE-----\n");
        assert!(matches!(garbage, Some(ChannelFault::CaFile { .. })), "{garbage:?}");
        std::fs::remove_file(&file).unwrap();
        let absent = client(Some(&file)).err();
        assert!(
            matches!(&absent, Some(ChannelFault::CaFile { error, .. }) if error.contains("No such file")),
            "{absent:?}"
        );
        assert!(client(None).is_ok());
    }
}
