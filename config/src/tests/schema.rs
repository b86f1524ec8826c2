//! The schema says the same as the code. The outside judge is the jsonschema crate (JSON Schema, draft 2020-12).

use super::{DEFAULT_FILE, SCHEMA, activated, settled};
use crate::{Settings, settle};
use serde_json::Value;
use std::collections::{BTreeMap, BTreeSet};

pub(super) fn schema() -> Value {
    serde_json::from_str(SCHEMA).unwrap()
}

fn json(text: &str) -> Value {
    serde_json::to_value(toml::from_str::<toml::Table>(text).unwrap()).unwrap()
}

/// Every section of the schema: its path and its properties. A list of sections ends in `[]`.
pub(super) fn sections(schema: &Value) -> BTreeMap<String, serde_json::Map<String, Value>> {
    fn walk(path: &str, schema: &Value, found: &mut BTreeMap<String, serde_json::Map<String, Value>>) {
        let Some(properties) = schema["properties"].as_object() else { return };
        assert_eq!(schema["additionalProperties"], false, "[{path}] lets unknown keys pass");
        found.insert(path.to_owned(), properties.clone());
        for (key, property) in properties {
            let inner = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
            walk(&inner, property, found);
            walk(&format!("{inner}[]"), &property["items"], found);
        }
    }
    let mut found = BTreeMap::new();
    walk("", schema, &mut found);
    found
}

/// A file with one line in the section of that path, and all that the section needs besides.
pub(super) fn file_with(path: &str, line: &str) -> String {
    match path {
        "" => line.to_owned(),
        "shelf[]" => format!("[[shelf]]\n{line}\n[[shelf.tray]]\nlabel = 'A1'\n"),
        "shelf[].tray[]" => format!("[[shelf]]\nname = 'top'\n[[shelf.tray]]\n{line}\n"),
        "panel.more[]" => format!("[[panel.more]]\nbus = 'b'\n{line}\n").replace("bus = 'b'\nbus = ", "bus = "),
        "button[]" => {
            let rest = ["chip = 'c'", "line = 1"]
                .into_iter()
                .filter(|other| other.split(' ').next() != line.split(' ').next());
            format!("[[button]]\n{line}\n{}\n", rest.collect::<Vec<_>>().join("\n"))
        }
        "alerts.mail[]" => {
            format!("[[alerts.mail]]\n{line}\nname = 'm'\nserver = 'localhost'\nfrom = 'h@x.org'\nto = ['k@x.org']\n")
        }
        "alerts.webhook[]" => format!("[[alerts.webhook]]\n{line}\nname = 'w'\nurl = 'http://h'\n"),
        "alerts.mqtt[]" => format!("[[alerts.mqtt]]\n{line}\nname = 'q'\nserver = 's'\n"),
        "alerts.command[]" => format!("[[alerts.command]]\n{line}\nname = 'c'\nprogram = '/p'\n"),
        _ => format!("[{path}]\n{line}\n"),
    }
}

/// The keys the code knows, from its own answer to an unknown one.
pub(super) fn keys_of_the_code(path: &str) -> BTreeSet<String> {
    let problems = settle(&file_with(path, "zzzzzzzz = 1"), "f").unwrap_err();
    let message =
        problems.as_slice().iter().map(|problem| &problem.message).find(|message| message.contains("zzzzzzzz"));
    let (_, keys) = message.unwrap().split_once("expected one of ").unwrap();
    keys.split(", ").map(str::to_owned).collect()
}

#[test]
fn the_schema_is_a_schema() {
    jsonschema::draft202012::meta::validate(&schema()).unwrap();
}

#[test]
fn the_schema_and_the_code_know_the_same_keys() {
    let sections = sections(&schema());
    assert!(sections.len() >= 24, "{}", sections.len());
    for (path, properties) in sections {
        let keys: BTreeSet<String> = properties.keys().cloned().collect();
        assert_eq!(keys, keys_of_the_code(&path), "in [{path}]");
    }
}

#[test]
fn the_default_file_is_valid_and_shows_the_defaults_of_the_schema() {
    let validator = jsonschema::validator_for(&schema()).unwrap();
    assert!(validator.is_valid(&json(DEFAULT_FILE)));
    let shown = json(&activated());
    validator.validate(&shown).unwrap();

    let mut compared = 0;
    for (path, properties) in sections(&schema()) {
        for (key, property) in properties {
            // The file shows no default of a section that can be there several times.
            let Some(default) = property.get("default").filter(|_| !path.contains("[]")) else { continue };
            let pointer = format!("/{}/{key}", path.replace('.', "/"));
            assert_eq!(shown.pointer(&pointer), Some(default), "{pointer}");
            compared += 1;
        }
    }
    assert!(compared >= 73, "{compared}");
}

#[test]
fn a_range_ends_at_the_same_number_in_both() {
    let mut compared = 0;
    for (path, properties) in sections(&schema()) {
        for (key, property) in properties {
            let refused = |value: f64| {
                let report = settle(&file_with(&path, &format!("{key} = {value}")), "f");
                report.is_err_and(|problems| problems.to_string().contains("number from"))
            };
            for (bound, outwards) in [("minimum", -1.0), ("maximum", 1.0)] {
                let Some(bound) = property[bound].as_f64() else { continue };
                let step = if property["type"] == "integer" { 1.0 } else { 0.01 };
                assert!(!refused(bound), "{path}.{key} = {bound}");
                assert!(refused(bound + step * outwards), "{path}.{key} beyond {bound}");
                compared += 1;
            }
        }
    }
    assert!(compared >= 84, "{compared}");
}

/// Also in sections that the default file does not show. Otherwise a default that cannot be read would go unnoticed.
#[test]
fn every_default_is_in_force_where_nothing_is_written() {
    let unwritten = |text: &str| Settings { written: BTreeSet::new(), ..settled(text) };
    for (path, properties) in sections(&schema()) {
        for (key, property) in properties {
            let Some(default) = property.get("default") else { continue };
            let written = unwritten(&file_with(&path, &format!("{key} = {default}")));
            assert_eq!(written, unwritten(&file_with(&path, "")), "{path}.{key} = {default}");
        }
    }
}

#[test]
fn every_word_of_the_schema_is_understood() {
    for (path, properties) in sections(&schema()) {
        for (key, property) in properties {
            for word in property["enum"].as_array().into_iter().flatten() {
                settled(&file_with(&path, &format!("{key} = {word}")));
            }
            for word in property["items"]["enum"].as_array().into_iter().flatten() {
                settled(&file_with(&path, &format!("{key} = [{word}]")));
            }
        }
    }
}

#[test]
fn what_the_schema_refuses_the_code_refuses_too() {
    let validator = jsonschema::validator_for(&schema()).unwrap();
    for text in [
        "colour = 1",
        "panel = 1",
        "shelf = {}",
        "[[shelf]]\nname = 'top'",
        "[[shelf]]\n[[shelf.tray]]\nlabel = 'A1'",
        "[[shelf]]\nname = 'top'\n[[shelf.tray]]\nserial = 'X'",
        "[[shelf]]\nname = 'top'\n[[shelf.tray]]\nlabel = 'A1'\nserial = 'X'\nport = 'Y'",
        "[[shelf]]\nname = 'top'\n[[shelf.tray]]\nlabel = 'five5'",
        "[panel]\naddress = 0x27",
        "[panel]\npages = []",
        "[panel]\npages = ['box', 'box']",
        "[panel]\nrotation = 45",
        "[panel]\ncontroller = 'sh1106'\nsize = '128x32'",
        "[panel]\ndim_from = 'dusk'\ndim_until = '06:00'",
        "[panel]\ndark_from = '23:00'",
        "[panel]\nposition = 'here'",
        "[[panel.more]]\naddress = 0x3D",
        "[[button]]\nchip = 'c'",
        "[[button]]\nchip = 'c'\nline = 1\ndoes = 'ring'",
        "[watch]\nlinks = ['eth0:1']",
        "[watch]\nleave_out_volumes = ['/srv/']",
        "[watch]\nalways_on_fans = ['fan1']",
        "[grace]\ndrives = 90",
        "[grace]\ndrives = 'soon'",
        "[self_test]\nlong_every_days = 366",
        "[self_test]\nshort_every_days = '7 days'",
        "[alerts]\nquiet_from = '22:00'",
        "[alerts]\nquiet_from = '24:00'\nquiet_until = '07:00'",
        "[alerts]\nheartbeat_url = 'hut.example'",
        "[alerts]\nmail = {}",
        "[[alerts.mail]]\nname = 'm'\nserver = 's'\nfrom = 'h@x.org'",
        "[[alerts.mail]]\nname = 'm'\nserver = 's'\nfrom = 'h@x.org'\nto = []",
        "[[alerts.mail]]\nname = 'm'\nserver = 's'\nfrom = 'h@x.org'\nto = ['nobody']",
        "[[alerts.mail]]\nname = 'm'\nserver = 's'\nfrom = 'h@x.org'\nto = ['k@x.org']\nsecurity = 'none'",
        "[[alerts.mail]]\nname = 'm'\nserver = 's'\nfrom = 'h@x.org'\nto = ['k@x.org']\nsecurity = 'unencrypted'",
        "[[alerts.mail]]\nname = 'm'\nserver = 's'\nfrom = 'h@x.org'\nto = ['k@x.org']\nuser = 'u'",
        "[[alerts.webhook]]\nname = 'w'\nurl = 'http://h'\ntoken_file = '/t'\ntoken_credential = 't'",
        "[[alerts.webhook]]\nname = 'w'\nurl = 'http://h/#top'",
        "[[alerts.mqtt]]\nname = 'q'\nserver = 's'\ntopic = 'box/#'",
        "[[alerts.mqtt]]\nname = 'q'\nserver = 's'\npassword_file = '/p'",
        "[[alerts.command]]\nname = 'c'\nprogram = 'ring'",
        "[[alerts.command]]\nname = 'a b'\nprogram = '/ring'",
    ] {
        assert!(!validator.is_valid(&json(text)), "the schema lets pass {text:?}");
        assert!(settle(text, "f").is_err(), "the code lets pass {text:?}");
    }
}
