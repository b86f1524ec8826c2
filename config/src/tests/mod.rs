//! The configuration file from outside: text in, settings or a report out.

mod alerts;
mod any_text;
mod canary;
mod default_file;
mod mistakes;
mod report;
mod schema;

use crate::{Settings, settle};

const DEFAULT_FILE: &str = include_str!("../../traylight.toml");
const SCHEMA: &str = include_str!("../../traylight.schema.json");

/// Settles a text that should have no problem.
fn settled(text: &str) -> Settings {
    match settle(text, "traylight.toml") {
        Ok(settings) => settings,
        Err(problems) => panic!("{problems}"),
    }
}

/// The report on a text that should have problems.
fn report(text: &str) -> String {
    match settle(text, "traylight.toml") {
        Ok(settings) => panic!("no problem was found, but {settings:#?}"),
        Err(problems) => problems.to_string(),
    }
}

/// The default file with every `# key = value` made active. The example of a shelf is indented, and stays a comment.
fn activated() -> String {
    let active = |line: &str| {
        let key = line.strip_prefix("# ").and_then(|rest| rest.split_once(" = ")).map(|(key, _)| key);
        let is_key = key.is_some_and(|key| !key.is_empty() && key.chars().all(|c| c.is_ascii_lowercase() || c == '_'));
        if is_key { line[2..].to_owned() } else { line.to_owned() }
    };
    DEFAULT_FILE.lines().map(active).collect::<Vec<_>>().join("\n")
}

/// With `TRAYLIGHT_NEW_CONFIG=1` both are written anew; look at their difference before it goes out.
#[test]
#[allow(clippy::disallowed_methods)]
fn the_shipped_files_are_made_from_the_declarations() {
    for (name, shipped, ours) in
        [("traylight.toml", DEFAULT_FILE, crate::default_file()), ("traylight.schema.json", SCHEMA, crate::schema())]
    {
        if std::env::var_os("TRAYLIGHT_NEW_CONFIG").is_some() {
            std::fs::write(format!("{}/{name}", env!("CARGO_MANIFEST_DIR")), &ours).unwrap();
        } else {
            assert!(shipped == ours, "config/{name} is not what the declarations say any more");
        }
    }
}
