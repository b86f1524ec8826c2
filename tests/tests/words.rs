//! The words that a person reads: what must not come back in them, and that they are in the tables of both languages.

#![allow(clippy::unwrap_used, clippy::disallowed_methods, reason = "the texts are read as files")]

use std::path::Path;
use traylight_tests::{literals, texts};

/// Riddles, personification and translated turns of phrase. In small letters; whole words.
const ENGLISH: &[&str] = &[
    "a way out",
    "anew",
    "as it stands",
    "at once",
    "bad place",
    "bad places",
    "behind it is not clear",
    "does not let us",
    "does not take",
    "for want of",
    "further loss",
    "further losses",
    "glass",
    "goes on",
    "heads for",
    "in force",
    "in order",
    "is heard",
    "is taken again",
    "is told",
    "its owner",
    "makes no sense",
    "misses",
    "nobody says",
    "nonsense",
    "nothing was heard",
    "room of",
    "said nothing",
    "seen in part",
    "spoke",
    "takes alerts",
    "tells",
    "that there is",
    "the way of the air",
    "the way to it",
    "told",
    "way out",
    "went",
    "whoever",
    "who asks",
];

/// The same in German.
const GERMAN: &[&str] = &[
    "auf dem weg dorthin",
    "der weg der luft",
    "die luft nimmt",
    "geduld",
    "gesagt hat",
    "macht ohne",
    "nichts zu hören",
    "schlechte stelle",
    "schlechte stellen",
    "schlechten stelle",
    "steuert auf",
    "weg dorthin",
];

/// Where such a word is right: a part of the text, and why.
const ALLOWED: &[(&str, &str)] = &[
    ("CREATE TABLE", "names of columns are read by nobody but the store"),
    ("What went wrong", "as everybody says it"),
];

/// Folders of sources whose literals are log messages, errors and documents.
const SOURCES: [&str; 6] =
    ["agent/src", "agent/judge/src", "agent/data/src", "agent/parse/src", "config/src", "display/src"];

#[test]
fn words_of_the_old_dialect_do_not_come_back() {
    let mut wrong = Vec::new();
    let [english, german] =
        [ENGLISH, GERMAN].map(|barred| barred.iter().map(|word| format!(" {word} ")).collect::<Vec<_>>());
    let mut look = |place: &str, text: &str, barred: &[String]| {
        let small = flat(&text.to_lowercase());
        for word in barred.iter().filter(|word| small.contains(*word)) {
            if !ALLOWED.iter().any(|(part, _)| text.contains(part)) {
                wrong.push(format!("{place}: \"{}\" in: {text}", word.trim()));
            }
        }
    };
    for entry in texts::tables() {
        let place = format!("[{}] {}", entry.section, entry.field);
        look(&place, &entry.english, &english);
        look(&place, &entry.german, &german);
    }
    for outside in texts::outside() {
        outside.text.lines().for_each(|line| look(&outside.source, line, &english));
    }
    for name in texts::pages() {
        texts::file(&name).lines().for_each(|line| look(&name, line, &english));
    }
    for name in SOURCES.iter().flat_map(|folder| texts::sources(folder)) {
        for literal in literals::texts(&texts::file(&name)) {
            look(&format!("{name}:{}", literal.line), &literal.text, &english);
        }
    }
    assert!(
        wrong.is_empty(),
        "{} texts, say it as somebody who builds storage boxes would:\n{}",
        wrong.len(),
        wrong.join("\n")
    );
}

/// The text without its places, with one space around each word.
fn flat(text: &str) -> String {
    let pieces = text.split('{').enumerate();
    let outside =
        pieces.map(|(nth, piece)| if nth == 0 { piece } else { piece.split_once('}').map_or("", |(_, rest)| rest) });
    let letters: String = outside
        .collect::<Vec<_>>()
        .join(" ")
        .chars()
        .map(|c| if c.is_alphanumeric() || c == '\'' { c } else { ' ' })
        .collect();
    format!(" {} ", letters.split_whitespace().collect::<Vec<_>>().join(" "))
}

/// Where English sentences may stand outside the tables, and why.
const ENGLISH_FOR_GOOD: &[(&str, &str)] = &[
    ("agent/judge/src/memory", "names of what is counted, for the log"),
    ("agent/judge/src/play", "what is pretended"),
    ("agent/src/run/keeping.rs", "log lines"),
    ("agent/src/run/mod.rs", "log lines"),
    ("agent/src/run/parts", "log lines"),
    ("agent/src/send/channels/fault.rs", "the form of an error that is never printed"),
    ("agent/src/send/channels/from_settings.rs", "log lines"),
    ("agent/src/send/channels/issuer.rs", "the form of an error that is never printed"),
    (
        "agent/src/send/channels/mqtt_packet",
        "the names of the standard's codes, quoted as the broker's reply, and errors",
    ),
    ("agent/src/send/sender/mod.rs", "a log line"),
    ("agent/src/serve/control.rs", "errors"),
    ("agent/src/serve/listener.rs", "errors"),
    ("agent/src/serve/socket.rs", "errors"),
    ("agent/src/show/buttons", "errors"),
    ("agent/src/show/log_thread.rs", "log lines"),
    ("agent/src/show/panel/bus.rs", "errors"),
    ("agent/src/tell/incident_log.rs", "log lines"),
    ("agent/src/tell/log.rs", "log lines"),
    ("agent/src/tell/message.rs", "an example for tests"),
    ("agent/src/tell/words/facts.rs", "an assertion"),
    ("agent/src/tell/words/limit/edges", "tests"),
    ("agent/src/tell/words/keys_in_use.rs", "a test"),
    ("agent/src/tell/words/phrases", "assertions"),
];

#[test]
fn what_a_person_reads_is_in_the_tables_of_both_languages() {
    let mut wrong = Vec::new();
    let folders = ["tell", "show", "serve", "send", "run"].map(|folder| format!("agent/src/{folder}"));
    let folders = folders.into_iter().chain(["agent/judge/src".to_owned()]);
    for name in folders.flat_map(|folder| texts::sources(&folder)) {
        if ENGLISH_FOR_GOOD.iter().any(|(file, _)| name.starts_with(file)) {
            continue;
        }
        let of = |literal: literals::Literal| format!("{name}:{}: {}", literal.line, literal.text);
        wrong.extend(literals::texts(&texts::file(&name)).into_iter().map(of));
    }
    assert!(wrong.is_empty(), "{} texts outside the tables of words:\n{}", wrong.len(), wrong.join("\n"));
    for (file, why) in ENGLISH_FOR_GOOD {
        assert!(Path::new(&texts::project()).join(file).exists(), "{file} is not there any more: {why}");
    }
}
