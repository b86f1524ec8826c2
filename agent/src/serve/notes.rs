//! The footnotes of `look`: what has no value and why, a line for all that lack the same for the same reason.

use crate::reading::{Missing, Reason};
use crate::tell::words::phrases::{Language, Phrases};

/// Footnotes, in the order in which their reasons came up.
pub(super) struct Notes {
    language: Language,
    notes: Vec<Note>,
}

struct Note {
    /// What is missing, by its key in the tables of words.
    what: &'static str,
    missing: Missing,
    trays: Vec<String>,
    others: Vec<String>,
}

/// What has no value.
pub(super) enum Name<'a> {
    /// The drive in this tray.
    Tray(&'a str),
    /// Something else.
    Other(&'a str),
}

impl Notes {
    pub(super) fn new(language: Language) -> Self {
        Self { language, notes: Vec::new() }
    }

    /// Notes that something has no value.
    pub(super) fn add(&mut self, what: &'static str, missing: &Missing, name: Name<'_>) {
        let same = self.notes.iter().position(|note| note.what == what && note.missing == *missing);
        let at = same.unwrap_or_else(|| {
            self.notes.push(Note { what, missing: missing.clone(), trays: Vec::new(), others: Vec::new() });
            self.notes.len() - 1
        });
        match name {
            Name::Tray(label) => self.notes[at].trays.push(label.to_owned()),
            Name::Other(name) => self.notes[at].others.push(name.to_owned()),
        }
    }

    /// The lines.
    pub(super) fn lines(&self) -> impl Iterator<Item = String> {
        self.notes.iter().map(|note| {
            let why = match note.missing.reason {
                Reason::Asleep => self.language.count("table.asleep", (note.trays.len() + note.others.len()) as u64),
                _ => self.language.missing(&note.missing),
            };
            self.language.say(note.what, &[("name", &self.names(note)), ("why", &why)])
        })
    }

    fn names(&self, note: &Note) -> String {
        let key = if note.trays.len() == 1 { "table.in-tray" } else { "table.trays" };
        let trays = self.listed(&runs(&note.trays, self.language));
        let trays = (!note.trays.is_empty()).then(|| self.language.say(key, &[("tray", &trays)]));
        self.listed(&trays.into_iter().chain(note.others.iter().cloned()).collect::<Vec<_>>())
    }

    fn listed(&self, names: &[String]) -> String {
        match names {
            [] => String::new(),
            [one] => one.clone(),
            [some @ .., last] => self.language.say("table.and", &[("some", &some.join(", ")), ("last", last)]),
        }
    }
}

/// Labels of which three or more that follow each other as numbers are named by the first and the last.
fn runs(labels: &[String], language: Language) -> Vec<String> {
    let follows = |a: &String, b: &String| {
        let number = |label: &String| label.parse::<u32>().ok();
        number(a).zip(number(b)).is_some_and(|(a, b)| a + 1 == b)
    };
    let run = |run: &[String]| match run {
        [first, _, .., last] => vec![language.say("table.to", &[("first", first), ("last", last)])],
        few => few.to_vec(),
    };
    labels.chunk_by(follows).flat_map(run).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_lacks_the_same_for_the_same_reason_shares_a_line() {
        let mut notes = Notes::new(Language::ENGLISH);
        for label in ["1", "2", "3", "5", "A"] {
            notes.add("table.temperature-of", &Missing::of(Reason::Asleep), Name::Tray(label));
        }
        notes.add("table.temperature-of", &Missing::of(Reason::TimedOut), Name::Tray("4"));
        notes.add("table.temperature-of", &Missing::of(Reason::TimedOut), Name::Other("sdx"));
        notes.add("table.speed-of", &Missing::of(Reason::TimedOut), Name::Other("fan1"));
        let lines: Vec<String> = notes.lines().collect();
        assert_eq!(
            lines,
            [
                "temperature of trays 1 to 3, 5 and A: the drives are asleep",
                "temperature of tray 4 and sdx: timed out",
                "speed of fan1: timed out"
            ]
        );
    }
}
