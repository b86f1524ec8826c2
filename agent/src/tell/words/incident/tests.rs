//! The rules that the words of incidents keep, over every cause, surety and handling of trays.

use super::*;
use crate::reading::{DriveKey, EventKind, EventSource};
use crate::tell::words::condition::tests::both_languages::is_safe;
use crate::verdict::{Condition, Evidence, Finding, IncidentId, Place, Severity, Subject, Unmeasured, UpdateKind};
use proptest::prelude::*;
use std::collections::BTreeSet;

fn place(label: &str) -> Place {
    Place { tray: Some(label.into()), serial: Some("HN24-LARK".into()), port: Some("0000/1f.2/ata-3".into()) }
}

fn clock(_: Moment) -> String {
    "14:02:11".to_owned()
}

fn gone(drive: &Place) -> Condition {
    let finding = Finding::DriveGone { drive: drive.clone(), pool: Some("md0".into()), leave_in: Vec::new() };
    let subject = Subject::Drive(DriveKey(drive.label()));
    Condition { subject, severity: Severity::Critical, since: Moment::default(), finding }
}

fn incident(cause: Cause, confidence: Confidence, handling: Handling, drives: &[Place]) -> Incident {
    let condition = gone(&drives.first().cloned().unwrap_or_else(|| place("3")));
    let evidence = Evidence {
        at: Moment::default(),
        drive: drives.first().cloned(),
        part: String::new(),
        what: EventKind::Vanished,
        teller: EventSource::Uevent,
        count: 1,
        line: String::new(),
    };
    Incident {
        id: IncidentId(7),
        cause,
        confidence,
        severity: Severity::Critical,
        since: Moment::default(),
        conditions: vec![condition],
        drives: drives.to_vec(),
        part: Some("0000/01.0/00.0".into()),
        evidence: vec![evidence],
        unmeasured: vec![Unmeasured::TwelveVolts],
        handling,
        hot_swap: false,
        acknowledged: false,
        worst: Severity::Critical,
        updates: 1,
        last_update: Some(UpdateKind::Opened),
        reported: None,
    }
}

fn handlings() -> [Handling; 8] {
    let tray = || "B12a".to_owned();
    [
        Handling::NoTray,
        Handling::PullNothing,
        Handling::LeaveIn(["1", "2", "4"].map(str::to_owned).into()),
        Handling::LeaveIn(Vec::new()),
        Handling::Compare { serial: "LARK".into() },
        Handling::Nameless,
        Handling::MayPull { tray: tray() },
        Handling::PutBack { tray: tray() },
    ]
}

/// Every cause, with every handling, about one drive, several and none.
fn all() -> Vec<Incident> {
    let some = [vec![place("B12a")], vec![place("1"), place("B12a"), place("3")], Vec::new()];
    let sure = [Confidence::Possible, Confidence::Likely, Confidence::Certain];
    let mut all = Vec::new();
    for cause in Cause::ALL {
        for (handling, confidence) in handlings().into_iter().zip(sure.iter().cycle()) {
            all.extend(some.iter().map(|drives| incident(*cause, *confidence, handling.clone(), drives)));
        }
    }
    all
}

#[test]
fn every_cause_has_words_that_fit_and_say_what_to_do_and_what_not_and_what_would_decide() {
    for incident in all() {
        let all = incident_words(&incident, &clock, Language::ENGLISH);
        let words = &all.words;
        for line in [words.title.as_str(), &words.name, &words.brief].into_iter().chain(words.leave_in.as_deref()) {
            assert!((1..=TITLE_COLUMNS).contains(&line.chars().count()), "`{line}` does not fit: {:?}", incident.cause);
        }
        for sentence in [&words.sentence, &words.advice, &words.warning] {
            let is_sentence = sentence.ends_with('.') && !sentence.ends_with("..") && !sentence.contains("  ");
            assert!(is_sentence, "`{sentence}` is no sentence: {:?}", incident.cause);
        }
        assert!(words.warning.starts_with("Do n"), "{}", words.warning);
        assert_eq!(all.next_test.is_empty(), incident.cause == Cause::SelfEvident, "{:?}", incident.cause);
        assert_eq!(all.unmeasured, ["12 V"]);
        assert!(!all.seen.is_empty());
    }
}

#[test]
fn no_title_is_cut_even_with_the_longest_label() {
    for incident in all() {
        let title = incident_words(&incident, &clock, Language::ENGLISH).words.title;
        assert!(!title.ends_with('…'), "{title}");
    }
}

/// The guard: the one text that lets a drive be taken out belongs to the one handling that allows it, and it says to
/// switch off and to compare the serial first.
#[test]
fn taking_a_drive_out_is_said_with_its_guard_only() {
    const OUT: [&str; 5] = ["pull ", "take out", "taken out", "remove", "take it out"];
    let mut allowed = 0;
    for incident in all() {
        let IncidentWords { words, next_test, .. } = incident_words(&incident, &clock, Language::ENGLISH);
        let texts = [words.sentence.clone(), words.advice.clone(), words.brief.clone(), next_test];
        let said = texts.join(" ").to_lowercase().replace("pull nothing", "");
        let says_out = OUT.iter().any(|out| said.contains(out));
        if matches!(incident.handling, Handling::MayPull { .. }) {
            assert!(words.advice.contains("Power off") && words.advice.contains("Compare the serial"));
            allowed += 1;
        } else {
            assert!(!says_out || incident.cause == Cause::TakenOut, "{said}");
        }
    }
    assert!(allowed > 0);
}

/// The same rules for German, beside the English text of the same incident.
#[test]
fn german_fits_as_well_and_sends_nobody_to_a_drive_where_english_does_not() {
    const OUT: [&str; 5] = ["zieh", "heraus", "entnehm", "entfern", "ausbau"];
    let mut allowed = 0;
    for incident in all() {
        let [english, german] = Language::ALL.map(|language| incident_words(&incident, &clock, language));
        let words = &german.words;
        for line in [words.title.as_str(), &words.name, &words.brief].into_iter().chain(words.leave_in.as_deref()) {
            assert!((1..=TITLE_COLUMNS).contains(&line.chars().count()) && !line.ends_with('…'), "`{line}`");
        }
        for sentence in [&words.sentence, &words.advice, &words.warning] {
            let is_sentence = sentence.ends_with('.') && !sentence.ends_with("..") && !sentence.contains("  ");
            assert!(is_sentence, "`{sentence}` is no sentence: {:?}", incident.cause);
        }
        assert_eq!(german.next_test.is_empty(), english.next_test.is_empty());
        assert_eq!((german.seen.len(), words.evidence.len()), (english.seen.len(), english.words.evidence.len()));
        let of = match english.words.leave_in.as_deref() {
            Some("PULL NOTHING") => Some("NICHTS ZIEHEN"),
            Some("LEAVE IN 1 2 4") => Some("DRIN LASSEN 1 2 4"),
            Some("LEAVE ALL DRIVES IN") => Some("ALLE DRIN LASSEN"),
            Some("LOOK FOR ..LARK") => Some("GESUCHT: ..LARK"),
            Some("PUT B12a BACK NOW") => Some("B12a ZURÜCKSTECKEN"),
            Some("OFF, PUT B12a BACK") => Some("AUS, B12a ZURÜCK"),
            other => other,
        };
        assert_eq!(words.leave_in.as_deref(), of);
        let texts = [words.sentence.clone(), words.advice.clone(), words.brief.clone(), german.next_test];
        let said = texts.join(" ").to_lowercase().replace("nichts ziehen", "");
        let says_out = OUT.iter().any(|out| said.contains(out));
        if matches!(incident.handling, Handling::MayPull { .. }) {
            assert!(words.advice.starts_with("Die Box ausschalten und 30 s warten. Die Seriennummer vergleichen, "));
            allowed += 1;
        } else {
            assert!(!says_out || incident.cause == Cause::TakenOut, "{said}");
        }
    }
    assert!(allowed > 0);
}

#[test]
fn what_must_stay_in_or_go_back_comes_first() {
    let advice = |handling: Handling| {
        let words = incident_words(
            &incident(Cause::Unknown, Confidence::Possible, handling, &[place("3")]),
            &clock,
            Language::ENGLISH,
        )
        .words;
        (words.leave_in.unwrap_or_default(), words.advice)
    };
    let [_, nothing, some, all, compare, nameless, _, off_first] = handlings().map(advice);
    assert_eq!((nothing.0.as_str(), nothing.1.starts_with("Pull nothing. ")), ("PULL NOTHING", true));
    assert_eq!((some.0.as_str(), some.1.starts_with("Leave 1 2 4 in. ")), ("LEAVE IN 1 2 4", true));
    assert_eq!((all.0.as_str(), all.1.starts_with("Leave all drives in. ")), ("LEAVE ALL DRIVES IN", true));
    assert_eq!((compare.0.as_str(), compare.1.starts_with("It is not certain which tray ")), ("LOOK FOR ..LARK", true));
    assert_eq!((nameless.0.as_str(), nameless.1.starts_with("This drive reports no serial")), ("PULL NOTHING", true));
    assert_eq!(off_first.0, "OFF, PUT B12a BACK");
}

/// A drive that is pushed into a running box whose contacts are not made for it can take others along.
#[test]
fn what_goes_back_goes_back_with_the_box_off_unless_trays_may_be_changed_while_it_is_on() {
    let words = |hot_swap, language| {
        let back = Handling::PutBack { tray: "4".into() };
        let wrong = incident(Cause::WrongTray, Confidence::Possible, back, &[place("4")]);
        incident_words(&Incident { hot_swap, ..wrong }, &clock, language).words
    };
    let (on, off) = (words(true, Language::ENGLISH), words(false, Language::ENGLISH));
    assert_eq!((on.title.as_str(), on.leave_in.as_deref()), ("PUT TRAY 4 BACK", Some("PUT 4 BACK NOW")));
    assert_eq!((off.title.as_str(), off.leave_in.as_deref()), ("OFF, TRAY 4 BACK", Some("OFF, PUT 4 BACK")));
    assert!(on.advice.starts_with("Put ") && on.warning.contains("do not restart"), "{}", on.advice);
    assert!(off.advice.starts_with("Touch nothing else. Shut the box down, put "), "{}", off.advice);
    assert!(!off.warning.contains("restart"), "{}", off.warning);
    let off = words(false, Language::GERMAN);
    assert!(off.title.starts_with("AUS") && off.advice.starts_with("Sonst nichts anfassen. "), "{}", off.advice);
}

#[test]
fn whatever_a_cause_says_to_touch_is_touched_with_the_box_off() {
    for incident in all() {
        for language in Language::ALL {
            let words = incident_words(&incident, &clock, language);
            for text in [&words.words.advice, &words.words.brief, &words.next_test] {
                let says_off = ["with the box off", "ei ausgeschalteter Box"].iter().any(|off| text.contains(off));
                let is_started = text.starts_with("Start with") || text.starts_with("Mit neu gesteckter");
                // A drive that was good goes back where it was; with the box off, where its handling says so.
                let goes_back = incident.cause == Cause::WrongTray;
                assert!(
                    is_safe(text, language) || says_off || is_started || goes_back,
                    "{language:?} {:?}: {text}",
                    incident.cause
                );
            }
        }
    }
}

/// Trays, not cables: a contact made for it is in the tray only.
#[test]
fn a_tray_is_reseated_while_the_box_is_on_only_where_its_owner_said_that_it_may_be() {
    let words = |cause, hot_swap, language| {
        let one = incident(cause, Confidence::Likely, Handling::NoTray, &[place("4")]);
        incident_words(&Incident { hot_swap, ..one }, &clock, language).words
    };
    for (language, off, line) in
        [(Language::ENGLISH, "Power off first. ", "OFF: "), (Language::GERMAN, "Zuerst die Box ausschalten. ", "AUS: ")]
    {
        for (cause, hot_swap, is_off) in [
            (Cause::TrayConnection, false, true),
            (Cause::TrayConnection, true, false),
            (Cause::SelfEvident, false, true),
            (Cause::SelfEvident, true, false),
            (Cause::DataCable, true, true),
            (Cause::Supply, true, true),
            (Cause::WarmRoom, false, false),
        ] {
            let words = words(cause, hot_swap, language);
            let found = (words.advice.starts_with(off), words.brief.starts_with(line));
            assert_eq!(found, (is_off, is_off), "{cause:?}: {} {}", words.brief, words.advice);
        }
    }
}

#[test]
fn what_its_owner_may_have_wanted_says_how_to_end_it() {
    let advice = |cause| {
        incident_words(&incident(cause, Confidence::Likely, Handling::NoTray, &[place("4")]), &clock, Language::ENGLISH)
            .words
            .advice
    };
    for cause in [Cause::SelfEvident, Cause::TakenOut, Cause::Unknown] {
        assert!(advice(cause).ends_with("run `traylight ack --accept 7`."), "{}", advice(cause));
    }
    assert!(!advice(Cause::Supply).contains("ack"), "{}", advice(Cause::Supply));
}

#[test]
fn every_cause_has_words_of_its_own() {
    let one = [place("3")];
    let of = |cause: &Cause| {
        incident_words(&incident(*cause, Confidence::Likely, Handling::NoTray, &one), &clock, Language::ENGLISH)
    };
    let words: Vec<_> = Cause::ALL.iter().map(of).collect();
    let sentences: BTreeSet<&String> = words.iter().map(|one| &one.words.sentence).collect();
    assert_eq!(sentences.len(), Cause::ALL.len());
    let tests: BTreeSet<&String> = words.iter().map(|one| &one.next_test).collect();
    assert_eq!(tests.len(), Cause::ALL.len());
}

#[test]
fn a_supply_that_fails_is_told_as_one_story_of_several_trays() {
    let drives = [place("1"), place("3"), place("5")];
    let mut all = incident(Cause::Supply, Confidence::Likely, Handling::PullNothing, &drives);
    all.conditions = drives.iter().map(gone).collect();
    let words = incident_words(&all, &clock, Language::ENGLISH);
    assert_eq!(words.words.title, "3 TRAYS LOST POWER");
    let wanted =
        "3 drives disconnected together: trays 1, 3 and 5. Most likely: the 12 V supply or its wiring, not the drives.";
    assert_eq!(words.words.sentence, wanted);
    assert_eq!(words.seen, ["14:02:11 tray 1: disconnected (kernel event)"]);
}

/// One of them is gone, the other has damaged transfers.
#[test]
fn drives_are_said_to_have_gone_together_only_when_more_than_one_has_gone() {
    let drives = [place("1"), place("3")];
    for cause in [Cause::SharedPath, Cause::ControllerStopped, Cause::Supply] {
        let one = incident(cause, Confidence::Likely, Handling::PullNothing, &drives);
        let [english, german] = Language::ALL.map(|language| incident_words(&one, &clock, language).words.sentence);
        assert!(!english.contains("2 drives") && english.contains("is gone"), "{english}");
        assert!(!german.contains("2 Laufwerke"), "{german}");
    }
}

proptest! {
    #[test]
    fn whatever_drives_and_parts_are_called_the_lines_fit(
        label in "\\PC{1,4}", serial in "\\PC{0,40}", part in "\\PC{0,60}", which in 0..Cause::ALL.len(),
    ) {
        let place = Place { tray: Some(label), serial: Some(serial.clone()), port: None };
        for handling in [
            Handling::Compare { serial },
            Handling::LeaveIn(vec![place.label(); 8]),
            Handling::PutBack { tray: place.label() },
            Handling::NoTray,
        ] {
            let mut incident = incident(Cause::ALL[which], Confidence::Likely, handling, std::slice::from_ref(&place));
            incident.part = Some(part.clone());
            let words = incident_words(&incident, &clock, Language::ENGLISH).words;
            for line in [&words.title, &words.name].into_iter().chain(&words.leave_in) {
                prop_assert!(line.chars().count() <= TITLE_COLUMNS, "{line}");
            }
        }
    }
}
