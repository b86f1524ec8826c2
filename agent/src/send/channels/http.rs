//! One request to a web server: no redirect is followed, the answer is bounded, and all of it has a time limit.

use super::reach::{Allowance, MOST_BYTES};
use super::secret::hide;
use super::tls::{TlsTarget, connect};
use super::{ChannelFault, not_sendable, short, within};
use http_body_util::{BodyExt, Full, Limited};
use hyper::body::Bytes;
use hyper::header::{CONTENT_TYPE, HOST, USER_AGENT};
use hyper::{Request, StatusCode};
use hyper_util::rt::TokioIo;
use std::time::Duration;
use traylight_config::Url;

/// A longer answer is none that anybody meant.
pub(super) const LONGEST_ANSWER: usize = 64 << 10;

/// A part of a path that is shorter is a word, not a token.
const SHORTEST_PART: usize = 6;

/// Where to, and under what conditions.
pub(super) struct HttpExchange<'a> {
    pub url: &'a Url,
    pub ca_file: Option<&'a str>,
    pub time_limit: Duration,
}

/// What a server answered.
pub(super) struct HttpAnswer {
    pub status: StatusCode,
    /// The beginning of the answer, as text.
    pub text: String,
}

impl HttpExchange<'_> {
    /// Sends the request and reads the answer to its end.
    ///
    /// # Errors
    /// When there is no answer of HTTP, none in time, or one that is too long.
    pub async fn run(&self, request: Request<Full<Bytes>>) -> Result<HttpAnswer, ChannelFault> {
        within(self.time_limit, self.session(request)).await
    }

    async fn session(&self, mut request: Request<Full<Bytes>>) -> Result<HttpAnswer, ChannelFault> {
        let host = self.url.authority().try_into().map_err(|error| not_sendable(&error))?;
        request.headers_mut().insert(HOST, host);
        *request.uri_mut() = self.url.path.parse().map_err(|error| not_sendable(&error))?;
        let secrets = secrets(self.url, &request);
        let target = TlsTarget { host: &self.url.host, port: self.url.port, tls: self.url.tls, ca_file: self.ca_file };
        let stream = connect(target, Allowance::of(MOST_BYTES)).await?;
        let nonsense = |error: hyper::Error| {
            let said = short(&error.to_string());
            match ChannelFault::behind(&error) {
                _ if error.is_parse() => ChannelFault::InvalidReply { reply: said },
                Some(fault) => fault,
                // Closed amid the answer, or before the request could leave.
                None if error.is_incomplete_message() || error.is_canceled() => ChannelFault::ConnectionClosed,
                None => ChannelFault::ConnectionFailed { error: said },
            }
        };
        let (mut sender, connection) =
            hyper::client::conn::http1::handshake(TokioIo::new(stream)).await.map_err(nonsense)?;
        let session = async {
            let answer = sender.send_request(request).await.map_err(nonsense)?;
            let status = answer.status();
            let body = Limited::new(answer.into_body(), LONGEST_ANSWER).collect().await;
            let body = body.map_err(|error| match error.downcast::<hyper::Error>() {
                Ok(error) => nonsense(*error),
                Err(_) => ChannelFault::ReplyTooLong { most: LONGEST_ANSWER },
            })?;
            Ok(HttpAnswer { status, text: short(&hide(&String::from_utf8_lossy(&body.to_bytes()), &secrets)) })
        };
        tokio::pin!(session);
        // The connection is driven here and ends with the session: nothing of it lives on.
        tokio::select! {
            answer = &mut session => answer,
            _ = connection => session.await,
        }
    }
}

/// What of a request may be a secret: its path and the parts of that, and the values of its headers. The longest come
/// first: one may hold another.
fn secrets(url: &Url, request: &Request<Full<Bytes>>) -> Vec<String> {
    let parts = url.path.split(['/', '?', '&', '=']).filter(|part| part.len() >= SHORTEST_PART);
    let headers = request.headers().iter().filter(|(name, _)| ![HOST, CONTENT_TYPE, USER_AGENT].contains(*name));
    let values: Vec<&str> = headers.filter_map(|(_, value)| value.to_str().ok()).collect();
    let bare = values.iter().filter_map(|value| value.strip_prefix("Bearer "));
    let all = std::iter::once(url.path.as_str()).chain(parts).chain(bare).chain(values.iter().copied());
    let mut all: Vec<String> = all.map(str::to_owned).collect();
    all.sort_by_key(|secret| std::cmp::Reverse(secret.len()));
    all
}

impl HttpAnswer {
    /// The fault that this answer is, unless it says that all is well (RFC 9110, 15).
    pub fn fault(&self) -> Option<ChannelFault> {
        let reply = short(&format!("{} {}", self.status, self.text));
        match self.status.as_u16() {
            200..=299 => None,
            401 | 403 | 407 => Some(ChannelFault::LoginRefused { reply }),
            408 | 425 | 429 | 500..=599 => Some(ChannelFault::RejectedForNow { reply }),
            status @ 300..=399 => Some(ChannelFault::Redirected { status }),
            _ => Some(ChannelFault::Rejected { reply }),
        }
    }
}
