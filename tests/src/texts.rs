//! Every text that a person reads, for the sheet of texts and for the tests of words.

#![allow(clippy::expect_used, clippy::disallowed_methods, reason = "texts are read from the tree and from the program")]

use crate::binary::traylight;
use crate::samples::sample;
use std::collections::BTreeMap;
use std::path::PathBuf;
use std::process::Command;

/// Columns of a line of the panel.
const PANEL_COLUMNS: usize = 21;

/// The columns of the help on the sheet: wide, so that a sentence stays on its line.
const COLUMNS: &str = "200";

/// A text of the word tables in both languages, with its places open.
#[derive(Debug)]
pub struct Entry {
    /// Its section, such as `drive-hot.ahead`.
    pub section: String,
    /// Its key in the section, such as `title` or `evidence.0`.
    pub field: String,
    /// In English.
    pub english: String,
    /// In German.
    pub german: String,
}

/// A text outside the word tables.
#[derive(Debug)]
pub struct Outside {
    /// Where it is: a file or a command.
    pub source: String,
    /// The text.
    pub text: String,
}

/// The folder of the whole project.
pub fn project() -> PathBuf {
    PathBuf::from(concat!(env!("CARGO_MANIFEST_DIR"), "/.."))
}

/// A file of the project.
pub fn file(name: &str) -> String {
    std::fs::read_to_string(project().join(name)).unwrap_or_else(|error| format!("{name}: {error}"))
}

/// The pages in Markdown that come with the program, and its units.
pub fn pages() -> Vec<String> {
    let mut names = vec!["README.md".to_owned(), "CHANGELOG.md".to_owned()];
    names.extend(below("agent/guide").into_iter().filter(|name| name.ends_with(".md")));
    names.extend(below("systemd"));
    names
}

/// The sources in a folder of the product, without those of its tests.
pub fn sources(folder: &str) -> Vec<String> {
    let is_test = |name: &str| name.contains("/tests") || name.contains("/stories") || name.ends_with("/testing.rs");
    below(folder).into_iter().filter(|name| name.ends_with(".rs") && !is_test(name)).collect()
}

fn below(folder: &str) -> Vec<String> {
    let mut names = Vec::new();
    for entry in std::fs::read_dir(project().join(folder)).expect("the folder is there").flatten() {
        let name = format!("{folder}/{}", entry.file_name().to_string_lossy());
        if entry.path().is_dir() { names.extend(below(&name)) } else { names.push(name) }
    }
    names.sort();
    names
}

/// The word tables, in the order of the English file.
pub fn tables() -> Vec<Entry> {
    let english = file("agent/words/english.toml");
    let german = texts_of(&file("agent/words/german.toml"));
    let place_of = |section: &str, field: &str| {
        let start = english.find(&format!("[{section}]\n")).unwrap_or(english.len());
        let name = field.split('.').next().unwrap_or_default();
        (start, english[start..].find(&format!("\n{name}")).unwrap_or(english.len()))
    };
    let entry = |(key, text): (String, String)| {
        let (section, field) = split(&key);
        let german = german.get(&key).cloned().unwrap_or_default();
        Entry { section: section.to_owned(), field: field.to_owned(), english: text, german }
    };
    let mut entries: Vec<Entry> = texts_of(&english).into_iter().map(entry).collect();
    entries.sort_by_key(|entry| place_of(&entry.section, &entry.field));
    entries
}

/// Section and field of a key; a line of evidence and the two forms of a count are parts of a field.
fn split(key: &str) -> (&str, &str) {
    let (above, last) = key.rsplit_once('.').unwrap_or(("", key));
    let is_part = last.parse::<usize>().is_ok() || ["one", "many"].contains(&last) && above != "drive";
    let section = if is_part { above.rsplit_once('.').unwrap_or_default().0 } else { above };
    (section, key[section.len()..].trim_start_matches('.'))
}

fn texts_of(table: &str) -> BTreeMap<String, String> {
    fn put(key: String, value: toml::Value, texts: &mut BTreeMap<String, String>) {
        let below = |name: &str| if key.is_empty() { name.to_owned() } else { format!("{key}.{name}") };
        match value {
            toml::Value::Table(inner) => inner.into_iter().for_each(|(name, value)| put(below(&name), value, texts)),
            toml::Value::Array(lines) => {
                lines.into_iter().enumerate().for_each(|(line, value)| put(below(&line.to_string()), value, texts));
            }
            toml::Value::String(text) => drop(texts.insert(key, text)),
            _ => {}
        }
    }
    let mut texts = BTreeMap::new();
    put(String::new(), toml::Value::Table(table.parse().expect("the word tables are TOML")), &mut texts);
    texts
}

/// The texts of both languages with sample values, in lines to be read aloud. A place without a sample stays open.
pub fn sheet() -> String {
    let entries = tables();
    let mut sheet = String::new();
    let mut section = "";
    for entry in entries.iter().filter(|entry| entry.field != "off") {
        if entry.section != section {
            section = &entry.section;
            sheet.push_str(&format!("\n[{section}]\n"));
        }
        sheet.push_str(&format!("{}\n", entry.field));
        for german in [false, true] {
            let text = filled(&entries, entry, german, 0);
            let columns = text.chars().count();
            let line = match entry.is_panel_line() {
                true if columns > PANEL_COLUMNS => format!("{text}   ({columns} columns, cut to {PANEL_COLUMNS})"),
                true => format!("{text}   ({columns})"),
                false => text,
            };
            sheet.push_str(&format!("    {}  {line}\n", if german { "de" } else { "en" }));
        }
    }
    for outside in outside() {
        sheet.push_str(&format!("\n==== {} ====\n\n{}\n", outside.source, outside.text.trim_end()));
    }
    sheet
}

impl Entry {
    /// True for what is a line of the panel.
    pub fn is_panel_line(&self) -> bool {
        let is_line = ["title", "name", "brief"].contains(&self.field.as_str());
        self.section == "line" || is_line && self.section != "table"
    }

    fn text(&self, german: bool) -> &str {
        if german { &self.german } else { &self.english }
    }
}

/// The text with its places filled: with phrases of its section or of one above, else with samples.
fn filled(entries: &[Entry], entry: &Entry, german: bool, depth: usize) -> String {
    let mut pieces = entry.text(german).split('{');
    let mut text = pieces.next().unwrap_or_default().to_owned();
    for piece in pieces {
        let (place, after) = piece.split_once('}').unwrap_or((piece, ""));
        let (name, columns) = place.split_once(':').unwrap_or((place, ""));
        let small = name.to_lowercase();
        let is_title = ["title", "name"].contains(&entry.field.as_str()) && entry.section != "drive";
        let phrase = phrase(entries, entry, &small).filter(|_| depth < 4);
        let value = match (small.as_str(), phrase) {
            ("tray", _) if is_title => Some(if german { "FACH 3" } else { "TRAY 3" }.to_owned()),
            (_, Some(phrase)) => Some(filled(entries, phrase, german, depth + 1)),
            _ => sample(&entry.section, &small, german),
        };
        let value = value.unwrap_or_else(|| format!("{{{place}}}"));
        text.push_str(&match (columns.parse(), name.starts_with(char::is_uppercase)) {
            (Ok(columns), _) => traylight_display::text::fit(&value, columns).into_owned(),
            (_, true) => value.chars().take(1).flat_map(char::to_uppercase).chain(value.chars().skip(1)).collect(),
            _ => value,
        });
        text.push_str(after);
    }
    text
}

/// The phrase that fills a place of a condition: of its section, or of one above it.
fn phrase<'a>(entries: &'a [Entry], entry: &Entry, name: &str) -> Option<&'a Entry> {
    let whole = ["limit", "page", "table", "letter", "message", "line", "drive", "unseen", "estimate", "cause"];
    let mut section = entry.section.as_str();
    if whole.contains(&section.split('.').next().unwrap_or_default()) {
        return None;
    }
    loop {
        let is_it = |other: &&Entry| {
            other.section == section
                && (other.field == name || other.field == format!("{name}.many"))
                && !std::ptr::eq(*other, entry)
        };
        if let Some(found) = entries.iter().find(is_it) {
            return Some(found);
        }
        section = section.rsplit_once('.')?.0;
    }
}

/// What a person reads outside the tables: help of all commands, the default configuration, descriptions of the schemas.
pub fn outside() -> Vec<Outside> {
    let outside = |source: &str, text: String| Outside { source: source.to_owned(), text };
    let help = |command: &str| outside(&format!("traylight {command}"), help_of(command));
    let mut texts = vec![outside("traylight --help", help_of("--help"))];
    let commands = texts[0].text.split("Commands:\n").nth(1).unwrap_or_default().to_owned();
    let name = |line: &str| {
        line.strip_prefix("  ").filter(|line| !line.starts_with(' '))?.split(' ').next().map(str::to_owned)
    };
    let commands = commands.lines().take_while(|line| !line.is_empty()).filter_map(name).filter(|name| name != "help");
    texts.extend(commands.map(|command| help(&format!("{command} --help"))));
    texts.push(outside("the default configuration", traylight_config::default_file()));
    texts.push(outside("the schema of the configuration", descriptions(&traylight_config::schema())));
    texts.push(outside("the schema of the state document", descriptions(&file("agent/state.schema.json"))));
    texts
}

fn help_of(arguments: &str) -> String {
    let output = Command::new(traylight()).args(arguments.split(' ')).env("COLUMNS", COLUMNS).output();
    String::from_utf8_lossy(&output.expect("the program runs").stdout).into_owned()
}

/// The descriptions of a JSON schema, each with the names above it.
fn descriptions(schema: &str) -> String {
    fn collect(value: &serde_json::Value, path: &str, found: &mut String) {
        for (name, inner) in value.as_object().into_iter().flatten() {
            match inner.as_str() {
                Some(text) if name == "description" => found.push_str(&format!("{path}: {text}\n")),
                _ if ["properties", "$defs", "items", "additionalProperties"].contains(&name.as_str()) => {
                    collect(inner, path, found);
                }
                _ => collect(inner, &format!("{path} {name}"), found),
            }
        }
        value.as_array().into_iter().flatten().for_each(|inner| collect(inner, path, found));
    }
    let mut found = String::new();
    collect(&serde_json::from_str(schema).expect("the schemas are JSON"), "", &mut found);
    found
}
