//! The keys of `[alerts]` and of its ways: `[[alerts.mail]]`, `[[alerts.webhook]]`, `[[alerts.mqtt]]`, `[[alerts.command]]`.
//!
//! Whether a server can be reached or a secret can be read is not asked here.

use crate::reader::{Given, Section, Seen};
use crate::settings::{
    AlertWay, Alerts, CommandLine, Destination, Heartbeat, Least, Login, Mail, MailSecurity, Mqtt, MqttVersion,
    QuietHours, Secret, Topic, Webhook,
};
use crate::template::{self, Template};
use crate::url::{self, Url, is_host};
use crate::values::{Read, Refusal, flag, one_of, refuse, text, time, whole};
use std::ops::RangeInclusive;
use std::time::Duration;
use toml::de::DeValue;

/// The most ways of one kind.
const MOST_WAYS: RangeInclusive<usize> = 0..=8;
const MOST_ENTRIES: usize = 16;
/// The longest file name that Linux takes (PATH_MAX; limits.h, from memory).
const LONGEST_PATH: usize = 4096;
/// Ample for a template.
const LONGEST_TEMPLATE: usize = 8192;

const LEASTS: &[(&str, Least)] =
    &[("notice", Least::Notice), ("warning", Least::Warning), ("critical", Least::Critical)];

const TOPICS: &[(&str, Topic)] = &[
    ("drive", Topic::Drive),
    ("pool", Topic::Pool),
    ("volume", Topic::Volume),
    ("fan", Topic::Fan),
    ("link", Topic::Link),
    ("box", Topic::Box),
];

pub(super) fn alerts(section: &mut Section) -> Alerts {
    let default = Alerts::default();
    let mut names = Seen::default();
    Alerts {
        quiet: quiet(section),
        remind_every: section
            .value("remind_every", default.remind_every, time(Duration::from_secs(3600)..=Duration::from_secs(604_800)))
            .value,
        all_well_every_days: section.value("all_well_every_days", 0, whole(0..=31)).value,
        heartbeat: heartbeat(section),
        ways: [
            section.sections("mail", MOST_WAYS, |section| way(section, &mut names, mail)),
            section.sections("webhook", MOST_WAYS, |section| way(section, &mut names, webhook)),
            section.sections("mqtt", MOST_WAYS, |section| way(section, &mut names, mqtt)),
            section.sections("command", MOST_WAYS, |section| way(section, &mut names, command)),
        ]
        .concat(),
    }
}

/// A key whose empty text, which is how the file shows its default, means that there is none.
pub(super) fn or_empty<T>(
    section: &mut Section,
    key: &'static str,
    read: impl FnOnce(&DeValue) -> Read<T>,
) -> Option<Given<T>> {
    let read = |value: &DeValue| if value.as_str() == Some("") { Ok(None) } else { read(value).map(Some) };
    let Given { key, value, origin } = section.value(key, None, read);
    value.map(|value| Given { key, value, origin })
}

fn quiet(section: &mut Section) -> Option<QuietHours> {
    let from = or_empty(section, "quiet_from", time_of_day);
    let until = or_empty(section, "quiet_until", time_of_day);
    section.both_or_none(&from, &until, ["quiet_from", "quiet_until"]);
    let (from, until) = from.zip(until)?;
    if from.value == until.value {
        section.wrong(&until, "found quiet hours that end when they begin, wanted two times that differ".into());
    }
    Some(QuietHours { from: from.value, until: until.value })
}

fn heartbeat(section: &mut Section) -> Option<Heartbeat> {
    let url = or_empty(section, "heartbeat_url", web_address);
    let range = Duration::from_secs(60)..=Duration::from_secs(86_400);
    let every = section.value("heartbeat_every", Duration::from_secs(15 * 60), time(range)).value;
    let ca_file = or_empty(section, "heartbeat_ca_file", path).map(|file| file.value);
    url.map(|url| Heartbeat { url: url.value, every, ca_file })
}

fn way(section: &mut Section, names: &mut Seen, leads_to: fn(&mut Section) -> Destination) -> AlertWay {
    let name = section.required("name", "name = \"owner\"", way_name);
    section.different(&name, names);
    AlertWay {
        name: name.value,
        least: section.value("least", Least::Warning, one_of(LEASTS)).value,
        about: section.list("about", Vec::new(), 0..=TOPICS.len(), one_of(TOPICS)),
        leads_to: leads_to(section),
    }
}

fn mail(section: &mut Section) -> Destination {
    let security = one_of(&[("starttls", MailSecurity::StartTls), ("tls", MailSecurity::Tls)]);
    let security = section.value("security", MailSecurity::StartTls, security).value;
    let usual = if security == MailSecurity::Tls { 465 } else { 587 };
    Destination::Mail(Mail {
        server: section.required("server", "server = \"mail.example.org\"", host).value,
        port: section.value("port", usual, whole(1..=65535)).value,
        security,
        login: login(section),
        from: section.required("from", "from = \"heron@example.org\"", mail_address).value,
        to: section.required_list("to", "to = [\"keeper@example.org\"]", MOST_ENTRIES, mail_address),
        ca_file: section.optional("ca_file", path).map(|file| file.value),
    })
}

fn webhook(section: &mut Section) -> Destination {
    let url =
        section.required("url", "url = \"https://hooks.example.org/heron\"", |value| web_address(value).map(Some));
    Destination::Webhook(Webhook {
        // Without one the settings are refused, and nobody sees this one.
        url: url.value.unwrap_or(Url { tls: true, host: String::new(), port: 443, path: "/".into() }),
        headers: section.list("headers", Vec::new(), 0..=MOST_ENTRIES, header),
        content_type: section.value("content_type", "application/json".into(), content_type).value,
        body: section.optional("body", body).map(|body| body.value),
        token: secret(section, "token_file", "token_credential").map(|given| given.value),
        signing_key: secret(section, "signing_key_file", "signing_key_credential").map(|given| given.value),
        ca_file: section.optional("ca_file", path).map(|file| file.value),
        time_limit: time_limit(section),
    })
}

fn mqtt(section: &mut Section) -> Destination {
    let version = one_of(&[("3.1.1", MqttVersion::V311), ("5", MqttVersion::V5)]);
    let tls = section.value("tls", true, flag).value;
    Destination::Mqtt(Mqtt {
        server: section.required("server", "server = \"broker.example.org\"", host).value,
        port: section.value("port", if tls { 8883 } else { 1883 }, whole(1..=65535)).value,
        version: section.value("version", MqttVersion::V311, version).value,
        tls,
        login: login(section),
        topic: section.optional("topic", topic).map(|topic| topic.value),
        ca_file: section.optional("ca_file", path).map(|file| file.value),
    })
}

fn command(section: &mut Section) -> Destination {
    Destination::Command(CommandLine {
        program: section.required("program", "program = \"/usr/local/bin/ring-the-bell\"", path).value,
        arguments: section.list("arguments", Vec::new(), 0..=MOST_ENTRIES, text(1024)),
        time_limit: time_limit(section),
    })
}

fn time_limit(section: &mut Section) -> Duration {
    let range = Duration::from_secs(1)..=Duration::from_secs(300);
    section.value("time_limit", Duration::from_secs(30), time(range)).value
}

fn login(section: &mut Section) -> Option<Login> {
    let user = section.optional("user", text(256));
    let password = secret(section, "password_file", "password_credential");
    section.both_or_none(&user, &password, ["user", "password_file"]);
    user.zip(password).map(|(user, password)| Login { user: user.value, password: password.value })
}

fn secret(section: &mut Section, file: &'static str, credential: &'static str) -> Option<Given<Secret>> {
    let file = section.optional(file, |value| path(value).map(Secret::File));
    let credential = section.optional(credential, |value| credential_name(value).map(Secret::Credential));
    if let (Some(file), Some(credential)) = (&file, &credential) {
        section.not_both(credential, file);
    }
    file.or(credential)
}

/// What is in file names of the store and in topics, so it is kept plain.
fn way_name(value: &DeValue) -> Read<String> {
    let plain = |c: char| c.is_ascii_alphanumeric() || c == '-' || c == '_';
    match text(32)(value) {
        Ok(name) if name.chars().all(plain) => Ok(name),
        _ => refuse("a name in quotes of 1 to 32 letters, digits, - and _"),
    }
}

/// Hours and minutes, as minutes since midnight.
pub(super) fn time_of_day(value: &DeValue) -> Read<u16> {
    let read = |text: &str| -> Option<u16> {
        let (hour, minute) = text.split_once(':')?;
        let number = |digits: &str, below: u16| {
            let two = digits.len() == 2 && digits.bytes().all(|byte| byte.is_ascii_digit());
            digits.parse::<u16>().ok().filter(|number| two && *number < below)
        };
        Some(60 * number(hour, 24)? + number(minute, 60)?)
    };
    value.as_str().and_then(read).map_or_else(|| refuse("a time of day in quotes, from \"00:00\" to \"23:59\""), Ok)
}

fn web_address(value: &DeValue) -> Read<Url> {
    value.as_str().filter(|text| text.len() <= 2048).and_then(url::parse).map_or_else(
        || refuse("an address that begins with https:// or http://, without user, password or #, such as \"https://hooks.example.org/heron\""),
        Ok,
    )
}

fn host(value: &DeValue) -> Read<String> {
    match text(253)(value) {
        Ok(name) if is_host(&name) => Ok(name),
        _ => refuse("the name or address of a server, such as \"mail.example.org\", without a port"),
    }
}

/// A plain address: what RFC 5321, 4.1.2 calls a Dot-string, an @ and a Domain, in ASCII.
fn mail_address(value: &DeValue) -> Read<String> {
    let in_atom = |c: char| c.is_ascii_alphanumeric() || "!#$%&'*+-/=?^_`{|}~".contains(c);
    let is_local = |local: &str| {
        (1..=64).contains(&local.len()) && local.split('.').all(|atom| !atom.is_empty() && atom.chars().all(in_atom))
    };
    let is_address =
        |address: &str| address.rsplit_once('@').is_some_and(|(local, domain)| is_local(local) && is_host(domain));
    match text(254)(value) {
        Ok(address) if is_address(&address) => Ok(address),
        _ => refuse("a mail address without name or brackets, such as \"keeper@example.org\""),
    }
}

fn path(value: &DeValue) -> Read<String> {
    match text(LONGEST_PATH)(value) {
        Ok(path) if path.starts_with('/') => Ok(path),
        _ => refuse("a file with its whole path, which starts with a slash"),
    }
}

/// systemd takes file names for the names of credentials (systemd.exec(5), LoadCredential=).
fn credential_name(value: &DeValue) -> Read<String> {
    match text(255)(value) {
        Ok(name) if !name.contains('/') && name != "." && name != ".." => Ok(name),
        _ => refuse("the name of a systemd credential, without a slash"),
    }
}

/// A media type (RFC 9110, 8.3.1), with its parameters.
fn content_type(value: &DeValue) -> Read<String> {
    match text(128)(value) {
        Ok(kind) if kind.is_ascii() && kind.split_once('/').is_some_and(|(a, b)| !a.is_empty() && !b.is_empty()) => {
            Ok(kind)
        }
        _ => refuse("a media type, such as \"application/json\""),
    }
}

/// Header lines that the exchange itself is made of.
const OWN_HEADERS: [&str; 7] = [
    "host",
    "content-length",
    "content-type",
    "connection",
    "transfer-encoding",
    "authorization",
    "traylight-signature",
];

/// A header line: a token (RFC 9110, 5.6.2), a colon, and a template.
fn header(value: &DeValue) -> Read<(String, Template)> {
    let in_token = |c: char| c.is_ascii_alphanumeric() || "!#$%&'*+-.^_`|~".contains(c);
    let line = text(1024)(value).ok();
    let parts = line.as_deref().and_then(|line| line.split_once(':'));
    let Some((name, rest)) = parts.filter(|(name, _)| !name.is_empty() && name.chars().all(in_token)) else {
        return refuse("a header line, such as \"X-Title: {{title}}\"");
    };
    if OWN_HEADERS.contains(&name.to_ascii_lowercase().as_str()) {
        return refuse("a header line other than those that traylight writes itself (a secret has `token_file`)");
    }
    Ok((name.to_owned(), places(rest.trim())?))
}

fn body(value: &DeValue) -> Read<Template> {
    match value.as_str() {
        Some(text) if (1..=LONGEST_TEMPLATE).contains(&text.len()) => places(text),
        _ => refuse(format!("a template of 1 to {LONGEST_TEMPLATE} bytes, such as \"{{{{box}}}}: {{{{title}}}}\"")),
    }
}

fn places(text: &str) -> Read<Template> {
    template::parse(text).map_err(|flaw| Refusal { wanted: flaw.wanted, hint: flaw.hint })
}

/// The name of a topic (MQTT 3.1.1, 4.7): no wildcards, no level that is empty, and none of the broker's own.
fn topic(value: &DeValue) -> Read<String> {
    match text(128)(value) {
        Ok(topic)
            if !topic.contains(['+', '#'])
                && !topic.starts_with('$')
                && topic.split('/').all(|level| !level.is_empty()) =>
        {
            Ok(topic)
        }
        _ => refuse("what topics begin with, such as \"traylight/heron\", without +, #, $ or a slash at either end"),
    }
}
