//! From an update of an incident to the message about it. Pure.

use super::message::{About, Message, MessageKind, Stamp, Topic};
use super::words::incident::{IncidentWords, incident_words};
use super::words::phrases::{Language, Phrases};
use crate::clock::{Moment, Wall};
use crate::verdict::{Condition, Ended, Gaps, Incident, IncidentId, Subject, Update, UpdateKind};

/// What every message needs besides the update.
pub struct Letterhead<'a> {
    /// What sets the box's incidents apart from those of others.
    pub mark: &'a str,
    /// The language of the message.
    pub language: Language,
    /// The name of the box.
    pub box_name: &'a str,
    /// Now, on the boot clock.
    pub now: Moment,
    /// Times that no clock has measured.
    pub gaps: &'a Gaps,
    /// Now, on the calendar.
    pub wall: &'a Wall,
    /// Now, as it is understood after a restart.
    pub stamp: &'a Stamp,
    /// True while somebody works on the box.
    pub is_held: bool,
    /// Draws the panel's picture of an incident, as a PNG file: only for what is sent with one.
    pub page: &'a dyn Fn(&Incident) -> Option<Vec<u8>>,
}

/// The message about an update; none for what is not worth one: what got a little better.
pub fn message(update: &Update, head: Letterhead) -> Option<Message> {
    let (kind, lasted) = match update.what {
        UpdateKind::Opened => (MessageKind::Opened, None),
        UpdateKind::Worsened => (MessageKind::Worsened, None),
        UpdateKind::Refined { .. } => (MessageKind::Refined, None),
        UpdateKind::Eased => return None,
        UpdateKind::Closed { how: Ended::PartOf(_), .. } => (MessageKind::PartOf, None),
        UpdateKind::Closed { lasted, how: Ended::Over | Ended::TakenOut } => (MessageKind::Closed, lasted),
    };
    let incident = &update.incident;
    let clock = |at: Moment| head.wall.before(head.now.since(at)).second();
    let IncidentWords { words, seen, unmeasured, next_test, news, also, .. } =
        incident_words(incident, &clock, head.language);
    let language = head.language;
    let since = match head.gaps.since(incident.since, head.now) {
        None => language.plain("message.since-unknown").to_owned(),
        Some(since) if head.wall.synchronised => head.wall.before(since).local(),
        Some(since) if kind != MessageKind::Closed => {
            language.say("message.before-this", &[("span", &language.span(since))])
        }
        Some(_) => String::new(),
    };
    let sentence = ending(update.what, &words.name, language).unwrap_or(words.sentence);
    let is_over = kind.is_last();
    let part_of = match update.what {
        UpdateKind::Closed { how: Ended::PartOf(other), .. } => Some(other.to_string()),
        _ => None,
    };
    let evidence = if is_over { Vec::new() } else { seen.into_iter().chain(words.evidence).collect() };
    Some(Message {
        id: format!("{}-{}.{}.{kind}", head.mark, incident.id, incident.updates),
        incident: incident.id.to_string(),
        kind,
        severity: if is_over { incident.worst.max(incident.severity) } else { incident.severity },
        about: about(incident),
        trays: incident.trays().map(str::to_owned).collect(),
        title: if is_over { words.name } else { words.title },
        sentence,
        news: if is_over { Vec::new() } else { news },
        also: if is_over { Vec::new() } else { also },
        part_of,
        advice: if is_over { String::new() } else { words.advice },
        warning: if is_over { String::new() } else { words.warning },
        tray_line: words.leave_in.filter(|_| !is_over),
        leave_in: incident.handling.leave_in().filter(|_| !is_over),
        evidence,
        not_measured: if is_over { Vec::new() } else { unmeasured.into_iter().map(str::to_owned).collect() },
        next_test: if is_over { String::new() } else { next_test },
        since,
        lasted,
        language,
        box_name: head.box_name.to_owned(),
        made_at: head.stamp.clone(),
        is_rehearsed: false,
        held: head.is_held,
        page: if is_over { None } else { (head.page)(incident) },
        record: Some(Box::new(incident.clone())),
    })
}

/// How an incident of this name ended, in a sentence; `None` while it is open.
pub fn ending(what: UpdateKind, name: &str, language: Language) -> Option<String> {
    let UpdateKind::Closed { lasted, how } = what else { return None };
    let unknown = || language.plain("message.time-unknown").to_owned();
    let lasted = lasted.map_or_else(unknown, |lasted| language.span(lasted));
    Some(match how {
        Ended::Over => language.say("message.over", &[("name", &name), ("lasted", &lasted)]),
        Ended::TakenOut => language.say("message.taken-out", &[("name", &name), ("lasted", &lasted)]),
        Ended::PartOf(other) => language.say("message.part-of", &[("name", &name), ("other", &other)]),
    })
}

/// True when this is the name of the message that told the end of an incident.
pub fn tells_the_end(id: &str, mark: &str, incident: IncidentId) -> bool {
    let rest = id.strip_prefix(&format!("{mark}-{incident}."));
    rest.is_some_and(|rest| {
        rest.split_once('.').is_some_and(|(_, kind)| {
            [MessageKind::Closed, MessageKind::PartOf].iter().any(|last| kind == last.to_string())
        })
    })
}

fn about(incident: &Incident) -> Vec<About> {
    let parts = |condition: &Condition| {
        let parts = match &condition.subject {
            Subject::Drive(key) => vec![(Topic::Drive, key.0.clone())],
            Subject::Member { drive: key, pool } => vec![(Topic::Drive, key.0.clone()), (Topic::Pool, pool.clone())],
            Subject::Pool(key) => vec![(Topic::Pool, key.clone())],
            Subject::Volume(mount) => vec![(Topic::Volume, mount.clone())],
            Subject::Fan(key) => vec![(Topic::Fan, key.clone())],
            Subject::Link { name, .. } => vec![(Topic::Link, name.clone())],
            _ => vec![(Topic::Box, condition.subject.to_string())],
        };
        parts.into_iter().map(|(topic, name)| About { topic, name })
    };
    let mut about: Vec<About> = incident.conditions.iter().flat_map(parts).collect();
    about.dedup();
    about
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Clock;
    use crate::reading::{DriveKey, Writing};
    use crate::tell::batch::{Batch, Item};
    use crate::tell::batch_text::{subject, text};
    use crate::tell::words::condition::words;
    use crate::verdict::Place;
    use crate::verdict::{Cause, Confidence, Down, Finding, Handling, Severity};
    use std::time::Duration;

    #[test]
    fn only_the_name_of_an_end_tells_it() {
        let names = [
            "ab-7.2.closed",
            "ab-7.3.part-of",
            "ab-77.2.part-of",
            "ab-7.2.opened",
            "ab-77.2.closed",
            "cd-7.2.closed",
            "test-ab-7.2.closed",
            "closed",
        ];
        let found: Vec<&str> = names.into_iter().filter(|id| tells_the_end(id, "ab", IncidentId(7))).collect();
        assert_eq!(found, ["ab-7.2.closed", "ab-7.3.part-of"]);
    }

    /// What is told of a pool that has gone down after a loss, in an update for the worse.
    fn worse(cause: Cause) -> Update {
        let place =
            |label: &str| Place { tray: Some(label.to_owned()), serial: Some(format!("HN24-{label}")), port: None };
        let held =
            |subject, finding| Condition { subject, severity: Severity::Critical, since: Moment::default(), finding };
        let gone = |label: &str| {
            let finding =
                Finding::DriveGone { drive: place(label), pool: Some("md0".to_owned()), leave_in: Vec::new() };
            held(Subject::Drive(DriveKey(format!("HN24-{label}"))), finding)
        };
        let down =
            Finding::PoolDown { pool: "md0".to_owned(), why: Down::TooManyLost, present: 3, of: 5, lost: Vec::new() };
        let stopped = Finding::VolumeReadonly { mount: "/srv/songs".to_owned(), writing: Writing::StoppedByError };
        let mut incident = Incident {
            id: IncidentId(7),
            cause,
            confidence: Confidence::Likely,
            severity: Severity::Critical,
            worst: Severity::Critical,
            updates: 1,
            last_update: Some(UpdateKind::Opened),
            since: Moment::default(),
            conditions: vec![gone("3"), held(Subject::Volume("/srv/songs".to_owned()), stopped)],
            drives: vec![place("3"), place("5")],
            part: None,
            evidence: Vec::new(),
            unmeasured: Vec::new(),
            handling: Handling::PullNothing,
            hot_swap: false,
            acknowledged: false,
            reported: None,
        };
        incident.report(Moment::default());
        incident.conditions.extend([held(Subject::Pool("md0".to_owned()), down), gone("5")]);
        incident.take_update(UpdateKind::Worsened);
        incident.report(Moment::default());
        Update { incident, what: UpdateKind::Worsened }
    }

    #[test]
    fn a_drive_without_a_tray_is_no_tray() {
        let mut update = worse(Cause::Supply);
        update.incident.drives[1].tray = None;
        assert_eq!(message_of(&update, Language::ENGLISH).trays, ["3"]);
    }

    fn message_of(update: &Update, language: Language) -> Message {
        let (stamp, wall) = (Stamp::default(), Clock::default().wall());
        let head = Letterhead {
            mark: "ab",
            language,
            box_name: "heron",
            now: Moment::default(),
            gaps: &Gaps::default(),
            wall: &wall,
            stamp: &stamp,
            is_held: false,
            page: &|_| None,
        };
        message(update, head).expect("it is worth a message")
    }

    #[test]
    fn a_message_names_all_that_holds_and_what_is_new_in_every_form_and_language() {
        for cause in Cause::ALL {
            for language in [Language::ENGLISH, Language::GERMAN] {
                let update = worse(*cause);
                let batch = Batch::of(Item::new(message_of(&update, language), 0, 1, &Stamp::default()));
                let forms = [
                    text(&batch),
                    #[cfg(feature = "mail")]
                    crate::tell::batch_html::html(&batch, None),
                    batch.document().to_string(),
                ];
                for held in &update.incident.conditions {
                    let sentence = words(held, language).sentence;
                    for form in &forms {
                        assert!(form.contains(&sentence), "{cause:?}: `{sentence}` is not in:\n{form}");
                    }
                }
                let message = &batch.first.message;
                assert_eq!((message.news.len(), message.kind), (2, MessageKind::Worsened), "{:?}", message.news);
                let new = format!("\n{}:\n- ", language.plain("message.labels.new"));
                assert!(forms[0].contains(&new), "{}", forms[0]);
            }
        }
    }

    #[test]
    fn what_became_a_part_of_another_is_not_told_to_be_over() {
        let mut update = worse(Cause::TrayPower);
        update.what = UpdateKind::Closed { lasted: Some(Duration::from_secs(60)), how: Ended::PartOf(IncidentId(9)) };
        for language in [Language::ENGLISH, Language::GERMAN] {
            let message = message_of(&update, language);
            assert_eq!(
                (message.kind, message.lasted, message.part_of.as_deref()),
                (MessageKind::PartOf, None, Some("9"))
            );
            let batch = Batch::of(Item::new(message, 0, 1, &Stamp::default()));
            assert_eq!(batch.document()["messages"][0]["is_over"], false);
            let over = language.say("message.labels.closed", &[("title", &"")]);
            assert!(!subject(&batch).contains(over.trim()), "{}", subject(&batch));
        }
    }
}
