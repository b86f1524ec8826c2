//! The dossier: one text about the box for somebody who helps. It has pseudonyms for what identifies the box and its owner,
//! and it is always in English, since helpers are everywhere.

mod contents;
mod parts;
#[cfg(test)]
mod tests;

pub use contents::Contents;

use crate::pseudonyms::Pseudonyms;
use crate::serve::document::Document;
use crate::tell::words::phrases::{Phrases, Places};
use contents::LANGUAGE;
use serde_json::Value;

/// The beginning of every dossier, by which one is known.
pub const MARK: &str = "traylight dossier";
/// No part is longer, in bytes; all of them together stay below 512 KiB.
const LONGEST_PART: usize = 50 << 10;

/// The text of a dossier: what was replaced, then its parts.
pub fn dossier(mut contents: Contents, pseudonyms: &mut Pseudonyms) -> String {
    // Columns line up only if pseudonyms are in the tables from the beginning.
    contents.document = contents.document.map(|document| in_english(document, pseudonyms));
    let parts: String = parts::all(&contents)
        .into_iter()
        .map(|(title, part)| {
            let text = part.unwrap_or_else(|why| LANGUAGE.say("dossier.not-available", &[("why", &why)]));
            format!("\n==== {title} ====\n{}", bounded(&pseudonyms.text(&text)))
        })
        .collect();
    format!("{}{parts}", header(pseudonyms))
}

fn header(pseudonyms: &Pseudonyms) -> String {
    let kind = |(kind, count): (_, usize)| LANGUAGE.count(parts::kind_key(kind), count as u64);
    let kinds: Vec<String> = pseudonyms.counts().map(kind).collect();
    let replaced = match kinds.is_empty() {
        true => LANGUAGE.plain("dossier.nothing-replaced").to_owned(),
        false => LANGUAGE.say("dossier.replaced", &[("kinds", &kinds.join(", "))]),
    };
    let lines = [replaced.as_str(), LANGUAGE.plain("dossier.left-out"), LANGUAGE.plain("dossier.read-it")];
    format!("{MARK}\n\n{}\n", lines.join("\n"))
}

/// The document with English texts only, and with pseudonyms.
fn in_english(document: Document, pseudonyms: &mut Pseudonyms) -> Document {
    let Ok(mut value) = serde_json::to_value(&document) else { return document };
    forget_owners_words(&mut value);
    let english = serde_json::from_value(value.clone()).unwrap_or(document);
    pseudonyms.json(&mut value);
    // A value that stands for a state may have been replaced: what is printed of it gets its pseudonyms later.
    serde_json::from_value(value).unwrap_or(english)
}

fn forget_owners_words(value: &mut Value) {
    match value {
        Value::Array(items) => items.iter_mut().for_each(forget_owners_words),
        Value::Object(fields) => fields.iter_mut().for_each(|(key, field)| match key.starts_with("owners_") {
            true => *field = Value::Null,
            false => forget_owners_words(field),
        }),
        Value::Null | Value::Bool(_) | Value::Number(_) | Value::String(_) => {}
    }
}

/// The text up to the last line that has room, and how many do not.
fn bounded(text: &str) -> String {
    if text.len() <= LONGEST_PART {
        return format!("{}\n", text.trim_end());
    }
    let room = text.as_bytes().get(..LONGEST_PART).unwrap_or_default();
    let end = room.iter().rposition(|byte| *byte == b'\n').unwrap_or(0);
    let (kept, rest) = text.split_at(end);
    let places: Places = &[("n", &rest.trim_start().lines().count())];
    format!("{kept}\n{}\n", LANGUAGE.say("dossier.cut", places))
}
