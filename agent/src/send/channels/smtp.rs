//! The session with a mail server: encrypted unless it is on this machine, and no more of its answers is read than an honest one needs.

use super::reach::{Allowance, MOST_BYTES_OF_MAIL};
use super::tls::{self, Stream, TlsTarget, connect};
use super::{ChannelFault, Receipt, not_sendable, secret, short};
use crate::tell::delivery::RefusedRecipient;
use lettre::address::Envelope;
use lettre::transport::smtp;
use lettre::transport::smtp::authentication::{Credentials, DEFAULT_MECHANISMS};
use lettre::transport::smtp::client::{AsyncSmtpConnection, AsyncTokioStream, Certificate, TlsParameters};
use lettre::transport::smtp::extension::ClientId;
use std::error::Error as _;
use std::io;
use std::net::SocketAddr;
use std::pin::Pin;
use std::task::{Context, Poll};
use std::time::Duration;
use tokio::io::{AsyncRead, AsyncWrite, ReadBuf};
use traylight_config::{Mail, MailSecurity};

/// What has arrived has arrived, however long the server takes to say goodbye.
const GOODBYE: Duration = Duration::from_secs(2);

/// A mail server, and all that it takes to be let in.
pub(super) struct Server<'a> {
    settings: &'a Mail,
    hello: ClientId,
    tls: TlsParameters,
    login: Option<Credentials>,
    /// What the server must not bring into the log by repeating it.
    secrets: Vec<String>,
}

impl<'a> Server<'a> {
    /// The server of these settings; the box greets it by this name.
    pub fn new(settings: &'a Mail, hello: String) -> Result<Self, ChannelFault> {
        let Mail { server, login, ca_file, .. } = settings;
        let wrong = |error: smtp::Error| not_sendable(&error);
        let mut tls = TlsParameters::builder(server.clone());
        if let Some(file) = ca_file {
            for authority in tls::authorities(file)? {
                tls = tls.add_root_certificate(Certificate::from_der(authority.to_vec()).map_err(wrong)?);
            }
        }
        let password = login.as_ref().map(|login| secret::read(&login.password)).transpose()?;
        let login = login.as_ref().zip(password.as_ref()).map(|(login, word)| (login.user.as_str(), word.reveal()));
        Ok(Self {
            settings,
            hello: ClientId::Domain(hello),
            tls: tls.build().map_err(wrong)?,
            login: login.map(|(user, word)| Credentials::new(user.to_owned(), word.to_owned())),
            secrets: login.map_or_else(Vec::new, |(user, word)| forms(user, word)),
        })
    }

    /// Connects and logs in, encrypted unless the server is on this machine and the configuration says so.
    async fn enter(&self) -> Result<AsyncSmtpConnection, ChannelFault> {
        let Mail { server, port, security, ca_file, .. } = self.settings;
        let tls = *security == MailSecurity::Tls;
        let target = TlsTarget { host: server, port: *port, tls, ca_file: ca_file.as_deref() };
        let line = Box::new(SmtpLine(connect(target, Allowance::of(MOST_BYTES_OF_MAIL)).await?));
        let entered = AsyncSmtpConnection::connect_with_transport(line, &self.hello).await;
        let mut session = entered.map_err(|error| self.fault(&error))?;
        if *security == MailSecurity::StartTls {
            session.starttls(self.tls.clone(), &self.hello).await.map_err(|error| self.fault(&error))?;
        }
        if let Some(login) = &self.login {
            session.auth(DEFAULT_MECHANISMS, login).await.map_err(|error| self.fault(&error))?;
        }
        Ok(session)
    }

    /// Sends a mail to all receivers of the envelope, or to nobody.
    pub async fn send(&self, to: &Envelope, mail: &[u8]) -> Result<Receipt, ChannelFault> {
        let mut session = self.enter().await?;
        let answer = session.send(to, mail).await.map_err(|error| self.fault(&error))?;
        let _ = tokio::time::timeout(GOODBYE, session.abort()).await;
        let lines: Vec<&str> = answer.message().collect();
        let reply = format!("{} {}", answer.code(), lines.join(" "));
        Ok(Receipt::new(&secret::hide(&reply, &self.secrets)))
    }

    /// Sends a mail to each receiver of the envelope by itself. It has arrived when somebody has it.
    pub async fn send_each(&self, all: &Envelope, mail: &[u8]) -> Result<Receipt, ChannelFault> {
        let (mut taken, mut refused, mut last) = (None, Vec::new(), None);
        for address in all.to() {
            let one = Envelope::new(all.from().cloned(), vec![address.clone()]);
            let one = one.map_err(|error| not_sendable(&error))?;
            match self.send(&one, mail).await {
                Ok(receipt) => taken = Some(receipt),
                Err(fault) => {
                    refused.push(RefusedRecipient { address: address.to_string(), fault: fault.clone() });
                    last = Some(fault);
                }
            }
        }
        match (taken, last) {
            (Some(receipt), _) => Ok(Receipt { refused, ..receipt }),
            (None, Some(fault)) => Err(fault),
            (None, None) => Err(not_sendable(&lettre::error::Error::MissingTo)),
        }
    }

    /// What went wrong, by the reply (RFC 5321, 4.2.1; of those to a login RFC 4954, 6) or by what is behind it.
    fn fault(&self, error: &smtp::Error) -> ChannelFault {
        let cleaned = |text: &str| short(&secret::hide(text, &self.secrets));
        if let Some(code) = error.status() {
            let lines = error.source().map(ToString::to_string).unwrap_or_default();
            let reply = cleaned(&format!("{code} {lines}"));
            return match code.to_string().as_str() {
                "530" | "534" | "535" | "538" => ChannelFault::LoginRefused { reply },
                _ if error.is_permanent() => ChannelFault::Rejected { reply },
                _ => ChannelFault::RejectedForNow { reply },
            };
        }
        let said = cleaned(&error.to_string());
        if error.is_response() {
            return ChannelFault::InvalidReply { reply: said };
        }
        // A server that does not offer encryption is an error of the client's own.
        if error.is_client() {
            return ChannelFault::NotSupported { error: said };
        }
        ChannelFault::behind(error).unwrap_or(ChannelFault::ConnectionFailed { error: said })
    }
}

/// A connection in the form that the mail library takes.
#[derive(Debug)]
struct SmtpLine(Box<dyn Stream>);

impl AsyncTokioStream for SmtpLine {
    fn peer_addr(&self) -> io::Result<SocketAddr> {
        Err(io::ErrorKind::Unsupported.into())
    }
}

impl AsyncRead for SmtpLine {
    fn poll_read(mut self: Pin<&mut Self>, cx: &mut Context, buffer: &mut ReadBuf) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_read(cx, buffer)
    }
}

impl AsyncWrite for SmtpLine {
    fn poll_write(mut self: Pin<&mut Self>, cx: &mut Context, bytes: &[u8]) -> Poll<io::Result<usize>> {
        Pin::new(&mut self.0).poll_write(cx, bytes)
    }

    fn poll_flush(mut self: Pin<&mut Self>, cx: &mut Context) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_flush(cx)
    }

    fn poll_shutdown(mut self: Pin<&mut Self>, cx: &mut Context) -> Poll<io::Result<()>> {
        Pin::new(&mut self.0).poll_shutdown(cx)
    }
}

/// A password in the forms in which it is sent (RFC 4616; LOGIN, from memory): as it is and as Base64, with its user too.
fn forms(user: &str, password: &str) -> Vec<String> {
    vec![base64(format!("\0{user}\0{password}").as_bytes()), base64(password.as_bytes()), password.to_owned()]
}

/// Base64 (RFC 4648, 4).
fn base64(bytes: &[u8]) -> String {
    const BATCHES: &[u8; 64] = b"ABCDEFGHIJKLMNOPQRSTUVWXYZabcdefghijklmnopqrstuvwxyz0123456789+/";
    let group = |three: &[u8]| -> String {
        let bits = three.iter().chain(&[0, 0]).take(3).fold(0, |bits, byte| bits << 8 | usize::from(*byte));
        let batch =
            |place: usize| if place > three.len() { '=' } else { char::from(BATCHES[bits >> (18 - 6 * place) & 63]) };
        (0..4).map(batch).collect()
    };
    bytes.chunks(3).map(group).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    /// RFC 4648, 10.
    #[test]
    fn base64_is_the_one_of_the_standard() {
        let written = ["", "f", "fo", "foo", "foob", "fooba", "foobar"].map(|text| base64(text.as_bytes()));
        assert_eq!(written, ["", "Zg==", "Zm8=", "Zm9v", "Zm9vYg==", "Zm9vYmE=", "Zm9vYmFy"]);
    }
}
