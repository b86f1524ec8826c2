//! What is open, for people: the incidents, then the channels and what was not measured. The same document, nothing more.

use super::channel_part::Channel;
use super::document::Document;
use super::history_part::History;
use super::incident_part::Incident;
use crate::printout::Printout;
use crate::tell::words::phrases::{Language, Phrases, Places};
use crate::verdict::{IncidentId, Severity, Standing};
use std::time::Duration;

/// Before the lines about one thing.
const INDENT: &str = "    ";

/// The open incidents. That none is open is printed too, and what could not be read.
pub fn list(document: &Document, language: Language) -> Printout {
    let mut out = Printout::default();
    let open = &document.incidents;
    let key = match (open.len(), document.standing) {
        (0, Standing::Starting) => "alerts.none-starting",
        (0, Standing::NoData | Standing::PartlyReadable) => "alerts.none-partly",
        (0, _) => "alerts.none",
        (1, _) => "alerts.one",
        _ => "alerts.many",
    };
    let places: Places = &[("box", &document.box_name), ("n", &open.len())];
    out.line(language.say(key, places));
    if let Some(left) = document.muted_left_s {
        out.line(language.say("alerts.muted", &[("left", &span(left, language))]));
    }
    let test = document.rehearsal.iter().flat_map(|rehearsal| rehearsal.lines(language));
    test.for_each(|line| out.line(line));
    for incident in open {
        out.line("");
        one(incident, language, &mut out);
    }
    if let Some(first) = open.first() {
        out.line("");
        out.line(language.say("alerts.explain", &[("id", &first.id)]));
    }
    if !document.channels.is_empty() {
        out.heading(language.plain("alerts.channels"));
        document.channels.iter().for_each(|of| channel(of, language, &mut out));
    }
    if !document.unseen.is_empty() {
        out.heading(language.plain("alerts.not-measured"));
        document.unseen.iter().for_each(|unseen| out.line(format_args!("  {}", unseen.for_owner())));
    }
    out
}

fn one(incident: &Incident, language: Language, out: &mut Printout) {
    let words = incident.words();
    let lead = format!("{:>2}  ", incident.id.to_string());
    let severity = language.severity(incident.severity);
    out.coloured(format_args!("{lead}{severity}  {}", words.headline), Some(incident.severity));
    out.line(format_args!("{INDENT}{}", words.sentence));
    out.line(format_args!("{INDENT}{}", open_for(incident, language)));
}

/// A channel: its last delivery, its queue, and its trouble.
fn channel(channel: &Channel, language: Language, out: &mut Printout) {
    let since = |seconds: Option<u64>| {
        seconds.map_or_else(|| language.plain("why.unknown-time").to_owned(), |seconds| span(seconds, language))
    };
    let last = match (&channel.last_success_at, channel.last_success_s) {
        (None, None) => language.plain("alerts.never-delivered").to_owned(),
        (_, ago) => language.say("alerts.delivered", &[("span", &since(ago))]),
    };
    let waiting = (channel.waiting > 0).then(|| {
        let key = if channel.waiting == 1 { "alerts.waits" } else { "alerts.wait" };
        language.say(key, &[("n", &channel.waiting), ("span", &since(channel.oldest_wait_s))])
    });
    let trouble = channel.trouble.as_ref().map(|trouble| {
        let why = trouble.owners_words.as_ref().unwrap_or(&trouble.words);
        language.say("alerts.trouble", &[("span", &since(trouble.since_s)), ("why", why)])
    });
    let unconfirmed = (!channel.confirmed).then(|| language.say("alerts.unconfirmed", &[("channel", &channel.name)]));
    let severity = trouble.is_some().then_some(Severity::Warning);
    out.coloured(format_args!("  {} ({})", channel.name, channel.kind), severity);
    let lines = [Some(last), waiting, trouble, unconfirmed];
    lines.iter().flatten().for_each(|line| out.line(format_args!("{INDENT}{line}")));
}

/// What was closed, newest first, and how far back that is known.
pub fn list_closed(history: &History, language: Language, out: &mut Printout) {
    out.heading(language.plain("alerts.closed"));
    for closed in &history.incidents {
        let title = closed.owners_headline.as_ref().unwrap_or(&closed.headline);
        let lead = format!("{:>2}  ", closed.id.to_string());
        let severity = language.severity(closed.severity);
        out.line(format_args!("{lead}{severity}  {title}"));
        let at = local(closed.closed_at.as_deref(), language);
        let lasted =
            closed.lasted_s.map_or_else(|| language.plain("alerts.unknown-time").to_owned(), |s| span(s, language));
        let mut line = language.say("alerts.closed-at", &[("at", &at), ("lasted", &lasted)]);
        if let Some(other) = closed.part_of {
            line = format!("{line} {}", language.say("alerts.part-of", &[("id", &other)]));
        }
        out.line(format_args!("{INDENT}{line}"));
    }
    let since = local(history.complete_since.as_deref(), language);
    let key = if history.incidents.is_empty() { "alerts.none-closed" } else { "alerts.complete-since" };
    out.line(language.say(key, &[("since", &since)]));
}

/// A time of the document on the calendar of this machine, to the minute.
fn local(at: Option<&str>, language: Language) -> String {
    let time = at.and_then(|at| at.parse::<jiff::Timestamp>().ok());
    let time =
        time.map(|time| time.to_zoned_datetime(jiff::tz::TimeZone::system()).strftime("%Y-%m-%d %H:%M").to_string());
    time.unwrap_or_else(|| language.plain("alerts.unknown-time").to_owned())
}

/// For how long an incident has been open, and whether it is acknowledged.
pub(super) fn open_for(incident: &Incident, language: Language) -> String {
    let open = match incident.since_s {
        Some(seconds) => language.say("alerts.open-for", &[("span", &span(seconds, language))]),
        None => language.plain("alerts.open-unknown").to_owned(),
    };
    if incident.acknowledged { format!("{open} {}", language.plain("alerts.acknowledged")) } else { open }
}

pub(super) fn span(seconds: u64, language: Language) -> String {
    language.span(Duration::from_secs(seconds))
}

/// That an incident is not open, and which are.
pub fn not_open(id: IncidentId, open: impl Iterator<Item = IncidentId>, language: Language) -> String {
    let open: Vec<String> = open.map(|id| id.to_string()).collect();
    match &open[..] {
        [] => language.say("alerts.not-open-none", &[("id", &id)]),
        [one] => language.say("alerts.not-open-one", &[("id", &id), ("open", one)]),
        several => language.say("alerts.not-open-many", &[("id", &id), ("open", &several.join(", "))]),
    }
}

#[cfg(test)]
mod tests {
    use super::super::channel_part::Trouble;
    use super::super::tests::document;
    use super::*;

    #[test]
    fn that_no_incident_is_open_is_printed_and_what_was_not_measured_as_well() {
        let mut calm = document(1, Language::ENGLISH);
        let printed = |document: &Document| list(document, Language::ENGLISH).to_string();
        assert_eq!(printed(&calm), "heron: no incident is open\n");
        calm.standing = Standing::NoData;
        calm.unseen = vec![super::super::document::Unseen {
            words: "everything: no reading for 3 min".to_owned(),
            owners_words: None,
        }];
        calm.muted_left_s = Some(2_520);
        assert_eq!(
            printed(&calm),
            "heron: no incident is open, but not everything could be read\nAlerts are muted for another 42 min.\n\n\
             Not measured\n  everything: no reading for 3 min\n"
        );
    }

    #[test]
    fn each_open_incident_has_its_severity_title_and_sentence() {
        let document = document(26, Language::ENGLISH);
        let text = list(&document, Language::ENGLISH).to_string();
        for incident in &document.incidents {
            let first = format!("{:>2}  {}  {}\n", incident.id.to_string(), incident.severity, incident.headline);
            assert!(text.contains(&first) && text.contains(&incident.sentence), "{first}\n{text}");
        }
        assert!(text.contains("    Open for ") && text.contains("traylight alerts --why "), "{text}");
    }

    #[test]
    fn each_channel_has_its_last_delivery_its_queue_and_its_trouble() {
        let mut calm = document(1, Language::ENGLISH);
        let works = Channel {
            name: "owner".into(),
            kind: "mail".into(),
            confirmed: true,
            waiting: 0,
            oldest_wait_s: None,
            last_success_at: Some("2026-05-03T04:20:00Z".into()),
            last_success_s: Some(1_260),
            trouble: None,
        };
        let fails = Channel {
            name: "bell".into(),
            kind: "webhook".into(),
            confirmed: false,
            waiting: 2,
            oldest_wait_s: Some(840),
            last_success_at: None,
            last_success_s: None,
            trouble: Some(Trouble {
                id: "rejected".into(),
                words: "rejected: 404 Not Found".into(),
                owners_words: Some("abgelehnt: 404 Not Found".into()),
                since_s: Some(600),
            }),
        };
        calm.channels = vec![works, fails];
        let printed = list(&calm, Language::ENGLISH).to_string();
        let (_, channels) = printed.split_once("\n\n").expect("a part of its own");
        assert_eq!(
            channels,
            "Channels\n  owner (mail)\n    Last delivery 21 min ago.\n  bell (webhook)\n    Nothing delivered yet.\n    \
             2 messages are queued, the oldest for 14 min.\n    Failing for 10 min: abgelehnt: 404 Not Found\n    \
             Not confirmed: run `traylight alerts --test bell`, then enter its code with --confirm.\n"
        );
    }

    #[test]
    fn a_mistyped_number_names_what_is_open() {
        let not_open = |open: &[u32]| not_open(IncidentId(99), open.iter().copied().map(IncidentId), Language::ENGLISH);
        assert_eq!(not_open(&[]), "incident 99 is not open; no incident is open");
        assert_eq!(not_open(&[9]), "incident 99 is not open; did you mean 9?");
        assert_eq!(not_open(&[3, 7]), "incident 99 is not open; expected one of 3, 7");
    }
}
