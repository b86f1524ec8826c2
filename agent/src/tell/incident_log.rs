//! Log lines about incidents: one for each update of an incident of more than one condition; a single condition has its own line.

use super::log::{LogEntry, known, message_id, priority, since};
use super::short_line::ShortLine;
use super::words::condition::words;
use super::words::incident::{IncidentWords, incident_words};
use super::words::phrases::Language;
use crate::clock::{Moment, Wall};
use crate::verdict::{Cause, Change, Ended, Incident, Update, UpdateKind, Verdict};

/// What is new after a judging, in the order in which it is told: conditions with the incident that each belongs to,
/// incidents, remarks. A person gets one line of each incident, in the owner's language.
pub fn entries(verdict: &Verdict, changes: &[Change], now: Moment, wall: &Wall, language: Language) -> Vec<LogEntry> {
    let mut entries: Vec<LogEntry> = changes.iter().map(|change| line(change, verdict, now, wall, language)).collect();
    let clock = |at: Moment| wall.before(now.since(at)).second();
    for update in &verdict.updates {
        let words = |language| incident_words(&update.incident, &clock, language);
        let short = is_read(update).then(|| ShortLine::of_update(update, &words(language), language));
        match says_no_more(&update.incident, changes) {
            Some(change) => entries[change].short = short.or_else(|| entries[change].short.take()),
            None => entries.push(LogEntry { short, ..entry(update, words(Language::ENGLISH), verdict, now, wall) }),
        }
    }
    entries.extend(verdict.remarks.iter().map(|remark| LogEntry::remark(remark, language)));
    entries
}

/// True for an update that a person reads of. Of one that got a little better, what ended or eased has a line of its own.
fn is_read(update: &Update) -> bool {
    update.what != UpdateKind::Eased
}

/// The line of a change. What ends under one name and continues under another is not over.
fn line(change: &Change, verdict: &Verdict, now: Moment, wall: &Wall, language: Language) -> LogEntry {
    let entry = LogEntry::of(change, &verdict.gaps, now, wall);
    let condition = change.condition();
    let incident = verdict.incident_of(condition).map(|incident| incident.id);
    let entry = match incident {
        Some(id) => entry.with("incident", id.to_string()),
        None => entry,
    };
    if let Change::Closed { lasted, .. } = change {
        if let Some(next) = verdict.conditions.iter().find(|held| condition.goes_on_as(held)) {
            let (next, name) = (next.kind().id(), words(condition, Language::ENGLISH).name);
            let message = format!("continues as {next} after {}: {name}", known(*lasted));
            return LogEntry { message, ..entry }.with("goes_on_as", next.to_owned());
        }
    }
    let is_told = verdict.updates.iter().any(|update| is_read(update) && Some(update.incident.id) == incident);
    let short = (!is_told).then(|| ShortLine::of_change(change, &words(condition, language), language));
    LogEntry { short, ..entry }
}

/// The change whose line says all that there is to say of an incident, if there is one.
fn says_no_more(incident: &Incident, changes: &[Change]) -> Option<usize> {
    let [held] = &incident.conditions[..] else { return None };
    let is_of_it = |change: &Change| change.condition().key() == held.key();
    changes.iter().position(is_of_it).filter(|_| incident.cause == Cause::SelfEvident)
}

/// The entry of an update.
fn entry(update: &Update, words: IncidentWords, verdict: &Verdict, now: Moment, wall: &Wall) -> LogEntry {
    let incident = &update.incident;
    let (event, urgency) = match update.what {
        UpdateKind::Opened => ("incident-opened", priority(incident.severity)),
        UpdateKind::Worsened => ("incident-worsened", priority(incident.severity)),
        UpdateKind::Refined { .. } => ("incident-refined", priority(incident.severity)),
        UpdateKind::Eased => ("incident-eased", 5),
        UpdateKind::Closed { .. } => ("incident-closed", 5),
    };
    let trays: Vec<&str> = incident.trays().collect();
    let kinds: Vec<&str> = incident.conditions.iter().map(|condition| condition.kind().id()).collect();
    let mut fields = vec![
        ("incident", incident.id.to_string()),
        ("cause", incident.cause.id().to_owned()),
        ("confidence", incident.confidence.word().to_owned()),
        ("severity", incident.severity.to_string()),
        ("conditions", kinds.join(" ")),
    ];
    if !trays.is_empty() {
        fields.push(("trays", trays.join(" ")));
    }
    fields.push(("since", since(verdict.gaps.since(incident.since, now), wall)));
    let begin = turned(update.what);
    let message = if let UpdateKind::Closed { lasted, how } = update.what {
        fields.extend(lasted.map(|lasted| ("lasted_s", lasted.as_secs().to_string())));
        if let Ended::PartOf(other) = how {
            fields.push(("part_of", other.to_string()));
        }
        format!("{begin}{}", words.words.name)
    } else {
        fields.extend((!words.news.is_empty()).then(|| ("new", words.news.join(" "))));
        fields.extend((!words.also.is_empty()).then(|| ("also", words.also.join(" "))));
        fields.push(("do", words.words.advice));
        fields.push(("do_not", words.words.warning));
        fields.extend((!words.next_test.is_empty()).then_some(("next_test", words.next_test)));
        fields.push(("evidence", words.seen.into_iter().chain(words.words.evidence).collect::<Vec<_>>().join("; ")));
        fields.extend((!words.unmeasured.is_empty()).then(|| ("not_measured", words.unmeasured.join("; "))));
        format!("{begin}{}: {}", words.words.title, words.words.sentence)
    };
    let message_id = message_id("cause", incident.cause.id());
    LogEntry { priority: urgency, event, message_id, message, fields, short: None }
}

/// What is new about an incident, in words of the log that come before its title.
fn turned(what: UpdateKind) -> String {
    match what {
        UpdateKind::Opened => String::new(),
        UpdateKind::Worsened => "worse: ".to_owned(),
        UpdateKind::Refined { .. } => "cause identified: ".to_owned(),
        UpdateKind::Eased => "eased: ".to_owned(),
        UpdateKind::Closed { lasted, how: Ended::Over } => format!("cleared after {}: ", known(lasted)),
        UpdateKind::Closed { lasted, how: Ended::TakenOut } => {
            format!("ended by taking it out, after {}: ", known(lasted))
        }
        UpdateKind::Closed { how: Ended::PartOf(other), .. } => format!("part of incident {other}: "),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Clock;
    use crate::demo::{self, heron, story};
    use crate::judge::{Memory, judge};
    use crate::reading::{DriveKey, Itself};
    use crate::verdict::{Condition, Finding, IncidentId, Place, Severity, Subject};
    use std::time::Duration;

    fn now() -> Moment {
        Moment::after_boot(Duration::from_secs(864_000))
    }

    /// `heron` with a member that its pool has put out: one condition that says it all, and its incident.
    fn degraded() -> Verdict {
        let mut snapshot = heron::snapshot(now(), &story::scene(Duration::ZERO));
        let pool = &mut snapshot.pools[0];
        pool.members.remove(1);
        pool.missing = Some(1);
        let settings = demo::settings().expect("the pretend box has settings");
        let (mut verdict, _) = judge(&settings, &mut Memory::default(), now(), Some(&snapshot), &Itself::default());
        verdict.incidents.retain(|incident| incident.severity == Severity::Critical);
        verdict.incidents[0].cause = Cause::SelfEvident;
        verdict.incidents[0].conditions.truncate(1);
        verdict
    }

    fn said(what: UpdateKind, changes: &[Change]) -> Vec<String> {
        let mut verdict = degraded();
        verdict.updates = vec![Update { incident: verdict.incidents[0].clone(), what }];
        let entries = entries(&verdict, changes, now(), &Clock::default().wall(), Language::ENGLISH);
        entries.into_iter().map(|entry| format!("{} {}", entry.event, entry.message)).collect()
    }

    #[test]
    fn one_condition_has_one_line_but_no_turn_for_the_worse_is_without_one() {
        let held = degraded().incidents[0].conditions[0].clone();
        let opened = said(UpdateKind::Opened, &[Change::Opened(held)]);
        assert!(opened.len() == 1 && opened[0].starts_with("opened "), "{opened:?}");
        let further = said(UpdateKind::Worsened, &[]);
        assert!(further.len() == 1 && further[0].starts_with("incident-worsened worse: "), "{further:?}");
    }

    #[test]
    fn a_person_reads_one_line_of_a_change_in_the_owners_language() {
        let read = |what, cause, changes: &[Change]| {
            let mut verdict = degraded();
            verdict.incidents[0].cause = cause;
            verdict.updates = vec![Update { incident: verdict.incidents[0].clone(), what }];
            let entries = entries(&verdict, changes, now(), &Clock::default().wall(), Language::GERMAN);
            entries.into_iter().filter_map(|entry| entry.short).collect::<Vec<_>>()
        };
        let held = degraded().incidents[0].conditions[0].clone();
        for cause in [Cause::SelfEvident, Cause::Unknown] {
            let opened = read(UpdateKind::Opened, cause, &[Change::Opened(held.clone())]);
            let [line] = &opened[..] else { panic!("{cause:?}: {opened:?}") };
            assert!(line.text.starts_with("Vorfall 1: kritisch: "), "{line:?}");
            assert_eq!(line.severity, Some(Severity::Critical));
            let (lasted, how) = (Some(Duration::from_secs(35)), Ended::Over);
            let closed = Change::Closed { condition: held.clone(), lasted };
            let over = read(UpdateKind::Closed { lasted, how }, cause, &[closed]);
            let [line] = &over[..] else { panic!("{cause:?}: {over:?}") };
            assert!(line.text.contains(": nach 35 s vorbei.") && line.severity.is_none(), "{line:?}");
            let eased = read(UpdateKind::Eased, cause, &[Change::Eased(held.clone())]);
            assert!(eased.len() == 1 && eased[0].text.starts_with("entspannt, jetzt kritisch: "), "{eased:?}");
        }
    }

    #[test]
    fn a_hang_that_became_a_loss_is_not_logged_to_be_over() {
        let drive = Place { tray: Some("3".into()), serial: Some("HN24-LARK".into()), port: None };
        let subject = Subject::Drive(DriveKey("HN24-LARK".into()));
        let held =
            |finding| Condition { subject: subject.clone(), severity: Severity::Critical, since: now(), finding };
        let lasted = Duration::from_secs(60);
        let hung = Finding::DriveNotAnswering { drive: drive.clone(), stalled: lasted };
        let gone = Finding::DriveGone { drive, pool: None, leave_in: Vec::new() };
        let mut verdict = degraded();
        verdict.conditions = vec![held(gone)];
        let closed = Change::Closed { condition: held(hung), lasted: Some(lasted) };
        let entries = entries(&verdict, &[closed], now(), &Clock::default().wall(), Language::ENGLISH);
        let message = &entries[0].message;
        assert!(message.starts_with("continues as drive-gone after ") && entries[0].short.is_none(), "{message}");
    }

    #[test]
    fn how_an_incident_turned_is_said_before_its_title() {
        let lasted = Some(Duration::from_secs(7_200));
        assert_eq!(turned(UpdateKind::Opened), "");
        assert_eq!(turned(UpdateKind::Refined { before: Cause::Unknown }), "cause identified: ");
        assert_eq!(turned(UpdateKind::Closed { lasted, how: Ended::Over }), "cleared after 2 h: ");
        let unknown = UpdateKind::Closed { lasted: None, how: Ended::Over };
        assert_eq!(turned(unknown), "cleared after an unknown time: ");
        assert_eq!(turned(UpdateKind::Closed { lasted, how: Ended::PartOf(IncidentId(9)) }), "part of incident 9: ");
    }
}
