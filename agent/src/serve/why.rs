//! Everything about one incident, as a report for people: what happened, the cause, what to do, and what speaks for it.

use super::alerts::{not_open, open_for, span};
use super::document::{Condition, Document};
use super::incident_part::{AboutDrive, Identity, Incident, OwnersWords};
use crate::printout::Printout;
use crate::tell::words::evidence::unmeasured;
use crate::tell::words::limit;
use crate::tell::words::phrases::{Language, Phrases, Places};
use crate::verdict::{Confidence, IncidentId};

/// The report; marked as a test where the incident is only rehearsed.
///
/// # Errors
/// When no incident of this number is open; which are.
pub fn why(document: &Document, id: IncidentId, language: Language) -> Result<Printout, String> {
    let named = |incidents: &[Incident]| incidents.iter().position(|incident| incident.id == id);
    let rehearsal = document.rehearsal.as_ref().filter(|rehearsal| named(&rehearsal.incidents).is_some());
    let (incidents, conditions) = match rehearsal {
        Some(rehearsal) => (&rehearsal.incidents, &rehearsal.conditions),
        None => (&document.incidents, &document.conditions),
    };
    let open = document.incidents.iter().map(|incident| incident.id);
    let incident =
        named(incidents).and_then(|index| incidents.get(index)).ok_or_else(|| not_open(id, open, language))?;
    let words = incident.words();
    let held: Vec<&Condition> = conditions.iter().filter(|condition| condition.incident == Some(id)).collect();
    let mut out = Printout::default();
    let severity = language.severity(incident.severity);
    let places: Places = &[("id", &id), ("title", &words.headline), ("severity", &severity)];
    let title = language.say("why.title", places);
    let title = if rehearsal.is_some() { language.say("message.labels.test", &[("title", &title)]) } else { title };
    out.coloured(title, Some(incident.severity));
    out.line(open_for(incident, language));

    let mut part = |heading: &str, lines: &[String]| {
        if !lines.is_empty() {
            out.heading(language.plain(heading));
            lines.iter().for_each(|line| out.line(format_args!("  {line}")));
        }
    };
    part("why.happened", &happened(&held, &words));
    part("why.cause", &cause(incident, &words, language));
    part("why.do", &[words.advice]);
    part("why.do-not", &[words.do_not]);
    part("why.find-out", &find_out(incident, words.next_test, language));
    part("why.evidence", &words.evidence);
    part("why.drives", &incident.drives.iter().map(|about| drive(about, language)).collect::<Vec<_>>());
    out.heading(language.plain("why.limits"));
    for condition in held {
        let places: Places = &[("kind", &condition.id), ("since", &since(condition, language))];
        out.line(format_args!("  {}", language.say("why.condition", places)));
        for limit in &condition.limits {
            let words = limit.owners_words.as_ref().unwrap_or(&limit.words);
            let places: Places = &[("limit", words), ("origin", &limit::origin(limit.origin, language))];
            out.line(format_args!("    {}", language.say("why.limit", places)));
        }
    }
    Ok(out)
}

/// What its conditions are, each in a sentence.
fn happened(held: &[&Condition], words: &OwnersWords) -> Vec<String> {
    let mut sentences: Vec<String> = held.iter().map(|condition| condition.words().to_owned()).collect();
    sentences.dedup();
    if sentences.is_empty() { vec![words.sentence.clone()] } else { sentences }
}

/// The most likely cause and how sure it is.
fn cause(incident: &Incident, words: &OwnersWords, language: Language) -> Vec<String> {
    let Some(cause) = &words.cause else {
        let key = if incident.next_test.is_empty() { "why.cause-itself" } else { "why.cause-unknown" };
        return vec![language.plain(key).to_owned()];
    };
    let sure = language.plain(match incident.confidence {
        Confidence::Certain => "why.certain",
        Confidence::Likely => "why.likely",
        Confidence::Possible => "why.possible",
    });
    vec![language.say("why.cause-is", &[("cause", cause)]), sure.to_owned()]
}

/// What would help to decide, and what is not measured.
fn find_out(incident: &Incident, next_test: String, language: Language) -> Vec<String> {
    let missing: Vec<&str> = incident.not_measured.iter().map(|what| unmeasured(*what, language)).collect();
    let missing = (!missing.is_empty()).then(|| language.say("why.not-measured", &[("what", &missing.join("; "))]));
    Some(next_test).filter(|test| !test.is_empty()).into_iter().chain(missing).collect()
}

fn since(condition: &Condition, language: Language) -> String {
    condition.since_s.map_or_else(|| language.plain("why.unknown-time").to_owned(), |since| span(since, language))
}

fn drive(drive: &AboutDrive, language: Language) -> String {
    let none = language.plain("why.none");
    let known = |text: &Option<String>| text.clone().unwrap_or_else(|| none.to_owned());
    let identity = language.plain(match drive.identity {
        Identity::Strong => "why.strong",
        Identity::Medium => "why.medium",
        Identity::Weak => "why.weak",
    });
    let (tray, serial, port) = (known(&drive.tray), known(&drive.serial), known(&drive.port));
    language.say("why.drive", &[("tray", &tray), ("serial", &serial), ("port", &port), ("identity", &identity)])
}

#[cfg(test)]
mod tests {
    use super::super::alerts::list;
    use super::super::rehearsal_part::Rehearsal;
    use super::super::tests::{document, settings};
    use super::*;
    use crate::clock::Moment;
    use crate::demo::{self, heron, story};
    use crate::judge::{Memory, judge};
    use crate::printout::Screen;
    use crate::reading::{Itself, Unmounted, Writing};
    use std::time::Duration;

    fn gone(document: &Document) -> IncidentId {
        let of_tray = |incident: &&Incident| incident.trays == ["3"];
        document.incidents.iter().find(of_tray).expect("the drive in tray 3 is gone").id
    }

    #[test]
    fn a_rehearsed_incident_is_explained_as_a_real_one_and_marked() {
        let mut document = document(26, Language::ENGLISH);
        let id = gone(&document);
        let explained = |document: &Document| why(document, id, Language::ENGLISH).expect("it is open").to_string();
        let real = explained(&document);
        let (incidents, conditions) =
            (std::mem::take(&mut document.incidents), std::mem::take(&mut document.conditions));
        document.rehearsal = Some(Rehearsal { fault: "drive-gone".into(), left_s: 60, incidents, conditions });
        assert_eq!(explained(&document), format!("TEST: {real}"));
    }

    #[test]
    fn a_report_has_what_happened_the_cause_what_to_do_and_the_evidence_with_limits() {
        let document = document(26, Language::ENGLISH);
        let report = why(&document, gone(&document), Language::ENGLISH).expect("it is open");
        let report = report.to_string();
        let mut rest = report.as_str();
        for wanted in [
            "TRAY 3 GONE (critical)\nOpen for ",
            "\n\nWhat happened\n  The drive in tray 3 (serial ..LARK) ",
            "\n\nMost likely cause\n  ",
            "\n\nWhat to do\n  ",
            "\n\nWhat not to do\n  ",
            "\n\nHow to find out more\n  ",
            "\n\nEvidence\n  ",
            "\n\nDrives\n  Tray 3, serial HN24-LARK, port 0000/1c.0/00.0/ata-3. Identified by serial only.",
            "\n\nLimits\n  drive-gone, for ",
            "\n    gone for 10 s, or immediately when its pool ",
            " (default)\n",
        ] {
            let Some((_, after)) = rest.split_once(wanted) else {
                panic!("{wanted:?} is not in its place in:\n{report}")
            };
            rest = after;
        }
    }

    #[test]
    fn a_report_in_german_has_no_english_sentence() {
        let document = document(26, Language::GERMAN);
        let report = why(&document, gone(&document), Language::GERMAN).expect("it is open");
        let incident = document.incidents.iter().find(|incident| incident.id == gone(&document)).expect("it is open");
        assert!(report.to_string().contains("\n\nWas zu tun ist\n"), "{report}");
        for english in [&incident.sentence, &incident.advice, &incident.do_not, &document.conditions[0].sentence] {
            assert!(!report.to_string().contains(english.as_str()), "{english}\n{report}");
        }
    }

    #[test]
    fn what_is_printed_fits_any_terminal_and_is_ascii_where_it_must_be() {
        let document = document(26, Language::GERMAN);
        for columns in [20, 24, 30, 40, 60, 100, 160, 300] {
            let screen = Screen { columns: Some(columns), has_unicode: false, ..Screen::PIPE };
            let report = why(&document, gone(&document), Language::GERMAN).expect("it is open");
            for text in [report.on(&screen), list(&document, Language::GERMAN).on(&screen)] {
                assert!(text.is_ascii() && text.lines().all(|line| line.len() <= columns), "{columns}:\n{text}");
            }
        }
    }

    /// Names of mounts, ports and what is mounted are chosen by whoever may mount or plug.
    #[test]
    fn a_hostile_name_steers_no_terminal() {
        const HOSTILE: &str = "/srv/\x1b]0;all is well\x07\x1b[2J\u{9b}1m\u{202e}\nno incident is open";
        let settings = settings(Language::ENGLISH);
        let (now, mut memory) = (Moment::after_boot(Duration::from_secs(86_400)), Memory::for_a_single_look());
        let mut snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
        snapshot.volumes[0].mount = HOSTILE.to_owned();
        snapshot.volumes[0].writing = Writing::StoppedByError;
        snapshot.unmounted.push(Unmounted { mount: HOSTILE.into(), source: HOSTILE.into() });
        snapshot.links[0].name = HOSTILE.to_owned();
        let (verdict, _) = judge(&settings, &mut memory, now, Some(&snapshot), &Itself::default());
        let document = Document::new(&settings, &verdict, &snapshot, &demo::dawn().expect("there is a dawn"));
        assert!(!document.incidents.is_empty());
        let (language, wall) = (Language::ENGLISH, demo::dawn().expect("there is a dawn"));
        let report = |incident: &Incident| why(&document, incident.id, language).expect("it is open");
        let others = [list(&document, language), super::super::table::table(&document, language, &wall)];
        let json = Printout::json(&document).expect("it is JSON");
        for printout in document.incidents.iter().map(report).chain(others).chain([json]) {
            let text = printout.to_string();
            assert!(!text.contains(|c| crate::text::misleads(c) && c != '\n'), "{text:?}");
            assert!(!text.lines().any(|line| line.starts_with("no incident is open")), "{text}");
        }
    }
}
