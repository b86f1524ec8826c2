//! Alerts to a web server: a POST request with the batch as JSON, or as the owner's template makes it.

use super::http::HttpExchange;
use super::{Channel, ChannelFault, Needs, Receipt, Sending, not_sendable, secret};
use crate::tell::batch::Batch;
use crate::tell::batch_text::{clean, subject, text};
use form_urlencoded::byte_serialize;
use http_body_util::Full;
use hyper::Request;
use hyper::body::Bytes;
use hyper::header::{AUTHORIZATION, CONTENT_TYPE, HeaderName, HeaderValue, USER_AGENT};
use ring::hmac;
use std::fmt::Write as _;
use traylight_config::{Field, Template, is_loopback};

/// The name of the header with the signature of the body.
const SIGNATURE: HeaderName = HeaderName::from_static("traylight-signature");
/// The name of the header with the batch's name, the same at every attempt.
const ID: HeaderName = HeaderName::from_static("traylight-id");

/// A web server that takes alerts.
pub struct WebhookChannel {
    settings: traylight_config::Webhook,
}

impl WebhookChannel {
    /// The way to this server.
    pub fn new(settings: traylight_config::Webhook) -> Self {
        Self { settings }
    }

    async fn deliver(&self, batch: &Batch) -> Result<Receipt, ChannelFault> {
        let traylight_config::Webhook { url, ca_file, time_limit, .. } = &self.settings;
        let exchange = HttpExchange { url, ca_file: ca_file.as_deref(), time_limit: *time_limit };
        let answer = exchange.run(self.request(batch)?).await?;
        match answer.fault() {
            Some(fault) => Err(fault),
            None => Ok(Receipt::new(&format!("{} {}", answer.status, answer.text))),
        }
    }

    fn request(&self, batch: &Batch) -> Result<Request<Full<Bytes>>, ChannelFault> {
        let traylight_config::Webhook { headers, content_type, body, token, signing_key, .. } = &self.settings;
        let body = match body {
            None => batch.document().to_string(),
            Some(template) => template.filled(|field| for_body(&value(batch, field), content_type, field)),
        };
        let mut request = Request::post("/")
            .header(USER_AGENT, concat!("traylight/", env!("CARGO_PKG_VERSION")))
            .header(CONTENT_TYPE, content_type)
            .header(ID, header_text(&batch.id()));
        for (name, template) in headers {
            request = request.header(name, header(batch, template));
        }
        if let Some(place) = token {
            let mut value = header_text(&format!("Bearer {}", secret::read(place)?.reveal()));
            value.set_sensitive(true);
            request = request.header(AUTHORIZATION, value);
        }
        if let Some(place) = signing_key {
            request = request.header(SIGNATURE, signature(secret::read(place)?.reveal().as_bytes(), body.as_bytes()));
        }
        request.body(Full::new(Bytes::from(body))).map_err(|error| not_sendable(&error))
    }
}

impl Channel for WebhookChannel {
    fn send<'a>(&'a self, batch: &'a Batch) -> Sending<'a> {
        Box::pin(self.deliver(batch))
    }

    #[cfg(test)]
    fn made_from(&self) -> String {
        format!("{:?}", self.settings)
    }

    fn needs(&self) -> Needs {
        Needs { route: !is_loopback(&self.settings.url.host), clock: self.settings.url.tls }
    }
}

/// HMAC with SHA-256 (RFC 2104) of the body, as hexadecimal digits.
fn signature(key: &[u8], body: &[u8]) -> String {
    let tag = hmac::sign(&hmac::Key::new(hmac::HMAC_SHA256, key), body);
    let mut text = String::from("sha256=");
    for byte in tag.as_ref() {
        let _ = write!(text, "{byte:02x}");
    }
    text
}

/// A header's value: what is not ASCII is left out, since servers differ in how they read it (RFC 9110, 5.5).
fn header(batch: &Batch, template: &Template) -> HeaderValue {
    header_text(&template.filled(|field| value(batch, field)))
}

fn header_text(text: &str) -> HeaderValue {
    let visible: String = clean(text).chars().filter(|c| *c == ' ' || c.is_ascii_graphic()).collect();
    HeaderValue::from_str(visible.trim()).unwrap_or(HeaderValue::from_static(""))
}

/// What a place is filled in with. Of several messages the first speaks for all, but for the texts of all.
fn value(batch: &Batch, field: Field) -> String {
    let message = &batch.first.message;
    match field {
        Field::Box => message.box_name.clone(),
        Field::Update => message.kind.to_string(),
        Field::Severity => batch.severity().to_string(),
        Field::Title => message.title.clone(),
        Field::Subject => subject(batch),
        Field::Sentence => message.sentence.clone(),
        Field::Advice => message.advice.clone(),
        Field::Warning => message.warning.clone(),
        Field::Trays => batch.trays().join(" "),
        Field::Since => message.since.clone(),
        Field::Incident => message.incident.clone(),
        Field::Id => batch.id(),
        Field::Text => text(batch),
        Field::Json => batch.document().to_string(),
    }
}

/// Makes a value safe for the kind of text around it. The JSON document is not text inside another but stands for itself.
fn for_body(value: &str, content_type: &str, field: Field) -> String {
    let kind = content_type.split(';').next().unwrap_or_default().trim().to_ascii_lowercase();
    match kind.as_str() {
        "application/json" if field == Field::Json => value.to_owned(),
        "application/json" => {
            let quoted = serde_json::Value::from(value).to_string();
            quoted[1..quoted.len() - 1].to_owned()
        }
        "application/x-www-form-urlencoded" => byte_serialize(value.as_bytes()).collect(),
        _ if field == Field::Text || field == Field::Json => value.to_owned(),
        _ => clean(value),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tell::batch::Item;
    use crate::tell::message::{MessageKind, Stamp, example};
    use crate::verdict::Severity;
    use proptest::prelude::*;

    fn batch(title: &str) -> Batch {
        let mut message = example("7", 1, MessageKind::Opened, Severity::Critical);
        message.title = title.to_owned();
        Batch::of(Item::new(message, 0, 1, &Stamp::default()))
    }

    /// RFC 4231, 4.3: test case 2.
    #[test]
    fn a_signature_is_the_one_of_the_standard() {
        let wanted = "sha256=5bdcc146bf60754e6a042426089575c75a003f089d2739839dec58b964ec3843";
        assert_eq!(signature(b"Jefe", b"what do ya want for nothing?"), wanted);
    }

    fn filled(template: &str, content_type: &str, batch: &Batch) -> String {
        let file = format!("[[alerts.webhook]]\nname = 'w'\nurl = 'http://h'\nbody = '{template}'");
        let settings = traylight_config::settle(&file, "f").unwrap().alerts.channels.remove(0);
        let traylight_config::Destination::Webhook(hook) = settings.leads_to else { panic!("a webhook") };
        hook.body.unwrap().filled(|field| for_body(&value(batch, field), content_type, field))
    }

    proptest! {
        /// Titles may hold text from devices.
        #[test]
        fn whatever_a_place_holds_the_text_around_it_stays_what_it_is(title in any::<String>()) {
            let batch = batch(&title);
            let json = filled(r#"{"t": "{{title}}", "all": {{json}}}"#, "application/json; charset=utf-8", &batch);
            let read: serde_json::Value = serde_json::from_str(&json).expect("JSON");
            prop_assert_eq!(read["t"].as_str(), Some(title.as_str()));
            prop_assert_eq!(read["all"]["messages"][0]["title"].as_str(), Some(title.as_str()));
            let form = filled("t={{title}}&x=1", "application/x-www-form-urlencoded", &batch);
            prop_assert_eq!(form.matches(['&', '=']).count(), 3);
            let read = form_urlencoded::parse(form.as_bytes()).next().expect("a value");
            prop_assert_eq!((&*read.0, &*read.1), ("t", title.as_str()));
            prop_assert_eq!(filled("{{title}}", "text/plain", &batch).lines().count().max(1), 1);
            let header = header_text(&title);
            prop_assert!(header.as_bytes().iter().all(|byte| (32..127).contains(byte)));
        }
    }
}
