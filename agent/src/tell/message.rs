//! One message about the box as plain data: what every channel is given, and what the outbox keeps until it has left.

use super::words::phrases::Language;
use crate::clock::{Clock, Moment, calendar_between};
use crate::verdict::{Incident, LeaveIn, Severity};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::time::Duration;

pub use traylight_config::Topic;

/// One message.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Message {
    /// What no other message has: the incident and which of its messages this is. Whoever gets the same twice may
    /// pass over the second.
    pub id: String,
    /// The incident that it belongs to.
    pub incident: String,
    /// What became of the incident.
    #[serde(rename = "turn")]
    pub kind: MessageKind,
    /// How bad it is; of an incident that is over, how bad it was at its worst.
    pub severity: Severity,
    /// What it is about.
    pub about: Vec<About>,
    /// The labels of the trays to look at.
    pub trays: Vec<String>,
    /// At most 21 characters: a line of the panel.
    pub title: String,
    /// One sentence.
    pub sentence: String,
    /// What began or got worse since the message before and is not in the sentence, a sentence each.
    #[serde(default)]
    pub news: Vec<String>,
    /// What holds besides all that, a sentence each.
    #[serde(default)]
    pub also: Vec<String>,
    /// The incident that it turned out to be a part of, if it ended like that.
    #[serde(default)]
    pub part_of: Option<String>,
    /// What the owner can do.
    pub advice: String,
    /// What would make it worse.
    pub warning: String,
    /// What may be done with trays, in a line of the panel.
    pub tray_line: Option<String>,
    /// The drives that must stay in.
    pub leave_in: Option<LeaveIn>,
    /// What was measured, against which limit.
    pub evidence: Vec<String>,
    /// What could not be measured, and why.
    pub not_measured: Vec<String>,
    /// What would decide between causes; empty where nothing is open.
    #[serde(default)]
    pub next_test: String,
    /// Since when, in words: a time, or how long the box had been up when its clock was not set.
    pub since: String,
    /// How long it lasted, once it is over.
    pub lasted: Option<Duration>,
    /// The language of its words, and of those around it.
    #[serde(default, rename = "tongue")]
    pub language: Language,
    /// The name of the box.
    pub box_name: String,
    /// When the message was made.
    pub made_at: Stamp,
    /// True when the incident was only rehearsed.
    #[serde(default)]
    pub is_rehearsed: bool,
    /// True when it was made while its owner worked on the box: it waits until that is over.
    #[serde(default)]
    pub held: bool,
    /// The panel's picture of it, a PNG file.
    #[serde(skip)]
    pub page: Option<Vec<u8>>,
    /// The incident as it was reported, for the outbox alone, which keeps one of each.
    #[serde(skip)]
    pub record: Option<Box<Incident>>,
}

impl Message {
    /// A notice that is about no incident, still without a name and words.
    pub fn notice(kind: MessageKind, box_name: &str, made_at: Stamp, language: Language) -> Self {
        Self {
            id: String::new(),
            incident: String::new(),
            kind,
            severity: Severity::Notice,
            about: Vec::new(),
            trays: Vec::new(),
            title: String::new(),
            sentence: String::new(),
            news: Vec::new(),
            also: Vec::new(),
            part_of: None,
            advice: String::new(),
            warning: String::new(),
            tray_line: None,
            leave_in: None,
            evidence: Vec::new(),
            not_measured: Vec::new(),
            next_test: String::new(),
            since: String::new(),
            lasted: None,
            language,
            box_name: box_name.to_owned(),
            made_at,
            is_rehearsed: false,
            held: false,
            page: None,
            record: None,
        }
    }

    /// True for all that reports nothing real: rehearsals, and tests of a channel.
    pub fn is_test(&self) -> bool {
        self.is_rehearsed || self.kind == MessageKind::Test
    }

    /// The name of its incident, which all messages about it share and no other box uses.
    pub fn incident_id(&self) -> &str {
        self.id.split_once('.').map_or(&self.id, |(incident, _)| incident)
    }
}

/// What a message reports of its incident.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum MessageKind {
    /// It began.
    Opened,
    /// It got worse.
    Worsened,
    /// More is known of it.
    Refined,
    /// It still holds.
    Reminder,
    /// It is over.
    Closed,
    /// It turned out to be a part of another, which tells how it goes on: nothing is over.
    PartOf,
    /// It is about no incident: all is well.
    AllWell,
    /// It is about no incident: it tests a channel.
    Test,
}

impl MessageKind {
    /// True for the last of an incident.
    pub fn is_last(self) -> bool {
        matches!(self, Self::Closed | Self::PartOf)
    }
}

impl fmt::Display for MessageKind {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Opened => "opened",
            Self::Worsened => "worsened",
            Self::Refined => "refined",
            Self::Reminder => "reminder",
            Self::Closed => "closed",
            Self::PartOf => "part-of",
            Self::AllWell => "all-well",
            Self::Test => "test",
        })
    }
}

/// One part of the box that a message is about.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct About {
    /// What kind of part.
    pub topic: Topic,
    /// Its name.
    pub name: String,
}

/// A point in time that is still understood after a restart: on the boot clock of one boot, and on the calendar when
/// that was set.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Stamp {
    /// Which boot of the machine; empty equals no other.
    pub boot_id: String,
    /// When, on its clock.
    pub moment: Moment,
    /// The calendar, when it could be believed.
    pub wall: Option<WallStamp>,
}

/// A time on a calendar that was set.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct WallStamp {
    /// Seconds since 1970.
    pub epoch_s: u64,
    /// Date and time with offset (RFC 3339).
    pub text: String,
}

impl Stamp {
    /// What the machine's clocks say now.
    pub fn by(clock: &Clock) -> Self {
        let wall = clock.wall();
        let text = wall.stamp();
        let set = clock.epoch_seconds().filter(|_| wall.synchronised);
        let wall = set.map(|epoch_s| WallStamp { epoch_s, text });
        Self { boot_id: clock.boot_id().to_owned(), moment: clock.now(), wall }
    }

    /// How long before `now` this was; `None` when it was in another boot and one of the two had no calendar, or a wrong one.
    pub fn age(&self, now: &Self) -> Option<Duration> {
        if !self.boot_id.is_empty() && self.boot_id == now.boot_id {
            return Some(now.moment.since(self.moment));
        }
        let (then, now) = (self.wall.as_ref()?, now.wall.as_ref()?);
        calendar_between(then.epoch_s, now.epoch_s)
    }

    /// The calendar's time of this, also when the calendar was set only later in the same boot.
    pub fn wall_text(&self, now: &Self) -> Option<String> {
        if let Some(wall) = &self.wall {
            return Some(wall.text.clone());
        }
        let (age, wall) = (self.age(now)?, now.wall.as_ref()?);
        let then = i64::try_from(wall.epoch_s.checked_sub(age.as_secs())?).ok()?;
        let offset = jiff::fmt::strtime::parse("%Y-%m-%dT%H:%M:%S%:z", &wall.text).ok()?.offset()?;
        let then = jiff::Timestamp::from_second(then).ok()?.to_zoned_datetime(jiff::tz::TimeZone::fixed(offset));
        Some(then.strftime("%Y-%m-%dT%H:%M:%S%:z").to_string())
    }
}

/// A message for tests: the bird-song box has lost a drive.
#[cfg(test)]
pub(crate) fn example(incident: &str, sequence: u32, kind: MessageKind, severity: Severity) -> Message {
    use crate::verdict::Handling;
    let made_at = Stamp { boot_id: "spring".to_owned(), moment: Moment::default(), wall: None };
    Message {
        id: format!("{incident}.{sequence}"),
        incident: incident.to_owned(),
        severity,
        about: vec![About { topic: Topic::Drive, name: "HN24-LARK".to_owned() }],
        trays: vec!["3".to_owned()],
        title: "TRAY 3 GONE".to_owned(),
        sentence: "Tray 3 (serial ..LARK) is no longer seen; md0 needs it.".to_owned(),
        advice: "Leave 1 2 in. Check the plugs of this one with the box off.".to_owned(),
        warning: "Do not replace it for this alone: a lost connection is not a broken drive.".to_owned(),
        tray_line: (kind != MessageKind::Closed).then(|| "LEAVE IN 1 2".to_owned()),
        leave_in: Handling::LeaveIn(vec!["1".to_owned(), "2".to_owned()])
            .leave_in()
            .filter(|_| kind != MessageKind::Closed),
        evidence: vec!["its block device is gone".to_owned()],
        not_measured: vec!["what it counts: it does not answer".to_owned()],
        since: "14:02".to_owned(),
        lasted: (kind == MessageKind::Closed).then(|| Duration::from_secs(90)),
        ..Message::notice(kind, "heron", made_at, Language::ENGLISH)
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn stamp(boot: &str, second: u64, epoch_s: Option<u64>) -> Stamp {
        let moment = Moment::after_boot(Duration::from_secs(second));
        let wall = epoch_s.map(|epoch_s| WallStamp { epoch_s, text: "2026-05-14T14:32:05+02:00".to_owned() });
        Stamp { boot_id: boot.to_owned(), moment, wall }
    }

    #[test]
    fn an_age_is_by_the_boot_clock_else_by_the_calendar_else_unknown() {
        let age = |then: &Stamp, now: &Stamp| then.age(now).map(|age| age.as_secs());
        // A calendar that steps changes no age within one boot.
        assert_eq!(age(&stamp("a", 10, Some(0)), &stamp("a", 70, Some(1_000_000_000))), Some(60));
        assert_eq!(age(&stamp("a", 9000, Some(1_778_000_000)), &stamp("b", 5, Some(1_778_003_600))), Some(3600));
        assert_eq!(age(&stamp("a", 10, None), &stamp("b", 70, Some(1_000_000_000))), None);
        assert_eq!(age(&stamp("a", 10, Some(5)), &stamp("b", 70, None)), None);
        assert_eq!(age(&stamp("", 10, None), &stamp("", 70, None)), None, "two boots without a name may be two");
        let spring = 1_778_761_925;
        assert_eq!(age(&stamp("a", 1, Some(spring)), &stamp("b", 2, Some(spring - 10))), None, "it went back");
        assert_eq!(age(&stamp("a", 1, Some(90)), &stamp("b", 2, Some(spring))), None, "54 years: it was not set");
    }

    #[test]
    fn a_time_from_before_the_clock_was_set_gets_its_calendar_afterwards() {
        // 2026-05-14T12:32:05Z is 1778761925 (date -u -d @1778761925).
        let now = stamp("a", 3600, Some(1_778_761_925));
        assert_eq!(stamp("a", 0, None).wall_text(&now).as_deref(), Some("2026-05-14T13:32:05+02:00"));
        assert_eq!(stamp("b", 0, None).wall_text(&now), None);
        assert_eq!(stamp("a", 0, None).wall_text(&stamp("a", 5, None)), None);
        assert_eq!(stamp("b", 0, Some(7)).wall_text(&now).as_deref(), Some("2026-05-14T14:32:05+02:00"));
    }

    #[test]
    fn a_message_comes_back_as_it_was_but_for_its_picture() {
        let message = Message { page: Some(vec![1]), ..example("i-7", 2, MessageKind::Closed, Severity::Critical) };
        let body = serde_json::to_string(&message).expect("plain data");
        let back: Message = serde_json::from_str(&body).expect("what was written");
        assert_eq!(back, Message { page: None, ..message });
    }
}
