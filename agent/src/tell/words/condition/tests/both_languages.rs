//! The rules that matter most, in every language: what is said fits the panel, and nobody is sent to take a drive out.

use super::*;
use traylight_config::TemperatureUnit;

/// All that words say, in one text of small letters, without the lines that forbid it.
fn said(words: &Words, language: Language) -> String {
    let brief = if words.brief == language.plain("line.pull-nothing") { "" } else { &words.brief };
    let texts = [&words.title, &words.name, &words.sentence, &words.advice, &words.warning].map(String::as_str);
    let lines = words.evidence.iter().chain(&words.leave_in).map(String::as_str);
    texts.into_iter().chain([brief]).chain(lines).collect::<Vec<_>>().join(" ").to_lowercase()
}

#[test]
fn lines_of_the_panel_fit_whole_with_the_longest_label() {
    let mut cut = BTreeSet::new();
    // Degrees Fahrenheit have a figure more.
    let fahrenheit = Language::ALL.map(|of| Language { temperatures: TemperatureUnit::Fahrenheit, ..of });
    for language in Language::ALL.into_iter().chain(fahrenheit) {
        for finding in all(&tray("B12a"), "md0") {
            let words = told_in(language, finding);
            for line in [words.title.as_str(), &words.name, &words.brief].into_iter().chain(words.leave_in.as_deref()) {
                assert!((1..=TITLE_COLUMNS).contains(&line.chars().count()), "{language:?}: `{line}`");
                if line.ends_with('…') {
                    cut.insert(line.to_owned());
                }
            }
        }
    }
    // One loses what it can spare: a count that the sentence has as well.
    let spared = ["FACH B12a TIMEOUT +1…", "TRAY B12a TIMED OUT…"].map(str::to_owned);
    assert_eq!(cut, BTreeSet::from(spared));
}

#[test]
fn every_sentence_is_one_and_says_what_is_measured() {
    for language in Language::ALL {
        for finding in all(&tray("B12a"), "md0") {
            let words = told_in(language, finding.clone());
            for sentence in [&words.sentence, &words.advice, &words.warning] {
                let is_sentence = sentence.ends_with('.') && !sentence.ends_with("..") && !sentence.contains("  ");
                assert!(is_sentence, "{language:?}: `{sentence}` is no sentence: {finding:?}");
            }
            let begins = words.sentence.starts_with(char::is_uppercase);
            assert!(begins || finding.drive().is_none(), "{}", words.sentence);
            assert!(!words.evidence.is_empty() && words.evidence.iter().all(|found| !found.is_empty()), "{finding:?}");
        }
    }
}

/// A translation may forbid what the English text does not speak of, but it never sends a hand to a drive.
#[test]
fn nobody_is_told_to_take_a_drive_out_in_any_language() {
    // Words for taking out, and how they are forbidden.
    let german = ["zieh", "zog", "heraus", "entfern", "entnehm", "rausnehm", "ausbau"];
    let forbids = ["kein weiteres laufwerk herausnehmen", "keine laufwerke herausnehmen", "herausfinden"];
    for (english, finding) in all(&tray("3"), "md0").into_iter().map(|finding| (told_of(finding.clone()), finding)) {
        assert!(!said(&english, Language::ENGLISH).contains("pull"), "{english:?}");
        let words = told_in(Language::GERMAN, finding);
        let mut said = said(&words, Language::GERMAN);
        for forbidden in forbids {
            said = said.replace(forbidden, "");
        }
        // A pool or board may draw too much current; nothing else is drawn.
        let found: Vec<&&str> = german.iter().filter(|word| said.contains(**word)).collect();
        assert!(found.is_empty(), "{found:?} in {said}");
    }
}

/// What touches a plug, a cable, a card or a drive, and what only speaks of one.
const TOUCHES: [&[&str]; 2] = [
    &["reseat", "replug", "plug", "cable", "ribbon", "replace the d", "replace it, and"],
    &["stecke", "kabel", "flachband", "laufwerk tauschen", "gerät ersetzen"],
];
const HARMLESS: [&[&str]; 2] = [
    &[
        "network cable",
        "cloth, cables",
        "(cable, power, drive)",
        "errors to the cable",
        "check the cable",
        "at the last drive's plug",
    ],
    &[
        "netzwerkkabel",
        "tücher, kabel",
        "(kabel, strom, laufwerk)",
        "fehler für das kabel",
        "snapshots stecke",
        "am stecker des letzten laufwerks",
    ],
];
const OFF: [&[&str]; 2] = [
    &["power off", "off", "shut down"],
    &["ausschalt", "aus:", "aus,", "dann aus", "bei ausgeschalt", "herunterfahren"],
];

/// True when a text says to switch off before it says to touch anything.
pub(in crate::tell) fn is_safe(text: &str, language: Language) -> bool {
    let of = |lists: [&'static [&'static str]; 2]| lists[usize::from(language == Language::GERMAN)];
    let mut said = text.to_lowercase();
    of(HARMLESS).iter().for_each(|harmless| said = said.replace(harmless, ""));
    let touched = of(TOUCHES).iter().filter_map(|touch| said.find(touch)).min();
    let off = of(OFF).iter().filter_map(|off| said.find(off)).min();
    touched.is_none_or(|touched| off.is_some_and(|off| off < touched))
}

#[test]
fn whatever_touches_plugs_cables_or_drives_begins_with_switching_off() {
    for language in Language::ALL {
        // On the panel a network cable is a cable.
        let all = all(&tray("3"), "md0").into_iter().filter(|finding| finding.kind() != Kind::LinkTrouble);
        for words in all.map(|finding| told_in(language, finding)) {
            assert!(is_safe(&words.advice, language), "{language:?}: {}", words.advice);
            assert!(is_safe(&words.brief, language), "{language:?}: {}", words.brief);
        }
    }
}

#[test]
fn what_must_stay_in_is_said_first_in_german_too() {
    let mut told = 0;
    for finding in all(&tray("3"), "md0") {
        let english = told_of(finding.clone());
        let german = told_in(Language::GERMAN, finding);
        let line = english.leave_in.as_deref().map(|line| match line {
            "LEAVE IN 1 2 4" => "DRIN LASSEN 1 2 4",
            _ => "ALLE DRIN LASSEN",
        });
        assert_eq!(german.leave_in.as_deref(), line, "{}", german.title);
        let is_first = german.advice.starts_with("1 2 4 drin lassen. ");
        assert_eq!(is_first, english.advice.starts_with("Leave 1 2 4 in. "), "{}", german.advice);
        assert_eq!(german.brief == "NICHTS ZIEHEN", english.brief == "PULL NOTHING", "{}", german.title);
        told += usize::from(is_first);
    }
    assert_eq!(told, 2);
}

#[test]
fn a_german_sentence_reads_like_one() {
    let mut all = all(&tray("3"), "md0").into_iter().map(|finding| told_in(Language::GERMAN, finding));
    let mut of = |name: &str| all.find(|words| words.name == name).expect(name);
    assert_eq!(of("md0 Rebuild").sentence, "md0: Rebuild läuft 62%; noch etwa 6 h (5 bis 9).");
    assert_eq!(of("FACH 3 FEHLT").sentence, "Laufwerk in Fach 3 (Seriennr. ..LARK) fehlt.");
    let degraded = of("md0 DEGRADIERT");
    assert_eq!(degraded.title, "md0 UNGESCHÜTZT");
    assert_eq!(
        degraded.sentence,
        "md0 (raid6) läuft ohne 1 von 5 Laufwerken: Laufwerk in Fach 3 (Seriennr. ..LARK). Der Pool verkraftet \
         keinen weiteren Ausfall; ein Rebuild läuft."
    );
    assert_eq!(
        of("12V ZU NIEDRIG").sentence,
        "Die 12V-Schiene liegt bei 11,24 V, es sollten 11,40 V bis 12,60 V sein."
    );
}
