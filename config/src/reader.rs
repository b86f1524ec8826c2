//! Reads the file as written, section by section: every key may be absent, and every mistake is noted.
//!
//! It does not know which keys there are: `sections/` asks for them, each with its declaration, and what it never asked for
//! is unknown. What was asked for is the outline, of which the default file and the schema are made.

use crate::key::Key;
use crate::notes::{Note, Notes, Unknown};
use crate::outline::{Content, Outline, OutlineEntry};
use crate::source::TextSpan;
use crate::values::Refusal;
use std::collections::BTreeMap;
use std::fmt::Display;
use std::ops::RangeInclusive;
use toml::de::{DeArray, DeTable, DeValue};

/// One section of the file, such as `[panel]`, being read.
pub(crate) struct Section<'n, 't> {
    notes: &'n mut Notes<'t>,
    /// Such as `limits.drive`; empty at the top of the file.
    path: String,
    /// How messages name it, such as `[limits.drive]` or `[[shelf]]`.
    title: String,
    header: TextSpan,
    /// What nobody has asked for yet.
    left: DeTable<'t>,
    outline: Outline,
    /// Keys whose values were refused.
    refused: Vec<String>,
}

/// A setting: its value, and where that came from.
pub(crate) struct Given<T> {
    pub(crate) key: &'static str,
    pub(crate) value: T,
    pub(crate) origin: Origin,
}

/// Where a value came from.
pub(crate) enum Origin {
    Default,
    Written(TextSpan),
    /// It was written and is noted as a problem: the value is only a stand-in.
    Refused,
}

/// Texts that may appear only once, and where each was first seen.
#[derive(Default)]
pub(crate) struct SeenTexts(BTreeMap<String, TextSpan>);

/// Reads the top level of the file, and with it all that is inside.
pub(crate) fn read_file<'t, T>(
    notes: &mut Notes<'t>,
    table: DeTable<'t>,
    read: impl FnOnce(&mut Section<'_, 't>) -> T,
) -> (T, Outline) {
    read_section(notes, String::new(), "the top level".into(), 0..0, table, read)
}

fn read_section<'t, T>(
    notes: &mut Notes<'t>,
    path: String,
    title: String,
    header: TextSpan,
    table: DeTable<'t>,
    read: impl FnOnce(&mut Section<'_, 't>) -> T,
) -> (T, Outline) {
    let outline = Outline::default();
    let mut section = Section { notes, path, title, header, left: table, outline, refused: Vec::new() };
    let settled = read(&mut section);
    let Section { notes, title, left, outline, .. } = section;
    for (key, _) in left {
        let (at, key) = (key.span(), key.into_inner().into_owned());
        notes.unknown(Unknown { at, key, title: title.clone(), siblings: outline.names().collect() });
    }
    (settled, outline)
}

impl<'t> Section<'_, 't> {
    /// Reads a key; an absent one has its default.
    pub(crate) fn value<T: 'static>(&mut self, key: Key<T>) -> T {
        self.given(key).value
    }

    /// Reads a key whose place in the file is still asked for.
    pub(crate) fn given<T: 'static>(&mut self, key: Key<T>) -> Given<T> {
        self.outline.entries.push(OutlineEntry::of(&key, key.shown, key.kind.rules.clone()));
        let default = key.kind.declared(key.shown);
        self.read(key, default)
    }

    /// Reads a key that has no default and need not be there. A refused one has been noted, and counts as absent.
    pub(crate) fn optional<T: 'static>(&mut self, key: Key<T>) -> Option<Given<T>> {
        self.outline.entries.push(OutlineEntry::of(&key, "", key.kind.rules.clone()));
        let given = self.read(key, None);
        matches!(given.origin, Origin::Written(_)).then_some(given)
    }

    /// Reads a key with [`ValueKind::or_empty`](crate::values::ValueKind::or_empty): an empty text counts as absent.
    pub(crate) fn unless_empty<T: 'static>(&mut self, key: Key<Option<T>>) -> Option<Given<T>> {
        let Given { key, value, origin } = self.given(key);
        value.map(|value| Given { key, value, origin })
    }

    /// Reads a key that must be there.
    pub(crate) fn required<T: 'static>(&mut self, key: Key<T>) -> Given<T> {
        self.outline.entries.push(OutlineEntry::of(&key, "", key.kind.rules.clone()));
        self.must_be_there(key.name, key.shown);
        let mut given = self.read(key, None);
        if let Origin::Default = given.origin {
            given.origin = Origin::Refused;
        }
        given
    }

    /// Reads a list of texts, each of which may appear once. The declaration is that of one of them, but for the default.
    pub(crate) fn list<T: 'static>(&mut self, key: Key<T>, count: RangeInclusive<usize>) -> Vec<T> {
        self.outline.entries.push(OutlineEntry::of_list(&key, key.shown, &count));
        let default = DeValue::parse(key.shown).ok().and_then(|value| match value.into_inner() {
            DeValue::Array(items) => items.iter().map(|item| (key.kind.read)(item.get_ref()).ok()).collect(),
            _ => None,
        });
        self.read_list(key, count).or(default).unwrap_or_default()
    }

    /// Reads a list of texts that must be there and not be empty.
    pub(crate) fn required_list<T: 'static>(&mut self, key: Key<T>, most: usize) -> Vec<T> {
        self.outline.entries.push(OutlineEntry::of_list(&key, "", &(1..=most)));
        self.must_be_there(key.name, key.shown);
        self.read_list(key, 1..=most).unwrap_or_default()
    }

    fn read<T>(&mut self, Key { name: key, kind, .. }: Key<T>, default: Option<T>) -> Given<T> {
        let Some((at, value)) = self.ask(key) else {
            return Given { key, value: default.unwrap_or(kind.stand_in), origin: Origin::Default };
        };
        match (kind.read)(&value) {
            Ok(value) => {
                self.was_written(key);
                Given { key, value, origin: Origin::Written(at) }
            }
            Err(refusal) => {
                self.refused(key, at, refusal);
                Given { key, value: default.unwrap_or(kind.stand_in), origin: Origin::Refused }
            }
        }
    }

    fn read_list<T>(&mut self, Key { name: key, kind, .. }: Key<T>, count: RangeInclusive<usize>) -> Option<Vec<T>> {
        let (at, value) = self.ask(key)?;
        let items = match value {
            DeValue::Array(items) if count.contains(&items.len()) => items,
            _ => {
                let expected = format!("a list in brackets of {} to {} texts", count.start(), count.end());
                self.refused(key, at, Refusal { expected, hint: None });
                return None;
            }
        };
        self.was_written(key);
        let (mut seen, mut values) = (SeenTexts::default(), Vec::new());
        for item in items {
            let at = item.span();
            match (kind.read)(item.get_ref()) {
                Ok(value) => {
                    let text = item.get_ref().as_str().unwrap_or_default().to_owned();
                    self.once(key, text, at, &mut seen);
                    values.push(value);
                }
                Err(refusal) => self.refused(key, at, refusal),
            }
        }
        Some(values)
    }

    /// Reads a section inside this one. An absent section is an empty one.
    pub(crate) fn section<T>(
        &mut self,
        name: &'static str,
        about: &'static str,
        read: impl FnOnce(&mut Section<'_, 't>) -> T,
    ) -> T {
        let path = self.path_of(name);
        let title = format!("[{path}]");
        let (header, table) = match self.ask(name) {
            None => (0..0, DeTable::new()),
            Some((header, DeValue::Table(table))) => (header, table),
            Some((at, _)) => {
                self.refused(name, at, Refusal { expected: format!("a section that starts with {title}"), hint: None });
                (0..0, DeTable::new())
            }
        };
        let (settled, outline) = read_section(self.notes, path, title, header, table, read);
        self.outline.entries.push(OutlineEntry::section(name, about, Content::Section(outline)));
        settled
    }

    /// Reads several sections of one name, such as `[[shelf]]`.
    pub(crate) fn sections<T>(
        &mut self,
        name: &'static str,
        about: &'static str,
        count: RangeInclusive<usize>,
        mut read: impl FnMut(&mut Section<'_, 't>) -> T,
    ) -> Vec<T> {
        let path = self.path_of(name);
        let title = format!("[[{path}]]");
        let wrong =
            || Refusal { expected: format!("a section that starts with {title}, in double brackets"), hint: None };
        let items = match self.ask(name) {
            None => DeArray::default(),
            Some((_, DeValue::Array(items))) => items,
            Some((at, _)) => {
                self.refused(name, at, wrong());
                DeArray::default()
            }
        };
        let (found, most) = (items.len(), *count.end());
        if found < *count.start() && !self.was_refused(name) {
            let message = format!("expected at least {} {title} in {}, found {found}", count.start(), self.title);
            self.note(self.header.clone(), message);
        }
        let (mut settled, mut outline) = (Vec::new(), Outline::default());
        let mut read = |notes: &mut Notes<'t>, header, table| {
            let (one, its_outline) = read_section(notes, path.clone(), title.clone(), header, table, &mut read);
            outline = its_outline;
            one
        };
        for (nth, item) in items.into_iter().enumerate() {
            let header = item.span();
            if nth == most {
                self.note(header, format!("expected at most {most} {title}, found {found}"));
                break;
            }
            match item.into_inner() {
                DeValue::Table(table) => settled.push(read(self.notes, header, table)),
                _ => self.refused(name, header, wrong()),
            }
        }
        if self.notes.is_outline {
            read(self.notes, 0..0, DeTable::new());
        }
        if *count.start() > 0 {
            self.outline.required.push(name);
        }
        self.outline.entries.push(OutlineEntry::section(name, about, Content::Sections(count, outline)));
        settled
    }

    /// Notes it unless `low` is below `high`. A refused value has been noted before and is not judged again.
    pub(crate) fn below<T: PartialOrd + Display>(&mut self, low: &Given<T>, high: &Given<T>) {
        if low.value < high.value {
            return;
        }
        let (at, message, also) = match (&low.origin, &high.origin) {
            (Origin::Written(at), Origin::Written(also)) => {
                let line = self.notes.source.line(also.start);
                (at, unless_below(low, "less", high, &format!("on line {line}")), Some(also.clone()))
            }
            (Origin::Written(at), Origin::Default) => (at, unless_below(low, "less", high, "by default"), None),
            (Origin::Default, Origin::Written(at)) => (at, unless_below(high, "more", low, "by default"), None),
            _ => return,
        };
        self.notes.add(Note { at: at.clone(), message, hint: None, also });
    }

    /// Notes it when a name has been given before. Names that differ only in case are too easily mistaken.
    pub(crate) fn different(&mut self, given: &Given<String>, seen: &mut SeenTexts) {
        if let Origin::Written(at) = &given.origin {
            self.once(given.key, given.value.to_lowercase(), at.clone(), seen);
        }
    }

    /// Notes that two keys do not go together.
    pub(crate) fn not_both<T>(&mut self, one: &Option<Given<T>>, other: &Option<Given<T>>, keys: [&str; 2]) {
        self.outline.rule(format!(r#"{{ "not": {{ "required": {keys:?} }} }}"#));
        let (Some(one), Some(other)) = (one, other) else { return };
        if let (Origin::Written(at), Origin::Written(also)) = (&one.origin, &other.origin) {
            let line = self.notes.source.line(also.start);
            let (one, other) = (one.key, other.key);
            let message =
                format!("expected `{one}` or `{other}` in {}, found both; `{other}` is on line {line}", self.title);
            self.notes.add(Note { at: at.clone(), message, hint: None, also: Some(also.clone()) });
        }
    }

    /// True for a key that was written, though with a value that was refused: that has been noted.
    pub(crate) fn was_refused(&self, key: &str) -> bool {
        self.refused.iter().any(|refused| refused == key)
    }

    /// Notes it when only one of two things that belong together is written. `keys` are those that each can be written with.
    pub(crate) fn both_or_none<A, B>(&mut self, one: &Option<Given<A>>, other: &Option<Given<B>>, keys: [&[&str]; 2]) {
        self.outline.rule_of_both(keys);
        let [first, second] = keys.map(|keys| keys[0]);
        let (found, missing, at) = match (one, other) {
            (Some(Given { origin: Origin::Written(at), .. }), None) => (first, second, at.clone()),
            (None, Some(Given { origin: Origin::Written(at), .. })) => (second, first, at.clone()),
            _ => return,
        };
        if self.was_refused(missing) {
            return;
        }
        self.note(
            at,
            format!("expected both `{found}` and `{missing}` in {}, or neither; found only `{found}`", self.title),
        );
    }

    /// Notes what is wrong with a value that was read without fault.
    pub(crate) fn wrong<T>(&mut self, given: &Given<T>, message: String) {
        if let Origin::Written(at) = &given.origin {
            self.note(at.clone(), message);
        }
    }

    fn once(&mut self, key: &str, text: String, at: TextSpan, seen: &mut SeenTexts) {
        let Some(first) = seen.0.get(&text).cloned() else {
            seen.0.insert(text, at);
            return;
        };
        let shown = self.notes.source.shown(&at);
        let line = self.notes.source.line(first.start);
        let message =
            format!("`{key}`: expected a different value for each, found {shown} again; it is already on line {line}");
        self.notes.add(Note { at, message, hint: None, also: Some(first) });
    }

    /// A rule that only the schema says in this way.
    pub(crate) fn rule_of_schema(&mut self, rule: String) {
        self.outline.rule(rule);
    }

    /// Takes what was written for a key, and remembers that the key is known.
    fn ask(&mut self, key: &'static str) -> Option<(TextSpan, DeValue<'t>)> {
        self.notes.known(&self.title, key);
        let value = self.left.remove(key)?;
        Some((value.span(), value.into_inner()))
    }

    fn must_be_there(&mut self, key: &'static str, example: &str) {
        self.outline.required.push(key);
        if !self.left.contains_key(key) {
            let message = format!("expected `{key}` in {}, found none; add one, such as {key} = {example}", self.title);
            self.note(self.header.clone(), message);
        }
    }

    fn was_written(&mut self, key: &str) {
        let path = self.path_of(key);
        self.notes.written.insert(path);
    }

    fn path_of(&self, key: &str) -> String {
        if self.path.is_empty() { key.to_owned() } else { format!("{}.{key}", self.path) }
    }

    fn refused(&mut self, key: &str, at: TextSpan, refusal: Refusal) {
        self.refused.push(key.to_owned());
        let shown = self.notes.source.shown(&at);
        let message = format!("`{key}`: expected {}, found {shown}", refusal.expected);
        self.notes.add(Note { at, message, hint: refusal.hint, also: None });
    }

    fn note(&mut self, at: TextSpan, message: String) {
        self.notes.add(Note { at, message, hint: None, also: None });
    }
}

fn unless_below<T: Display>(at: &Given<T>, how: &str, than: &Given<T>, origin: &str) -> String {
    format!("`{}`: expected {how} than `{}`, which is {} {origin}, found {}", at.key, than.key, than.value, at.value)
}
