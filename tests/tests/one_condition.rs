//! A condition is declared in few places: its variant of `Finding`, the file of its rule, and a section in each table of
//! words. Whatever else names it has a reason that stands here.

#![allow(clippy::unwrap_used, reason = "a failing step fails the test")]
#![allow(clippy::disallowed_methods, reason = "the sources are read as files")]

use std::collections::{BTreeMap, BTreeSet};
use std::fs;
use std::path::{Path, PathBuf};
use traylight::verdict::Kind;

const DECLARED: &str = "agent/data/src/verdict/finding.rs";
const RULES: &str = "agent/judge/src/conditions/";
const TABLES: [&str; 2] = ["agent/words/english.toml", "agent/words/german.toml"];

/// Where kinds may be named, and why.
const MAY_NAME: &[(&str, &str)] = &[
    (DECLARED, "declares them"),
    ("agent/data/src/verdict/accept.rs", "what its owner can agree with"),
    ("agent/data/src/verdict/aliases.rs", "which are names of one trouble"),
    ("agent/data/src/verdict/news.rs", "a pool that is being filled, which is no news"),
    (RULES, "the rules, which look at what others hold"),
    ("agent/judge/src/memory/", "what is learned while something holds"),
    ("agent/judge/src/causes/", "what several kinds point to together"),
    ("agent/judge/src/incidents/", "where a pool's conditions go, and what may be done with trays"),
    ("agent/judge/src/agreement.rs", "what agreeing with one changes"),
    ("agent/judge/src/shelves.rs", "a tray whose drive is gone"),
    ("agent/judge/src/lib.rs", "what ends with the absence of a drive"),
    ("agent/src/rehearse/causes.rs", "causes that are played as one of their signs"),
    ("agent/src/serve/shelf_part.rs", "a tray whose drive is gone"),
    ("agent/src/tell/words/condition/mod.rs", "those whose words need arithmetic"),
    ("agent/src/tell/incident_log.rs", "what an incident's lines are about"),
    ("agent/src/tell/words/incident/mod.rs", "what an incident's lines are about"),
    (TABLES[0], "their words"),
    (TABLES[1], "their words"),
];

fn top() -> PathBuf {
    Path::new(env!("CARGO_MANIFEST_DIR")).join("..")
}

/// The product's sources and tables below a folder, without tests and stories.
fn texts(folder: &Path, found: &mut BTreeMap<String, String>) {
    for entry in fs::read_dir(folder).unwrap().flatten() {
        let path = entry.path();
        let stem = path.file_stem().unwrap_or_default().to_string_lossy().into_owned();
        let is_test = ["tests", "stories", "endings", "target"].contains(&stem.as_str());
        let is_text = path.extension().is_some_and(|end| end == "rs" || end == "toml");
        if path.is_dir() && !is_test {
            texts(&path, found);
        } else if is_text && !is_test {
            let text = fs::read_to_string(&path).unwrap();
            let code = text.split("#[cfg(test)]").next().unwrap_or_default().to_owned();
            found.insert(path.strip_prefix(top()).unwrap().to_string_lossy().into_owned(), code);
        }
    }
}

/// The files that name a kind: its variant, or its section.
fn naming(kind: Kind, texts: &BTreeMap<String, String>) -> BTreeSet<&str> {
    let (variant, section) = (format!("{kind:?}"), format!("[{}", kind.id()));
    let is_named = |text: &str, name: &str| {
        let ends = |after: &str| !after.starts_with(|next: char| next.is_alphanumeric() || next == '-' || next == '_');
        text.match_indices(name).any(|(at, _)| ends(&text[at + name.len()..]))
    };
    let names = |path: &str, text: &str| match path {
        DECLARED => is_named(text, &variant),
        _ if path.ends_with(".toml") => is_named(text, &section),
        _ => ["Kind", "Finding"].iter().any(|of| is_named(text, &format!("{of}::{variant}"))),
    };
    texts.iter().filter(|(path, text)| names(path, text)).map(|(path, _)| path.as_str()).collect()
}

fn product() -> BTreeMap<String, String> {
    let mut found = BTreeMap::new();
    texts(&top().join("agent"), &mut found);
    found
}

#[test]
fn a_condition_is_one_file_a_variant_and_its_words() {
    let texts = product();
    let wanted = [DECLARED, "agent/judge/src/conditions/warmth.rs", TABLES[0], TABLES[1]];
    assert_eq!(naming(Kind::DriveCold, &texts), BTreeSet::from(wanted));
}

#[test]
fn what_names_a_kind_elsewhere_has_its_reason() {
    let texts = product();
    let may = |path: &str| MAY_NAME.iter().any(|(place, _)| path.starts_with(place));
    let mut wrong = Vec::new();
    for &kind in Kind::ALL {
        let named = naming(kind, &texts);
        wrong.extend(named.iter().filter(|path| !may(path)).map(|path| format!("{path} names {}", kind.id())));
        let rules = named.iter().filter(|path| path.starts_with(RULES)).count();
        if rules == 0 || !TABLES.iter().all(|table| named.contains(table)) {
            wrong.push(format!("{} has no rule or no words", kind.id()));
        }
    }
    assert_eq!(wrong, [""; 0]);
}
