//! What keys of several sections take: times of day, addresses of servers and mailboxes, files, templates.

use crate::template::{self, Template};
use crate::url::{self, Url, is_host};
use crate::values::{ValueKind, refuse, text, text_that};

/// The longest file name that Linux takes (PATH_MAX, include/uapi/linux/limits.h).
const LONGEST_PATH: usize = 4096;
/// Ample for a template.
const LONGEST_TEMPLATE: usize = 8192;

/// The schema's pattern of a time of day.
pub(super) const TIME_OF_DAY: &str = "([01][0-9]|2[0-3]):[0-5][0-9]";

/// What is in file names of the store and in topics, so it is kept plain.
pub(super) fn channel_name() -> ValueKind<String> {
    text_that(32, "^[0-9A-Za-z_-]+$", "a name in quotes of 1 to 32 letters, digits, - and _", |name| {
        name.chars().all(|c| c.is_ascii_alphanumeric() || c == '-' || c == '_')
    })
}

/// Hours and minutes, as minutes since midnight.
pub(super) fn time_of_day() -> ValueKind<u16> {
    let read = |text: &str| -> Option<u16> {
        let (hour, minute) = text.split_once(':')?;
        let number = |digits: &str, below: u16| {
            let two = digits.len() == 2 && digits.bytes().all(|byte| byte.is_ascii_digit());
            digits.parse::<u16>().ok().filter(|number| two && *number < below)
        };
        Some(60 * number(hour, 24)? + number(minute, 60)?)
    };
    ValueKind::new(format!(r#""type": "string", "pattern": "^{TIME_OF_DAY}$""#), 0, move |value| {
        value.as_str().and_then(read).map_or_else(|| refuse("a time of day in quotes, from \"00:00\" to \"23:59\""), Ok)
    })
}

pub(super) fn web_address() -> ValueKind<Url> {
    let nowhere = Url { tls: true, host: String::new(), port: 443, path: "/".into() };
    let rules = r#""type": "string", "maxLength": 2048, "pattern": "^https?://[^#]+$""#;
    ValueKind::new(rules, nowhere, |value| {
        value.as_str().filter(|text| text.len() <= 2048).and_then(url::parse).map_or_else(
            || refuse("an address that begins with https:// or http://, without user, password or #, such as \"https://hooks.example.org/heron\""),
            Ok,
        )
    })
}

pub(super) fn host() -> ValueKind<String> {
    let expected = "the name or address of a server, such as \"mail.example.org\", without a port";
    text_that(253, "^[0-9A-Za-z:._-]+$", expected, is_host)
}

/// A plain address: what RFC 5321, 4.1.2 calls a Dot-string, an @ and a Domain, in ASCII.
pub(super) fn mail_address() -> ValueKind<String> {
    let expected = "a mail address without name or brackets, such as \"keeper@example.org\"";
    text_that(254, "^[^@ ]+@[^@ ]+$", expected, |address| {
        let in_atom = |c: char| c.is_ascii_alphanumeric() || "!#$%&'*+-/=?^_`{|}~".contains(c);
        let is_atom = |atom: &str| !atom.is_empty() && atom.chars().all(in_atom);
        let is_local = |local: &str| (1..=64).contains(&local.len()) && local.split('.').all(is_atom);
        address.rsplit_once('@').is_some_and(|(local, domain)| is_local(local) && is_host(domain))
    })
}

pub(super) fn path() -> ValueKind<String> {
    text_that(LONGEST_PATH, "^/", "a file with its whole path, which starts with a slash", |path| path.starts_with('/'))
}

/// systemd takes file names for the names of credentials (systemd.exec(5), LoadCredential=).
pub(super) fn credential_name() -> ValueKind<String> {
    text_that(255, "^[^/]+$", "the name of a systemd credential, without a slash", |name| {
        !name.contains('/') && name != "." && name != ".."
    })
}

/// A media type (RFC 9110, 8.3.1), with its parameters.
pub(super) fn content_type() -> ValueKind<String> {
    text_that(128, "^[^/]+/.+$", "a media type, such as \"application/json\"", |kind| {
        kind.is_ascii() && kind.split_once('/').is_some_and(|(a, b)| !a.is_empty() && !b.is_empty())
    })
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
pub(super) fn header() -> ValueKind<(String, Template)> {
    let nothing = (String::new(), Template::default());
    ValueKind::new(r#""type": "string", "pattern": "^[^: ]+:""#, nothing, |value| {
        let in_token = |c: char| c.is_ascii_alphanumeric() || "!#$%&'*+-.^_`|~".contains(c);
        let line = (text(1024).read)(value).ok();
        let parts = line.as_deref().and_then(|line| line.split_once(':'));
        let Some((name, rest)) = parts.filter(|(name, _)| !name.is_empty() && name.chars().all(in_token)) else {
            return refuse("a header line, such as \"Heron-Alert: {{title}}\"");
        };
        if OWN_HEADERS.contains(&name.to_ascii_lowercase().as_str()) {
            return refuse("a header line other than those that traylight writes itself (a secret has `token_file`)");
        }
        Ok((name.to_owned(), template::parse(rest.trim())?))
    })
}

pub(super) fn body() -> ValueKind<Template> {
    let rules = format!(r#""type": "string", "minLength": 1, "maxLength": {LONGEST_TEMPLATE}"#);
    ValueKind::new(rules, Template::default(), |value| match value.as_str() {
        Some(text) if (1..=LONGEST_TEMPLATE).contains(&text.len()) => template::parse(text),
        _ => refuse(format!("a template of 1 to {LONGEST_TEMPLATE} bytes, such as \"{{{{box}}}}: {{{{title}}}}\"")),
    })
}

/// The name of a topic (MQTT 3.1.1, 4.7): no wildcards, no level that is empty, and none of the broker's own.
pub(super) fn topic() -> ValueKind<String> {
    let expected = "what topics begin with, such as \"traylight/heron\", without +, #, $ or a slash at either end";
    text_that(128, "^[^+#/$][^+#]*$", expected, |topic| {
        !topic.contains(['+', '#']) && !topic.starts_with('$') && topic.split('/').all(|level| !level.is_empty())
    })
}
