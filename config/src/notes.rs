//! Collects what is wrong while the file is read, and turns it into the report at the end.
//!
//! It does not know what is right: `reader.rs` and `sections/` say what to note.

use crate::problem::{Problem, Problems};
use crate::source::{Source, TextSpan, clean, shorten};
use crate::suggest::nearest;
use std::collections::BTreeSet;

/// How many problems a report tells.
const MOST_TOLD: usize = 100;

/// What has been noted so far about one text.
pub(crate) struct Notes<'t> {
    pub(crate) source: Source<'t>,
    notes: Vec<Note>,
    unknown: Vec<Unknown>,
    /// Every key that was asked for, with the title of its section, such as `("[limits.drive]", "gone_hold")`.
    known: BTreeSet<(String, &'static str)>,
    /// Every key whose value was written and accepted, with its section, such as `limits.drive.gone_hold`.
    pub(crate) written: BTreeSet<String>,
    /// True when nothing is read but the outline: then a list of sections has one, whatever is written.
    pub(crate) is_outline: bool,
}

/// One thing that is wrong.
pub(crate) struct Note {
    pub(crate) at: TextSpan,
    pub(crate) message: String,
    pub(crate) hint: Option<String>,
    /// A second place without which the first cannot be understood.
    pub(crate) also: Option<TextSpan>,
}

/// A key that nobody asked for.
pub(crate) struct Unknown {
    pub(crate) at: TextSpan,
    pub(crate) key: String,
    /// The title of the section where it was found.
    pub(crate) title: String,
    /// The keys that would have been known there.
    pub(crate) siblings: Vec<&'static str>,
}

impl<'t> Notes<'t> {
    pub(crate) fn new(text: &'t str, hidden: Vec<TextSpan>) -> Self {
        Notes {
            source: Source::new(text, hidden),
            notes: Vec::new(),
            unknown: Vec::new(),
            known: BTreeSet::new(),
            written: BTreeSet::new(),
            is_outline: false,
        }
    }

    pub(crate) fn add(&mut self, note: Note) {
        self.notes.push(note);
    }

    pub(crate) fn unknown(&mut self, unknown: Unknown) {
        self.unknown.push(unknown);
    }

    pub(crate) fn known(&mut self, title: &str, key: &'static str) {
        self.known.insert((title.to_owned(), key));
    }

    /// The report, in the order of the text. `None` when nothing was noted.
    pub(crate) fn report(mut self, file: &str) -> Option<Problems> {
        // Unknown keys wait until here: only now is every section's set of keys known.
        for unknown in std::mem::take(&mut self.unknown) {
            let note = self.explain(unknown);
            self.notes.push(note);
        }
        self.notes.sort_by(|a, b| (a.at.start, &a.message).cmp(&(b.at.start, &b.message)));
        let told: Vec<Problem> = self.notes.iter().take(MOST_TOLD).map(|note| self.problem(note, file)).collect();
        let untold = self.notes.len() - told.len();
        (!told.is_empty()).then_some(Problems { told, untold })
    }

    fn explain(&self, unknown: Unknown) -> Note {
        let Unknown { at, key, title, siblings } = unknown;
        let expected = siblings.join(", ");
        let message = format!("unknown key `{}` {}, expected one of {expected}", shorten(&key), place(&title));
        let near = nearest(&key, siblings.iter().copied()).map(|known| format!("did you mean `{known}`?"));
        let elsewhere = || {
            let mut homes = self.known.iter().filter(|(_, known)| *known == key);
            // A key that several sections know may be meant for any of them.
            let ((title, _), None) = (homes.next()?, homes.next()) else { return None };
            Some(format!("it belongs {}", place(title)))
        };
        Note { at, message, hint: near.or_else(elsewhere), also: None }
    }

    fn problem(&self, note: &Note, file: &str) -> Problem {
        let first = self.source.excerpt(&note.at);
        let second = note.also.as_ref().map(|also| self.source.excerpt(also));
        Problem {
            file: clean(file),
            line: first.line,
            column: first.column,
            message: note.message.clone(),
            hint: note.hint.clone(),
            excerpts: std::iter::once(first).chain(second).collect(),
        }
    }
}

/// Where something is, for a sentence, such as `in [panel]`.
fn place(title: &str) -> String {
    if title.starts_with('[') { format!("in {title}") } else { format!("at {title}") }
}
