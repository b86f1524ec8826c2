//! A configuration with every key that there is, and with each of them changed: for stories of what a reload brings into
//! force. A key of the schema that is not in it fails the first of these stories.

use serde_json::Value;
use std::collections::BTreeSet;
use traylight_config::Settings;

const FILE: &str = include_str!("every_key.toml");

/// A file in which one key is changed.
pub struct Changed {
    /// Its path, such as `alerts.mail.port`.
    pub key: String,
    /// What the file says then.
    pub settings: Settings,
}

fn settled(text: &str) -> Settings {
    traylight_config::settle(text, "every_key.toml").unwrap_or_else(|problems| panic!("{problems}\n{text}"))
}

/// What the file says as it is.
pub fn before() -> Settings {
    settled(FILE)
}

/// The file once for each key, with that key changed.
pub fn changed() -> Vec<Changed> {
    let lines: Vec<&str> = FILE.lines().collect();
    let (mut section, mut all) = (String::new(), Vec::new());
    for (index, line) in lines.iter().enumerate() {
        if line.starts_with('[') {
            section = line.trim_matches(['[', ']']).to_owned();
        }
        let Some((old, new)) = line.split_once(" #> ") else { continue };
        let (key, _) = old.split_once(" = ").unwrap_or_else(|| panic!("no value: {line}"));
        let mut lines: Vec<String> = lines.iter().map(|line| (*line).to_owned()).collect();
        lines[index] = format!("{key} = {new}");
        all.push(Changed { key: format!("{section}.{key}"), settings: settled(&lines.join("\n")) });
    }
    all
}

/// Every key of the schema, by its path.
fn keys(path: &str, schema: &Value, found: &mut BTreeSet<String>) {
    for (key, property) in schema["properties"].as_object().into_iter().flatten() {
        let inner = if path.is_empty() { key.clone() } else { format!("{path}.{key}") };
        let inside = if property["items"]["properties"].is_object() { &property["items"] } else { property };
        if inside["properties"].is_object() {
            keys(&inner, inside, found);
        } else {
            found.insert(inner);
        }
    }
}

#[test]
fn every_key_of_the_schema_is_changed_and_makes_a_difference() {
    let schema: Value = serde_json::from_str(&traylight_config::schema()).expect("the schema is JSON");
    let mut wanted = BTreeSet::new();
    keys("", &schema, &mut wanted);
    let (before, changed) = (before(), changed());
    let found: BTreeSet<String> = changed.iter().map(|changed| changed.key.clone()).collect();
    assert_eq!(found, wanted, "the keys of every_key.toml, and those of the schema");
    assert!(found.len() > 130, "{}", found.len());
    for Changed { key, settings } in changed {
        assert_ne!(settings, before, "{key} reaches no setting");
        assert_eq!(settings.written, before.written, "{key} is written in both");
    }
}
