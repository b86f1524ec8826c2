//! The heartbeat: an address is fetched while the box is watched, so that somebody else notices when it is not.

use super::http::HttpExchange;
use super::{ChannelFault, Needs, PATIENCE, Receipt, not_sendable};
use http_body_util::Full;
use hyper::Request;
use hyper::body::Bytes;
use hyper::header::USER_AGENT;
use traylight_config::{Heartbeat, is_loopback};

/// Fetches the address once.
pub async fn beat(settings: &Heartbeat) -> Result<Receipt, ChannelFault> {
    let exchange = HttpExchange { url: &settings.url, ca_file: settings.ca_file.as_deref(), time_limit: PATIENCE };
    let request = Request::get("/").header(USER_AGENT, concat!("traylight/", env!("CARGO_PKG_VERSION")));
    let request = request.body(Full::new(Bytes::new()));
    let answer = exchange.run(request.map_err(|error| not_sendable(&error))?).await?;
    answer.fault().map_or_else(|| Ok(Receipt::new(&answer.status.to_string())), Err)
}

/// What must be there before it is worth a try.
pub fn needs(settings: &Heartbeat) -> Needs {
    Needs { route: !is_loopback(&settings.url.host), clock: settings.url.tls }
}
