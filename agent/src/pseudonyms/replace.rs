//! Replaces values by pseudonyms: first those that are known, wherever they stand as a word, then what has the form of one.

use super::kind::IdentityKind;
use super::known::Known;
use super::patterns::{BEGINNINGS, ENDS, PATTERNS, is_one, key};
use crate::text::one_line;
use aho_corasick::{AhoCorasick, BuildError};
use regex::bytes::{Captures, Regex};
use serde_json::Value;
use std::collections::{BTreeMap, HashMap, HashSet};
use std::ops::Range;

/// No other text has a serial or the like of so many characters in it by chance.
const UNMISTAKABLE: usize = 8;

/// Pseudonyms for the values of one file.
#[derive(Debug)]
pub struct Pseudonyms {
    /// Finds known values in all their spellings.
    finder: AhoCorasick,
    /// For each spelling its value: an index into `values`.
    spellings: Vec<usize>,
    /// Known values: kind and key.
    values: Vec<(IdentityKind, String)>,
    /// Pseudonyms by key.
    given: HashMap<String, String>,
    /// All pseudonyms that were given.
    pseudonyms: HashSet<String>,
    counts: BTreeMap<IdentityKind, usize>,
}

impl Pseudonyms {
    /// Pseudonyms that know these values.
    ///
    /// # Errors
    /// When there are more values than can be looked for at a time: some millions.
    pub fn new(known: &Known) -> Result<Self, BuildError> {
        let (mut texts, mut spellings, mut values) = (Vec::new(), Vec::new(), Vec::new());
        let mut seen = HashSet::new();
        for (kind, value) in known.values() {
            let key = key(*kind, value);
            if !seen.insert(key.clone()) {
                continue;
            }
            for text in spelled(*kind, value, &key) {
                texts.push(text);
                spellings.push(values.len());
            }
            values.push((*kind, key));
        }
        let finder = AhoCorasick::builder().ascii_case_insensitive(true).build(&texts)?;
        let (given, pseudonyms, counts) = Default::default();
        Ok(Self { finder, spellings, values, given, pseudonyms, counts })
    }

    /// The text with pseudonyms.
    pub fn text(&mut self, text: &str) -> String {
        String::from_utf8_lossy(&self.bytes(text.as_bytes())).into_owned()
    }

    /// The JSON with pseudonyms in all of its texts.
    pub fn json(&mut self, value: &mut Value) {
        match value {
            Value::String(text) => *text = self.text(text),
            Value::Array(items) => items.iter_mut().for_each(|item| self.json(item)),
            Value::Object(fields) => fields.values_mut().for_each(|field| self.json(field)),
            Value::Null | Value::Bool(_) | Value::Number(_) => {}
        }
    }

    /// The bytes with pseudonyms in them. What is replaced may be of another length.
    pub fn bytes(&mut self, bytes: &[u8]) -> Vec<u8> {
        let mut bytes = self.without_known(bytes);
        bytes = self.without_parts(&bytes, ENDS.as_ref(), |key, part| key.ends_with(part));
        bytes = self.without_parts(&bytes, BEGINNINGS.as_ref(), |key, part| key.starts_with(part));
        for (kind, pattern) in PATTERNS.iter() {
            bytes = replaced(&bytes, pattern, |value| {
                let has_one = value.split_whitespace().any(|word| self.pseudonyms.contains(word));
                let is_left = has_one || !is_one(*kind, value);
                (!is_left).then(|| self.pseudonym(*kind, key(*kind, value)))
            });
        }
        bytes
    }

    /// How many values of each kind were replaced so far.
    pub fn counts(&self) -> impl Iterator<Item = (IdentityKind, usize)> {
        self.counts.iter().map(|(kind, count)| (*kind, *count))
    }

    fn without_known(&mut self, bytes: &[u8]) -> Vec<u8> {
        let is_word = |at: usize| bytes.get(at).is_some_and(u8::is_ascii_alphanumeric);
        let is_apart = |span: &Range<usize>| {
            let begins_within = span.start > 0 && is_word(span.start) && is_word(span.start - 1);
            let ends_within = span.end > 0 && is_word(span.end - 1) && is_word(span.end);
            !begins_within && !ends_within
        };
        let matches = self.finder.find_overlapping_iter(bytes);
        let mut found: Vec<(Range<usize>, usize)> = matches
            .map(|found| (found.range(), self.spellings[found.pattern().as_usize()]))
            .filter(|(span, value)| is_apart(span) || self.is_unmistakable(*value))
            .collect();
        found.sort_by_key(|(span, _)| (span.start, std::cmp::Reverse(span.end)));
        // Where values overlap nothing of either is left: the longest names them all.
        let mut spans: Vec<(Range<usize>, Range<usize>, usize)> = Vec::new();
        for (span, value) in found {
            match spans.last_mut() {
                Some((whole, longest, named)) if span.start < whole.end => {
                    whole.end = whole.end.max(span.end);
                    if span.len() > longest.len() {
                        (*longest, *named) = (span, value);
                    }
                }
                _ => spans.push((span.clone(), span, value)),
            }
        }
        let (mut masked, mut at) = (Vec::with_capacity(bytes.len()), 0);
        for (span, _, value) in spans {
            let (kind, key) = self.values[value].clone();
            masked.extend_from_slice(&bytes[at..span.start]);
            masked.extend_from_slice(self.pseudonym(kind, key).as_bytes());
            at = span.end;
        }
        masked.extend_from_slice(&bytes[at..]);
        masked
    }

    /// True for what is replaced within a longer word, too: models and serials are often written together.
    fn is_unmistakable(&self, value: usize) -> bool {
        let (kind, key) = &self.values[value];
        let is_a_number = matches!(kind, IdentityKind::Serial | IdentityKind::Wwn | IdentityKind::Uuid);
        is_a_number && key.len() >= UNMISTAKABLE
    }

    /// Replaces parts of known values: by the pseudonym of the value, or by one of their own where several have that part.
    fn without_parts(
        &mut self,
        bytes: &[u8],
        pattern: Option<&Regex>,
        is_part: impl Fn(&str, &str) -> bool,
    ) -> Vec<u8> {
        let Some(pattern) = pattern else { return bytes.to_vec() };
        replaced(bytes, pattern, |part| {
            let part = part.trim_start_matches('.').to_lowercase();
            let mut of = self.values.iter().filter(|(_, key)| is_part(key, &part));
            let (kind, key) = of.next()?.clone();
            let is_only_one = of.next().is_none();
            Some(self.pseudonym(kind, if is_only_one { key } else { part }))
        })
    }

    fn pseudonym(&mut self, kind: IdentityKind, key: String) -> String {
        if let Some(given) = self.given.get(&key) {
            return given.clone();
        }
        let count = self.counts.entry(kind).or_default();
        // A name that is somebody's own would stand for two.
        let pseudonym = loop {
            *count += 1;
            let pseudonym = format!("{}-{count}", kind.id());
            if !self.values.iter().any(|(_, key)| *key == pseudonym) {
                break pseudonym;
            }
        };
        self.pseudonyms.insert(pseudonym.clone());
        self.given.insert(key, pseudonym.clone());
        pseudonym
    }
}

/// The ways in which a value is written: as it is, as a printout has it, in small and large letters beyond ASCII, with its spaces as udev
/// (60-persistent-storage.rules) and the mount table (proc_pid_mountinfo(5)) write them, and a world wide name with what
/// the kernel and udev put before it.
fn spelled(kind: IdentityKind, value: &str, key: &str) -> Vec<String> {
    let mut spelled = vec![value.to_owned(), value.to_lowercase(), value.to_uppercase(), key.to_owned()];
    spelled.push(one_line(value).into_owned());
    if value.contains(' ') {
        spelled.extend(["_", "\\040", "\\x20"].map(|space| value.replace(' ', space)));
    }
    if kind == IdentityKind::Wwn {
        spelled.extend(["0x", "wwn-0x", "naa.", "eui."].map(|before| format!("{before}{key}")));
    }
    spelled
}

/// The bytes with the group of each match replaced, if there is something to replace it by.
fn replaced(bytes: &[u8], pattern: &Regex, mut by: impl FnMut(&str) -> Option<String>) -> Vec<u8> {
    let with = |captures: &Captures| {
        let mut groups = captures.iter().flatten();
        let (Some(all), Some(value)) = (groups.next(), groups.next()) else { return Vec::new() };
        let Some(pseudonym) = by(String::from_utf8_lossy(value.as_bytes()).trim()) else {
            return all.as_bytes().to_vec();
        };
        let (before, after) = (&bytes[all.start()..value.start()], &bytes[value.end()..all.end()]);
        [before, pseudonym.as_bytes(), after].concat()
    };
    pattern.replace_all(bytes, with).into_owned()
}
