//! Log lines: one structured line a change, never one a round. As text or JSON on standard output, or natively to the
//! journal (systemd's JOURNAL_NATIVE_PROTOCOL), where every field can be searched.

use crate::clock::{Moment, Wall};
use crate::tell::incident_words::known;
use crate::tell::test_words;
use crate::tell::tongue::Tongue;
use crate::tell::wording::{Words, pointed_at, words};
use crate::text::one_line;
use crate::verdict::{Change, Gaps, Remark, Severity};
use std::fmt::Write as _;
use std::io;
use std::os::unix::net::UnixDatagram;
use std::time::Duration;

/// Where the journal takes entries.
const JOURNAL: &str = "/run/systemd/journal/socket";

/// One line to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Entry {
    /// How urgent it is, in the numbers of RFC 5424, 6.2.1: 2 critical, 4 warning, 5 notice, 6 informational.
    pub priority: u8,
    /// What happened, one word.
    pub event: &'static str,
    /// The identifier that this kind of entry keeps for good.
    pub message_id: &'static str,
    /// For people.
    pub message: String,
    /// For machines, in order.
    pub fields: Vec<(&'static str, String)>,
}

impl Entry {
    /// An entry about the agent itself.
    pub fn agent(priority: u8, event: &'static str, message: impl Into<String>) -> Self {
        let message_id = "189e0e324a06464a8b471b3aa5c95ece";
        Self { priority, event, message_id, message: message.into(), fields: Vec::new() }
    }

    /// The entry with one more field.
    pub fn with(mut self, field: &'static str, value: String) -> Self {
        self.fields.push((field, value));
        self
    }

    /// The entry with everything escaped that could steer the terminal of whoever reads it: a refused configuration has
    /// several lines, and its breaks stay.
    fn cleaned(&self) -> Self {
        let lines = |text: &str| text.split('\n').map(one_line).collect::<Vec<_>>().join("\n");
        let fields = self.fields.iter().map(|(field, value)| (*field, one_line(value).into_owned())).collect();
        Self { message: lines(&self.message), fields, ..*self }
    }

    /// The entry of something that is only rehearsed.
    pub fn as_test(self) -> Self {
        let message = format!("TEST: {}", self.message);
        Self { message, ..self }.with("test", "yes".to_owned())
    }

    /// The entry of a remark.
    pub fn remark(remark: &Remark) -> Self {
        match remark {
            Remark::NewBaseline { drive, counter, before, now } => {
                let drive = pointed_at(drive, Tongue::English);
                let message = format!("{drive}: {counter} fell from {before} to {now}, counted anew from here");
                Self { fields: vec![("counter", counter.clone())], ..Self::agent(5, "new-baseline", message) }
            }
            Remark::SelfTest { drive, news } => {
                let fields = drive.serial.iter().map(|serial| ("serial", serial.clone())).collect();
                Self { fields, ..Self::agent(5, "self-test", test_words::news(drive, news)) }
            }
        }
    }

    /// The entry of a change.
    pub fn of(change: &Change, gaps: &Gaps, now: Moment, wall: &Wall) -> Self {
        let condition = change.condition();
        let words = words(condition, Tongue::English);
        let (event, priority) = match change {
            Change::Opened(_) => ("opened", priority(condition.severity)),
            Change::Worsened(_) => ("worsened", priority(condition.severity)),
            Change::Eased(_) => ("eased", 5),
            Change::Closed { .. } => ("closed", 5),
        };
        let mut fields = vec![
            ("condition", condition.kind().id().to_owned()),
            ("severity", condition.severity.to_string()),
            ("subject", condition.subject.to_string()),
        ];
        if let Some(place) = condition.finding.drive() {
            fields.extend(place.tray.clone().map(|tray| ("tray", tray)));
            fields.extend(place.serial.clone().map(|serial| ("serial", serial)));
        }
        fields.push(("since", since(gaps.since(condition.since, now), wall)));
        let message = match change {
            Change::Closed { lasted, .. } => {
                fields.extend(lasted.map(|lasted| ("lasted_s", lasted.as_secs().to_string())));
                format!("over after {}: {}", known(*lasted), words.name)
            }
            _ => {
                fields.extend(advice(&words));
                format!("{}: {}", words.title, words.sentence)
            }
        };
        Self { priority, event, message_id: condition.kind().message_id(), message, fields }
    }
}

fn advice(words: &Words) -> [(&'static str, String); 3] {
    [("do", words.advice.clone()), ("do_not", words.warning.clone()), ("evidence", words.evidence.join("; "))]
}

/// When something began, for a field of a log line.
pub(super) fn since(span: Option<Duration>, wall: &Wall) -> String {
    span.map_or_else(|| "not known: the clock was not set over a restart".to_owned(), |span| wall.before(span).stamp())
}

pub(super) fn priority(severity: Severity) -> u8 {
    match severity {
        Severity::Critical => 2,
        Severity::Warning => 4,
        Severity::Notice => 5,
    }
}

/// How lines are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Form {
    /// Words and `key=value` pairs.
    Text,
    /// One JSON object a line.
    Json,
    /// Entries of the systemd journal.
    Journal,
}

/// Writes entries.
pub struct Log {
    form: Form,
    journal: Option<UnixDatagram>,
}

impl Log {
    /// A log of this form.
    ///
    /// # Errors
    /// When the journal was asked for and does not answer.
    pub fn open(form: Form) -> io::Result<Self> {
        let journal = match form {
            Form::Journal => {
                let socket = UnixDatagram::unbound()?;
                socket.connect(JOURNAL).map_err(|error| io::Error::new(error.kind(), format!("{JOURNAL}: {error}")))?;
                Some(socket)
            }
            Form::Text | Form::Json => None,
        };
        Ok(Self { form, journal })
    }

    /// Writes one entry to the journal or, as a line with its end, to `out`. Waits for whoever reads it.
    ///
    /// # Errors
    /// When it cannot be written.
    pub fn write(&self, entry: &Entry, wall: &Wall, out: impl FnOnce(&str) -> io::Result<()>) -> io::Result<()> {
        let entry = &entry.cleaned();
        match (&self.journal, self.form) {
            (Some(journal), _) => send(journal, &journal_entry(entry)),
            (None, Form::Json) => out(&(json_line(entry, wall) + "\n")),
            (None, _) => out(&(text_line(entry, wall) + "\n")),
        }
    }
}

/// A journal that was started anew is another socket under the same name.
fn send(journal: &UnixDatagram, entry: &[u8]) -> io::Result<()> {
    let sent = journal.send(entry).or_else(|_| journal.connect(JOURNAL).and_then(|()| journal.send(entry)));
    sent.map(drop).map_err(|error| io::Error::new(error.kind(), format!("{JOURNAL}: {error}")))
}

fn text_line(entry: &Entry, wall: &Wall) -> String {
    let mut line = format!("{} {} {}", wall.stamp(), level(entry.priority), entry.event);
    for (key, value) in &entry.fields {
        let _ = write!(line, " {key}={}", quoted_if_needed(value));
    }
    let _ = write!(line, " message={}", quoted_if_needed(&entry.message));
    line
}

fn json_line(entry: &Entry, wall: &Wall) -> String {
    let mut object = serde_json::Map::new();
    let mut put = |key: &str, value: &str| object.insert(key.to_owned(), value.into());
    put("time", &wall.stamp());
    put("level", level(entry.priority));
    put("event", entry.event);
    for (key, value) in &entry.fields {
        put(key, value);
    }
    put("message", &entry.message);
    serde_json::Value::Object(object).to_string()
}

fn journal_entry(entry: &Entry) -> Vec<u8> {
    let mut bytes = Vec::new();
    let mut put = |key: &str, value: &str| {
        bytes.extend(key.as_bytes());
        // The length form takes any value; device text has lost its line breaks, but nothing here relies on that.
        bytes.push(b'\n');
        bytes.extend((value.len() as u64).to_le_bytes());
        bytes.extend(value.as_bytes());
        bytes.push(b'\n');
    };
    put("MESSAGE", &entry.message);
    put("PRIORITY", &entry.priority.to_string());
    put("MESSAGE_ID", entry.message_id);
    put("SYSLOG_IDENTIFIER", "traylight");
    put("TRAYLIGHT_EVENT", entry.event);
    for (key, value) in &entry.fields {
        put(&format!("TRAYLIGHT_{}", key.to_uppercase()), value);
    }
    bytes
}

fn level(priority: u8) -> &'static str {
    match priority {
        0..=2 => "critical",
        3 => "error",
        4 => "warning",
        5 => "notice",
        _ => "info",
    }
}

/// Values with spaces, quotes or anything unprintable stand in quotes with escapes, so that a line is always one line.
fn quoted_if_needed(value: &str) -> String {
    let plain = |c: char| c.is_alphanumeric() || "-_./:+@%".contains(c);
    if !value.is_empty() && value.chars().all(plain) { value.to_owned() } else { format!("{value:?}") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::DriveKey;
    use crate::text::misleads;
    use crate::verdict::{Condition, Finding, Kind, Place, Subject};
    use proptest::prelude::*;
    use std::collections::BTreeSet;
    use std::time::Duration;

    fn wall() -> Wall {
        let zone = jiff::tz::TimeZone::fixed(jiff::tz::offset(2));
        let time = jiff::civil::date(2026, 5, 14).at(14, 32, 5, 0).to_zoned_datetime(zone).expect("a day in May");
        Wall { time, synchronised: true }
    }

    /// A drive with this serial in tray 3, gone for 35 s.
    fn gone(serial: &str) -> (Condition, Moment) {
        let since = Moment::after_boot(Duration::from_secs(900));
        let place = Place { tray: Some("3".into()), serial: Some(serial.into()), port: None };
        let finding =
            Finding::DriveGone { drive: place, pool: Some("md0".into()), leave_in: vec!["1".into(), "2".into()] };
        let subject = Subject::Drive(DriveKey(serial.into()));
        (Condition { subject, severity: Severity::Critical, since, finding }, since.plus(Duration::from_secs(35)))
    }

    fn opened(serial: &str) -> Entry {
        let (condition, now) = gone(serial);
        Entry::of(&Change::Opened(condition), &Gaps::default(), now, &wall())
    }

    fn written(form: Form, entry: &Entry) -> String {
        let mut out = String::new();
        let log = Log::open(form).expect("only a journal can be absent");
        let take = |line: &str| {
            out += line;
            Ok(())
        };
        log.write(entry, &wall(), take).expect("a line is taken");
        out
    }

    #[test]
    fn a_change_is_one_line_of_words_and_pairs() {
        assert_eq!(
            written(Form::Text, &opened("HN24-LARK")),
            "2026-05-14T14:32:05+02:00 critical opened condition=drive-gone severity=critical \
             subject=\"drive HN24-LARK\" tray=3 serial=HN24-LARK since=2026-05-14T14:31:30+02:00 \
             do=\"Leave 1 2 in. Power off first. Check its data and power plugs.\" \
             do_not=\"Do not replace it for this alone: a lost connection is not a broken drive.\" \
             evidence=\"its block device is gone\" \
             message=\"TRAY 3 GONE: Tray 3 (serial ..LARK) is no longer seen; md0 needs it.\"\n"
        );
    }

    #[test]
    fn an_end_says_how_long_it_lasted_and_advises_nothing() {
        let (condition, now) = gone("HN24-LARK");
        let closed = Change::Closed { condition, lasted: Some(Duration::from_secs(35)) };
        let line = written(Form::Json, &Entry::of(&closed, &Gaps::default(), now, &wall()));
        let object: serde_json::Value = serde_json::from_str(&line).expect("a line is JSON");
        assert_eq!((&object["event"], &object["lasted_s"]), (&"closed".into(), &"35".into()));
        assert_eq!(object["message"], "over after 35 s: TRAY 3 GONE");
        assert_eq!(object["level"], "notice");
        assert_eq!(object["do"], serde_json::Value::Null);
    }

    /// RFC 5424, 6.2.1: 2 is critical, 4 warning, 5 notice.
    #[test]
    fn a_change_is_as_urgent_as_what_it_begins_and_good_news_is_a_notice() {
        let priority_of = |change: &dyn Fn(Condition) -> Change, severity| {
            let (condition, now) = gone("HN24-LARK");
            Entry::of(&change(Condition { severity, ..condition }), &Gaps::default(), now, &wall()).priority
        };
        let ranks = [Severity::Critical, Severity::Warning, Severity::Notice];
        assert_eq!(ranks.map(|severity| priority_of(&Change::Opened, severity)), [2, 4, 5]);
        assert_eq!(ranks.map(|severity| priority_of(&Change::Worsened, severity)), [2, 4, 5]);
        assert_eq!(ranks.map(|severity| priority_of(&Change::Eased, severity)), [5, 5, 5]);
    }

    /// A field of the journal's native protocol: its name, a line break, the length of the value in 8 bytes, little
    /// endian, the value, a line break (systemd, docs/JOURNAL_NATIVE_PROTOCOL.md).
    fn fields(mut bytes: &[u8]) -> Vec<(String, String)> {
        let mut found = Vec::new();
        while !bytes.is_empty() {
            let end = bytes.iter().position(|&byte| byte == b'\n').expect("a name ends");
            let (length, rest) = bytes[end + 1..].split_first_chunk().expect("eight bytes of length");
            let (value, rest) = rest.split_at(u64::from_le_bytes(*length) as usize);
            let text = |bytes: &[u8]| String::from_utf8(bytes.to_vec()).expect("text");
            found.push((text(&bytes[..end]), text(value)));
            bytes = rest.strip_prefix(b"\n").expect("a value ends with a line break");
        }
        found
    }

    #[test]
    fn the_journal_gets_every_field_by_its_protocol() {
        assert_eq!(journal_entry(&Entry::agent(6, "started", "up"))[..20], *b"MESSAGE\n\x02\0\0\0\0\0\0\0up\nP");
        let entry = opened("HN24-LARK\nPRIORITY=0");
        let found = fields(&journal_entry(&entry));
        let value = |name: &str| found.iter().find(|(found, _)| found == name).map(|(_, value)| value.as_str());
        assert_eq!(value("PRIORITY"), Some("2"));
        assert_eq!(
            value("TRAYLIGHT_SERIAL"),
            Some("HN24-LARK\nPRIORITY=0"),
            "a value with a line break stays one value"
        );
        assert_eq!(value("MESSAGE"), Some(entry.message.as_str()));
        assert_eq!(found.len(), 5 + entry.fields.len());
        for (name, _) in &found {
            // The same document: capitals, digits and underscores; those that begin with an underscore are the journal's own.
            let is_plain = name.bytes().all(|byte| matches!(byte, b'A'..=b'Z' | b'0'..=b'9' | b'_'));
            assert!(is_plain && name.starts_with(|first: char| first.is_ascii_uppercase()), "{name}");
        }
    }

    #[test]
    fn every_kind_has_a_message_id_of_its_own() {
        let ids: BTreeSet<&str> =
            Kind::ALL.iter().map(|kind| kind.message_id()).chain([opened("X").message_id]).collect();
        assert_eq!(ids.len(), Kind::ALL.len(), "drive-gone twice, the others once");
        assert!(!ids.contains(Entry::agent(6, "started", "").message_id));
        let is_id = |id: &&str| id.len() == 32 && id.bytes().all(|byte| matches!(byte, b'0'..=b'9' | b'a'..=b'f'));
        assert!(ids.iter().all(is_id), "{ids:?}");
    }

    proptest! {
        /// Serials are text from devices. Whatever they hold, an entry is one line, and the value is what was said.
        #[test]
        fn text_from_a_device_cannot_break_a_line(serial in any::<String>()) {
            let entry = opened(&serial);
            let text = written(Form::Text, &entry);
            prop_assert_eq!(text.lines().count(), 1);
            prop_assert!(!text.trim_end_matches('\n').contains(misleads), "{:?}", text);
            let json = written(Form::Json, &entry);
            prop_assert_eq!(json.matches('\n').count(), 1);
            let object: serde_json::Value = serde_json::from_str(&json).expect("a line is JSON");
            let shown = one_line(&serial).into_owned();
            prop_assert_eq!(object["serial"].as_str(), Some(shown.as_str()));
            let found = fields(&journal_entry(&entry.cleaned()));
            prop_assert!(found.contains(&("TRAYLIGHT_SERIAL".to_owned(), shown)));
        }
    }
}
