//! That the tables of words and the sources fit together: every key is used, and every key that is used exists.
#![allow(clippy::disallowed_methods, reason = "the sources are read for the keys that they use")]

use super::condition::tests::all;
use super::delivery;
use super::facts;
use super::phrases::{Language, Phrases};
use crate::reading::{HealthPart, Reason, WhyMissing};
use crate::verdict::{Cause, Kind, Place};
use std::collections::BTreeSet;
use std::fs;
use std::path::Path;

/// All texts in double quotes of the sources beside the tables, but for those of tests.
fn quoted() -> BTreeSet<String> {
    fn sources(folder: &Path, found: &mut Vec<String>) {
        for entry in fs::read_dir(folder).expect("the sources are there").flatten() {
            let path = entry.path();
            let is_test = path.file_stem().is_some_and(|name| name == "tests" || name == "stories");
            match path.is_dir() {
                _ if is_test => {}
                true => sources(&path, found),
                false => found.push(fs::read_to_string(&path).unwrap_or_default()),
            }
        }
    }
    let mut found = Vec::new();
    // The judge names the words of its limits.
    for folder in ["src", "judge/src"] {
        sources(&Path::new(env!("CARGO_MANIFEST_DIR")).join(folder), &mut found);
    }
    found.iter().flat_map(|source| source.split('"')).map(str::to_owned).collect()
}

#[test]
fn every_key_is_used_and_every_key_that_is_used_exists() {
    let table = Language::ENGLISH.keys();
    let mut used = quoted();
    // Causes are found by their names in documents, kinds of condition by these and by their facts.
    let place = Place { tray: Some("3".into()), serial: None, port: None };
    let told: BTreeSet<String> = all(&place, "md0").iter().flat_map(facts::sections).collect();
    used.extend(told.iter().cloned());
    let speaks = |cause: &&Cause| cause.is_named();
    used.extend(Cause::ALL.iter().filter(speaks).map(|cause| format!("cause.{}", cause.id())));
    used.extend(crate::rehearse::RehearsedFault::all().map(|fault| format!("rehearse.fault.{fault}")));
    used.extend(delivery::keys());
    used.extend(crate::survey::keys());
    used.extend(WhyMissing::ALL.iter().map(|why| format!("missing.{}", why.id())));
    used.extend(Reason::ALL.iter().map(|reason| format!("reason.{}", reason.id())));
    used.extend(HealthPart::ALL.iter().map(|part| format!("health-part.{}", part.id())));
    let section = |key: &&'static str| key.rsplit_once('.').map(|(section, _)| section.trim_end_matches(".evidence"));
    let sections: BTreeSet<&str> = table.iter().filter_map(section).collect();
    let phrases = Language::ENGLISH.places();
    let is_used = |key: &str| {
        let Some((section, field)) = key.rsplit_once('.') else { return false };
        let evidence = section.strip_suffix(".evidence");
        let (section, field) = evidence.map_or((section, field), |section| (section, "evidence"));
        // A field of a condition or a cause is fetched with its section, or with one below it.
        let fields = ["title", "name", "sentence", "brief", "what", "advice", "warning", "evidence", "test", "off"];
        let below = format!("{section}.");
        let is_whole = fields.contains(&field) && used.iter().any(|text| text == section || text.starts_with(&below));
        let is_form = ["one", "many"].contains(&field) && used.contains(section);
        // What is told by its facts alone has phrases in its own section or below it, and cases have words.
        let (owner, phrase) = match field {
            "one" | "many" | "of" => section.rsplit_once('.').unwrap_or_default(),
            _ => (section, field),
        };
        let is_told = told.iter().any(|told| format!("{told}.").starts_with(&format!("{owner}.")));
        let is_word = told.contains(owner) && Kind::ALL.iter().all(|kind| !owner.starts_with(kind.id()));
        used.contains(key) || is_whole || is_form || is_word || (is_told && phrases.contains(phrase))
    };
    let left_over: Vec<&str> = table.iter().copied().filter(|key| !is_used(key)).collect();
    assert_eq!(left_over, [""; 0], "nothing uses these");
    let is_key = |text: &&String| {
        let section = text.split_once('.').map(|(section, _)| section);
        let looks_like_one = text.chars().all(|c| c.is_ascii_lowercase() || "-.".contains(c));
        looks_like_one && section.is_some_and(|section| table.iter().any(|key| key.starts_with(&format!("{section}."))))
    };
    let has_forms = |text: &str| table.contains(format!("{text}.one").as_str());
    let exists = |text: &str| table.contains(text) || sections.contains(text) || has_forms(text);
    let absent: Vec<&String> = used.iter().filter(is_key).filter(|text| !exists(text)).collect();
    assert_eq!(absent, [""; 0], "these are asked for and not there");
}
