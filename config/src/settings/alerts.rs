//! The settings of alerts: when they may go, and the ways out that they take.

use crate::template::Template;
use crate::url::Url;
use std::time::Duration;

/// Alerts besides the log. Without a way none leave the box.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Alerts {
    /// When only critical alerts may go. `None`: there is no such time.
    pub quiet: Option<QuietHours>,
    /// How long after it was last told of a critical condition that still holds is told again.
    pub remind_every: Duration,
    /// Every so many days it is said that all is well; 0 is never.
    pub all_well_every_days: u32,
    /// Who is called again and again, and complains when it is not.
    pub heartbeat: Option<Heartbeat>,
    /// The ways out, in the order of their kinds.
    pub ways: Vec<AlertWay>,
}

impl Default for Alerts {
    fn default() -> Self {
        Alerts {
            quiet: None,
            remind_every: Duration::from_secs(24 * 3600),
            all_well_every_days: 0,
            heartbeat: None,
            ways: Vec::new(),
        }
    }
}

/// A time of day in which warnings wait, in minutes since midnight, local time. It may go past midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct QuietHours {
    /// The first quiet minute.
    pub from: u16,
    /// The first minute that is not quiet any more.
    pub until: u16,
}

/// An address that is fetched as long as the box is watched.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Heartbeat {
    /// What is fetched.
    pub url: Url,
    /// How often.
    pub every: Duration,
    /// One more certificate authority to trust, a PEM file.
    pub ca_file: Option<String>,
}

/// One way out for alerts.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct AlertWay {
    /// The owner's name for it, unique.
    pub name: String,
    /// Nothing that is less than this goes this way.
    pub least: Least,
    /// What this way is told of; empty means everything.
    pub about: Vec<Topic>,
    /// Where it leads.
    pub leads_to: Destination,
}

/// The least severity that a way is told of.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Least {
    /// Everything.
    Notice,
    /// What is to be looked at soon, and worse.
    Warning,
    /// Only what is to be looked at now.
    Critical,
}

/// A kind of part that an alert can be about.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
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

/// Where a way leads.
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
    /// When encryption begins. It always does.
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

/// When a talk with a mail server becomes encrypted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum MailSecurity {
    /// After a plain greeting (RFC 3207), usual on port 587.
    StartTls,
    /// From the first byte (RFC 8314), usual on port 465.
    Tls,
}

/// A user and where the password is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Login {
    /// The user's name.
    pub user: String,
    /// Where the password is.
    pub password: Secret,
}

/// Where a secret is kept; never the secret itself.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Secret {
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
    pub token: Option<Secret>,
    /// The key of the signature in the header `Traylight-Signature`.
    pub signing_key: Option<Secret>,
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
    /// Whether the talk is encrypted.
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
