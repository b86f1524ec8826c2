//! Log entries, one a change, never one a round: what they hold, and how they look as text, as JSON and in the journal's
//! native protocol (systemd, docs/JOURNAL_NATIVE_PROTOCOL.md), where every field can be searched. Pure.

use crate::clock::{Moment, Wall};
use crate::tell::self_test_log;
use crate::tell::short_line::ShortLine;
use crate::tell::words::condition::words;
use crate::tell::words::drives::pointed_at;
use crate::tell::words::parts::Words;
use crate::tell::words::phrases::{Language, Phrases, Places};
use crate::text::one_line;
use crate::units::span;
use crate::verdict::{Change, Gaps, Remark, Severity};
use std::fmt::Write as _;
use std::time::Duration;
use uuid::Uuid;

/// One line to be.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogEntry {
    /// How urgent it is, in the numbers of RFC 5424, 6.2.1: 2 critical, 4 warning, 5 notice, 6 informational.
    pub priority: u8,
    /// What happened, one word.
    pub event: &'static str,
    /// The identifier that this kind of entry keeps for good.
    pub message_id: String,
    /// For people.
    pub message: String,
    /// For machines, in order.
    pub fields: Vec<(&'static str, String)>,
    /// For whoever watches a terminal; `None` where the line of another entry says it.
    pub short: Option<ShortLine>,
}

impl LogEntry {
    /// An entry about the agent itself that quotes an error: in English for everybody.
    pub fn agent(priority: u8, event: &'static str, message: impl Into<String>) -> Self {
        let (message_id, message) = (message_id("agent", event), message.into());
        let short = Some(ShortLine::of_agent(priority, &message, Language::ENGLISH));
        Self { priority, event, message_id, message, fields: Vec::new(), short }
    }

    /// An entry about the agent itself whose words are in the tables: English for the log, the owner's language for a terminal.
    pub fn worded(priority: u8, event: &'static str, language: Language, words: impl Fn(Language) -> String) -> Self {
        let short = Some(ShortLine::of_agent(priority, &words(language), language));
        Self { short, ..Self::agent(priority, event, words(Language::ENGLISH)) }
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
        Self { message: lines(&self.message), fields, ..self.clone() }
    }

    /// The entry of something that is only rehearsed.
    pub fn as_test(self, language: Language) -> Self {
        let message = format!("TEST: {}", self.message);
        let short = self.short.map(|short| short.marked_test(language));
        Self { message, short, ..self }.with("test", "yes".to_owned())
    }

    /// The entry of a remark.
    pub fn remark(remark: &Remark, language: Language) -> Self {
        match remark {
            Remark::NewBaseline { drive, counter, before, now } => {
                let words = |language: Language| {
                    let drive = pointed_at(drive, language);
                    let places: Places = &[("drive", &drive), ("counter", counter), ("from", before), ("now", now)];
                    language.say("log.new-baseline", places)
                };
                Self::worded(5, "new-baseline", language, words).with("counter", counter.clone())
            }
            Remark::SelfTest { drive, news } => {
                let fields = drive.serial.iter().map(|serial| ("serial", serial.clone())).collect();
                let words = |language| self_test_log::line(drive, news, language);
                Self { fields, ..Self::worded(5, "self-test", language, words) }
            }
        }
    }

    /// The entry of a change.
    pub fn of(change: &Change, gaps: &Gaps, now: Moment, wall: &Wall) -> Self {
        let condition = change.condition();
        let words = words(condition, Language::ENGLISH);
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
                format!("cleared after {}: {}", known(*lasted), words.name)
            }
            _ => {
                fields.extend(advice(&words));
                format!("{}: {}", words.title, words.sentence)
            }
        };
        Self {
            priority,
            event,
            message_id: message_id("condition", condition.kind().id()),
            message,
            fields,
            short: None,
        }
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

/// The names behind the identifiers of log entries (RFC 9562, 5.5: version 5), drawn at random once.
const NAMES: Uuid = uuid::uuid!("189e0e32-4a06-464a-8b47-1b3aa5c95ece");

/// The identifier that entries of this name keep: the same name has the same one in every version of the program.
pub(super) fn message_id(of: &str, name: &str) -> String {
    Uuid::new_v5(&NAMES, format!("{of}/{name}").as_bytes()).simple().to_string()
}

/// The entry as a line of words and `key=value` pairs, without its end.
pub fn text_line(entry: &LogEntry, wall: &Wall) -> String {
    let entry = entry.cleaned();
    let mut line = format!("{} {} {}", wall.stamp(), level(entry.priority), entry.event);
    for (key, value) in &entry.fields {
        let _ = write!(line, " {key}={}", quoted_if_needed(value));
    }
    let _ = write!(line, " message={}", quoted_if_needed(&entry.message));
    line
}

/// The entry as one JSON object in a line, without its end.
pub fn json_line(entry: &LogEntry, wall: &Wall) -> String {
    let entry = entry.cleaned();
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

/// The entry in the journal's native protocol.
pub fn journal_entry(entry: &LogEntry) -> Vec<u8> {
    let entry = entry.cleaned();
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
    put("MESSAGE_ID", &entry.message_id);
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

/// How long something lasted, in words of the log.
pub(super) fn known(lasted: Option<Duration>) -> String {
    lasted.map_or_else(|| "an unknown time".to_owned(), span)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::DriveKey;
    use crate::text::misleads;
    use crate::verdict::{Condition, Finding, Place, Subject};
    use proptest::prelude::*;
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

    fn opened(serial: &str) -> LogEntry {
        let (condition, now) = gone(serial);
        LogEntry::of(&Change::Opened(condition), &Gaps::default(), now, &wall())
    }

    #[test]
    fn a_change_is_one_line_of_words_and_pairs() {
        assert_eq!(
            text_line(&opened("HN24-LARK"), &wall()),
            "2026-05-14T14:32:05+02:00 critical opened condition=drive-gone severity=critical \
             subject=\"drive HN24-LARK\" tray=3 serial=HN24-LARK since=2026-05-14T14:31:30+02:00 \
             do=\"Leave 1 2 in. Power off first. Check the data and power plugs of this drive.\" \
             do_not=\"Do not replace the drive for this alone: a lost connection does not make it a bad drive.\" \
             evidence=\"its block device is gone\" \
             message=\"TRAY 3 GONE: The drive in tray 3 (serial ..LARK) is gone; md0 needs it.\""
        );
    }

    #[test]
    fn an_end_says_how_long_it_lasted_and_advises_nothing() {
        let (condition, now) = gone("HN24-LARK");
        let closed = Change::Closed { condition, lasted: Some(Duration::from_secs(35)) };
        let line = json_line(&LogEntry::of(&closed, &Gaps::default(), now, &wall()), &wall());
        let object: serde_json::Value = serde_json::from_str(&line).expect("a line is JSON");
        assert_eq!((&object["event"], &object["lasted_s"]), (&"closed".into(), &"35".into()));
        assert_eq!(object["message"], "cleared after 35 s: TRAY 3 GONE");
        assert_eq!(object["level"], "notice");
        assert_eq!(object["do"], serde_json::Value::Null);
    }

    /// RFC 5424, 6.2.1: 2 is critical, 4 warning, 5 notice.
    #[test]
    fn a_change_is_as_urgent_as_what_it_begins_and_good_news_is_a_notice() {
        let priority_of = |change: &dyn Fn(Condition) -> Change, severity| {
            let (condition, now) = gone("HN24-LARK");
            LogEntry::of(&change(Condition { severity, ..condition }), &Gaps::default(), now, &wall()).priority
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
        assert_eq!(journal_entry(&LogEntry::agent(6, "started", "up"))[..20], *b"MESSAGE\n\x02\0\0\0\0\0\0\0up\nP");
        let entry = opened("HN24-LARK\nPRIORITY=0");
        let found = fields(&journal_entry(&entry));
        let value = |name: &str| found.iter().find(|(found, _)| found == name).map(|(_, value)| value.as_str());
        assert_eq!(value("PRIORITY"), Some("2"));
        assert_eq!(value("TRAYLIGHT_SERIAL"), Some(r"HN24-LARK\u{a}PRIORITY=0"));
        let of_two_lines = fields(&journal_entry(&LogEntry::agent(3, "refused", "here\nPRIORITY=0")));
        assert_eq!(of_two_lines[0], ("MESSAGE".to_owned(), "here\nPRIORITY=0".to_owned()));
        assert_eq!(value("MESSAGE"), Some(entry.message.as_str()));
        assert_eq!(found.len(), 5 + entry.fields.len());
        for (name, _) in &found {
            // The same document: capitals, digits and underscores; those that begin with an underscore are the journal's own.
            let is_plain = name.bytes().all(|byte| matches!(byte, b'A'..=b'Z' | b'0'..=b'9' | b'_'));
            assert!(is_plain && name.starts_with(|first: char| first.is_ascii_uppercase()), "{name}");
        }
    }

    /// By Python's `uuid.uuid5(uuid.UUID("189e0e32-4a06-464a-8b47-1b3aa5c95ece"), "condition/drive-gone").hex`.
    #[test]
    fn an_identifier_is_the_one_that_another_library_makes_of_the_name() {
        assert_eq!(opened("X").message_id, "74b2f657635a591ea64a3c3f2ae4f7ee");
    }

    proptest! {
        /// Serials are text from devices. Whatever they hold, an entry is one line, and the value is what was said.
        #[test]
        fn text_from_a_device_cannot_break_a_line(serial in any::<String>()) {
            let entry = opened(&serial);
            let text = text_line(&entry, &wall());
            prop_assert_eq!(text.lines().count(), 1);
            prop_assert!(!text.contains(misleads), "{:?}", text);
            let json = json_line(&entry, &wall());
            prop_assert_eq!(json.lines().count(), 1);
            let object: serde_json::Value = serde_json::from_str(&json).expect("a line is JSON");
            let shown = one_line(&serial).into_owned();
            prop_assert_eq!(object["serial"].as_str(), Some(shown.as_str()));
            let found = fields(&journal_entry(&entry));
            prop_assert!(found.contains(&("TRAYLIGHT_SERIAL".to_owned(), shown)));
        }
    }
}
