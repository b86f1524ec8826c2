//! The channels for alerts: `[[alerts.mail]]`, `[[alerts.webhook]]`, `[[alerts.mqtt]]` and `[[alerts.command]]`.
//!
//! Whether a server can be reached or a secret can be read is not asked here.

use super::addresses::{
    body, channel_name, content_type, credential_name, header, host, mail_address, path, topic, web_address,
};
use crate::key::{Key, key};
use crate::reader::{Given, Section, SeenTexts};
use crate::template::Template;
use crate::url::{Url, is_loopback};
use crate::values::{flag, one_of, text, time, whole};
use serde::{Deserialize, Serialize};
use std::ops::RangeInclusive;
use std::time::Duration;

/// The most ways of one kind.
const MOST_CHANNELS: RangeInclusive<usize> = 0..=8;
const MOST_ENTRIES: usize = 16;
/// A mail server that is spoken to without encryption is on this machine.
const UNENCRYPTED_HERE: &str = r#"{ "if": { "properties": { "security": { "const": "unencrypted" } }, "required": ["security"] }, "then": { "properties": { "server": { "pattern": "^(localhost|127[.].+|::1)$" } } } }"#;

/// One channel for alerts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlertChannel {
    /// The owner's name for it, unique.
    pub name: String,
    /// Nothing less severe goes to this channel.
    pub min_severity: MinSeverity,
    /// Which topics go to this channel; empty means all.
    pub topics: Vec<Topic>,
    /// Where it leads.
    pub leads_to: Destination,
}

/// The lowest severity that goes to a channel.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MinSeverity {
    /// Everything.
    Notice,
    /// What is to be looked at soon, and worse.
    Warning,
    /// Only what is to be looked at now.
    Critical,
}

/// A kind of part that an alert can be about.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Topic {
    /// Drives and their trays.
    Drive,
    /// Pools.
    Pool,
    /// Volumes.
    Volume,
    /// Fans.
    Fan,
    /// Network ports.
    Link,
    /// The box itself: board, supply, controllers, and traylight.
    Box,
}

/// Where a channel leads.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Destination {
    /// To mailboxes.
    Mail(Mail),
    /// To a web server.
    Webhook(Webhook),
    /// To an MQTT broker.
    Mqtt(Mqtt),
    /// To a program on the box.
    Command(CommandLine),
}

/// A mail server and whom it is to deliver to.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mail {
    /// Its name or address.
    pub server: String,
    /// Its port.
    pub port: u16,
    /// When encryption begins.
    pub security: MailSecurity,
    /// Who logs in, and with what.
    pub login: Option<Login>,
    /// The sender's address.
    pub from: String,
    /// The receivers' addresses.
    pub to: Vec<String>,
    /// One more certificate authority to trust, a PEM file.
    pub ca_file: Option<String>,
}

/// When a session with a mail server becomes encrypted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MailSecurity {
    /// After a plain greeting (RFC 3207), usual on port 587.
    StartTls,
    /// From the first byte (RFC 8314), usual on port 465.
    Tls,
    /// Never: for a server on this machine only, usual on port 25.
    Unencrypted,
}

/// A user and where the password is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Login {
    /// The user's name.
    pub user: String,
    /// Where the password is.
    pub password: SecretSource,
}

/// Where a secret is kept; never the secret itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum SecretSource {
    /// In a file that only its reader may read.
    File(String),
    /// Handed over by systemd under this name (systemd.exec(5), LoadCredential=).
    Credential(String),
}

/// A web server that takes alerts as POST requests.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Webhook {
    /// Where to.
    pub url: Url,
    /// More header lines, each a name and a template.
    pub headers: Vec<(String, Template)>,
    /// What kind of text the body is.
    pub content_type: String,
    /// The body; `None` is the whole message as JSON.
    pub body: Option<Template>,
    /// What is sent as `Authorization: Bearer` (RFC 6750, 2.1).
    pub token: Option<SecretSource>,
    /// The key of the signature in the header `Traylight-Signature`.
    pub signing_key: Option<SecretSource>,
    /// One more certificate authority to trust, a PEM file.
    pub ca_file: Option<String>,
    /// How long the whole exchange may take.
    pub time_limit: Duration,
}

/// An MQTT broker.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mqtt {
    /// Its name or address.
    pub server: String,
    /// Its port.
    pub port: u16,
    /// Which MQTT it is spoken to in.
    pub version: MqttVersion,
    /// Whether the session is encrypted.
    pub tls: bool,
    /// Who logs in, and with what.
    pub login: Option<Login>,
    /// What all topics begin with; `None` is `traylight/` and the name of the box.
    pub topic: Option<String>,
    /// One more certificate authority to trust, a PEM file.
    pub ca_file: Option<String>,
}

/// A version of MQTT.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MqttVersion {
    /// MQTT 3.1.1 (OASIS standard, 2014).
    V311,
    /// MQTT 5.0 (OASIS standard, 2019).
    V5,
}

/// A program on the box that is given each alert on its standard input.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct CommandLine {
    /// The program's file.
    pub program: String,
    /// What it is called with.
    pub arguments: Vec<String>,
    /// How long it may take.
    pub time_limit: Duration,
}

const SEVERITIES: [(&str, MinSeverity); 3] =
    [("notice", MinSeverity::Notice), ("warning", MinSeverity::Warning), ("critical", MinSeverity::Critical)];

const TOPICS: [(&str, Topic); 6] = [
    ("drive", Topic::Drive),
    ("pool", Topic::Pool),
    ("volume", Topic::Volume),
    ("fan", Topic::Fan),
    ("link", Topic::Link),
    ("box", Topic::Box),
];

pub(super) fn read(section: &mut Section) -> Vec<AlertChannel> {
    let names = &mut SeenTexts::default();
    let (by_post, to_a_program) = ("A channel to a web server, by POST.", "A channel to a program on the box.");
    [
        section.sections("mail", "A channel by mail.", MOST_CHANNELS, |section| channel(section, names, mail)),
        section.sections("webhook", by_post, MOST_CHANNELS, |section| channel(section, names, webhook)),
        section
            .sections("mqtt", "A channel to an MQTT broker.", MOST_CHANNELS, |section| channel(section, names, mqtt)),
        section.sections("command", to_a_program, MOST_CHANNELS, |section| channel(section, names, command)),
    ]
    .concat()
}

fn channel(section: &mut Section, names: &mut SeenTexts, leads_to: fn(&mut Section) -> Destination) -> AlertChannel {
    let name = section.required(key!(name = "owner", channel_name(), "The name of the channel. Unique.").public());
    section.different(&name, names);
    let min_severity = key!(min_severity = "warning", one_of(SEVERITIES), "Nothing less severe goes to this channel.");
    let topics = key!(topics = [], one_of(TOPICS), "Which topics go to this channel. Empty: all.").public();
    AlertChannel {
        name: name.value,
        min_severity: section.value(min_severity.public()),
        topics: section.list(topics, 0..=TOPICS.len()),
        leads_to: leads_to(section),
    }
}

fn mail(section: &mut Section) -> Destination {
    let security = one_of([
        ("starttls", MailSecurity::StartTls),
        ("tls", MailSecurity::Tls),
        ("unencrypted", MailSecurity::Unencrypted),
    ]);
    let security = key!(
        security = "starttls",
        security,
        "starttls: encrypted after a plain greeting; tls: from the first byte; unencrypted: for a server on this machine only."
    );
    let security = section.value(security.public());
    let server = section.required(key!(server = "mail.example.org", host(), "The mail server.").public());
    if security == MailSecurity::Unencrypted && !is_loopback(&server.value) {
        let found = format!(
            "expected localhost, 127.0.0.1 or ::1 with `security = \"unencrypted\"`, found \"{}\"",
            server.value
        );
        section.wrong(&server, format!("`server`: {found}; use \"starttls\" or \"tls\" for a server elsewhere"));
    }
    section.rule_of_schema(UNENCRYPTED_HERE.to_owned());
    let usual_port = match security {
        MailSecurity::StartTls => 587,
        MailSecurity::Tls => 465,
        MailSecurity::Unencrypted => 25,
    };
    let port = port(section, usual_port);
    let login = login(section);
    let from = section.required(key!(from = "heron@example.org", mail_address(), "The sender's address.").public());
    let to = key!(to = ["keeper@example.org"], mail_address(), "The recipients' addresses.").public();
    let to = section.required_list(to, MOST_ENTRIES);
    Destination::Mail(Mail {
        server: server.value,
        port,
        security,
        login,
        from: from.value,
        to,
        ca_file: ca_file(section),
    })
}

fn webhook(section: &mut Section) -> Destination {
    let url = section.required(key!(
        url = "https://hooks.example.org/heron",
        web_address(),
        "The URL that messages are sent to."
    ));
    let headers = key!(headers = [], header(), "More header lines, whose values are templates.");
    let headers = section.list(headers, 0..=MOST_ENTRIES);
    let content_type = section
        .value(key!(content_type = "application/json", content_type(), "The content type of the body.").public());
    let body = section.optional(key!(body, body(), "The body, a template. Without it the whole message as JSON."));
    let token = secret(
        section,
        key!(
            token_file,
            path(),
            "The file that holds what is sent as `Authorization: Bearer`; only traylight's user may read it."
        ),
        key!(
            token_credential,
            credential_name(),
            "The systemd credential that holds what is sent as `Authorization: Bearer`."
        ),
    );
    let signing_key = secret(
        section,
        key!(
            signing_key_file,
            path(),
            "The file that holds the key of the signature; only traylight's user may read it."
        ),
        key!(signing_key_credential, credential_name(), "The systemd credential that holds the key of the signature."),
    );
    Destination::Webhook(Webhook {
        url: url.value,
        headers,
        content_type,
        body: body.map(|body| body.value),
        token: token.map(|given| given.value),
        signing_key: signing_key.map(|given| given.value),
        ca_file: ca_file(section),
        time_limit: time_limit(section),
    })
}

fn mqtt(section: &mut Section) -> Destination {
    let tls = section.value(key!(tls = true, flag(), "Whether the connection is encrypted.").public());
    let server = section.required(key!(server = "broker.example.org", host(), "The broker.").public());
    let port = port(section, if tls { 8883 } else { 1883 });
    let version = one_of([("3.1.1", MqttVersion::V311), ("5", MqttVersion::V5)]);
    let version = section.value(key!(version = "3.1.1", version, "The version of MQTT."));
    let login = login(section);
    let topic = section.optional(key!(
        topic,
        topic(),
        "The beginning of all MQTT topics. Without it: traylight/ and the name of the box."
    ));
    Destination::Mqtt(Mqtt {
        server: server.value,
        port,
        version,
        tls,
        login,
        topic: topic.map(|topic| topic.value),
        ca_file: ca_file(section),
    })
}

fn command(section: &mut Section) -> Destination {
    Destination::Command(CommandLine {
        program: section.required(key!(program = "/usr/local/bin/ring-the-bell", path(), "The program.")).value,
        arguments: section.list(key!(arguments = [], text(1024), "Its arguments."), 0..=MOST_ENTRIES),
        time_limit: time_limit(section),
    })
}

fn port(section: &mut Section, usual: u16) -> u16 {
    section
        .optional(key!(port, whole(1..=65535), "The port; without it the usual one.").public())
        .map_or(usual, |port| port.value)
}

fn ca_file(section: &mut Section) -> Option<String> {
    let file = section.optional(key!(ca_file, path(), "An additional certificate authority to trust, a PEM file."));
    file.map(|file| file.value)
}

fn time_limit(section: &mut Section) -> Duration {
    let range = Duration::from_secs(1)..=Duration::from_secs(300);
    section.value(key!(time_limit = "30 s", time(range), "How long one delivery may take: 1 s to 300 s.").public())
}

fn login(section: &mut Section) -> Option<Login> {
    let user = section.optional(key!(user, text(256), "The user name."));
    let password = secret(
        section,
        key!(password_file, path(), "The file that holds the password; only traylight's user may read it."),
        key!(password_credential, credential_name(), "The systemd credential that holds the password."),
    );
    section.both_or_none(&user, &password, [&["user"], &["password_file", "password_credential"]]);
    user.zip(password).map(|(user, password)| Login { user: user.value, password: password.value })
}

fn secret(section: &mut Section, file: Key<String>, credential: Key<String>) -> Option<Given<SecretSource>> {
    let keys = [credential.name, file.name];
    let file = section.optional(file.map(SecretSource::File));
    let credential = section.optional(credential.map(SecretSource::Credential));
    section.not_both(&credential, &file, keys);
    file.or(credential)
}
