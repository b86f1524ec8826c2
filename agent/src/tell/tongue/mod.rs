//! Tongues: the words behind a key, from one table a language, with their places filled in. Pure; what the tables mean
//! is said at the top of `words/english.toml`.

use super::wording::{Off, Words};
use crate::reading::{ActivityKind, Reason};
use crate::units::{exact_span, span};
use crate::verdict::{Estimate, Severity, Unit};
use serde::{Deserialize, Serialize};
use std::collections::{HashMap, HashSet};
use std::fmt::Display;
use std::sync::LazyLock;
use std::time::Duration;
use traylight_config::Language;

static ENGLISH: LazyLock<Table> = LazyLock::new(|| Table::of(include_str!("../../../words/english.toml")));
static GERMAN: LazyLock<Table> = LazyLock::new(|| Table::of(include_str!("../../../words/german.toml")));

/// A language that this program speaks. Log lines and documents for machines are always in English.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Tongue {
    /// British English.
    #[default]
    English,
    /// German.
    German,
}

/// What is put into the places of a text: names, and what stands there.
pub type Places<'a> = &'a [(&'a str, &'a dyn Display)];

impl From<Language> for Tongue {
    fn from(language: Language) -> Self {
        match language {
            Language::English => Self::English,
            Language::German => Self::German,
        }
    }
}

impl Tongue {
    /// All of them.
    pub const ALL: [Self; 2] = [Self::English, Self::German];

    /// Words without places.
    pub fn plain(self, key: &str) -> &'static str {
        let found = self.table().texts.get(key);
        debug_assert!(found.is_some(), "{self:?} has no words for `{key}`");
        found.map_or("?", String::as_str)
    }

    /// Words with their places filled in.
    pub fn say(self, key: &str, places: Places) -> String {
        filled(self.plain(key), &given(places)).unwrap_or_default()
    }

    /// Words that a number decides: its form for one or for many, the number itself in the place `n`.
    pub fn count(self, key: &str, number: u64) -> String {
        let form = if number == 1 { "one" } else { "many" };
        self.say(&format!("{key}.{form}"), &[("n", &number)])
    }

    /// The words of a condition: those of its section and, where that has none, of the sections above it.
    pub(super) fn words(self, section: &str, places: Places) -> Words {
        self.words_filled(section, &given(places))
    }

    /// The same with whatever fills the places; one without a filling stays empty.
    pub(super) fn words_filled(self, section: &str, fill: Filling) -> Words {
        let filled = |template| filled(template, &|place| Some(fill(place).unwrap_or_default())).unwrap_or_default();
        let text = |fields: &[&str]| self.nearest(section, fields).map_or("?", String::as_str);
        let evidence = (0..).map_while(|line| self.text(section, &format!("evidence.{line}")));
        Words {
            title: filled(text(&["title", "name"])),
            name: filled(text(&["name"])),
            sentence: filled(text(&["sentence"])),
            brief: text(&["brief"]).to_owned(),
            off: self.off(section),
            leave_in: None,
            advice: filled(text(&["advice"])),
            warning: filled(text(&["warning"])),
            evidence: evidence.map(filled).collect(),
        }
    }

    /// A text of the section or, where that has none, of the sections above it.
    pub(super) fn text(self, section: &str, field: &str) -> Option<&'static str> {
        self.nearest(section, &[field]).map(String::as_str)
    }

    /// True when the table has a section of this name.
    pub(super) fn has_section(self, section: &str) -> bool {
        self.table().sections.contains(section)
    }

    /// Whether the advice of a section begins with switching off.
    pub(super) fn off(self, section: &str) -> Off {
        match self.nearest(section, &["off"]).map(String::as_str) {
            Some("tray") => Off::Trays,
            Some(_) => Off::Always,
            None => Off::Never,
        }
    }

    /// The first of these fields that the section has, else that a section above it has.
    fn nearest(self, section: &str, fields: &[&str]) -> Option<&'static String> {
        let own = |section: &str| fields.iter().find_map(|field| self.table().texts.get(&format!("{section}.{field}")));
        own(section).or_else(|| section.rsplit_once('.').and_then(|(above, _)| self.nearest(above, fields)))
    }

    /// A figure as it stands in a sentence: with this language's decimal mark.
    pub fn figure(self, figure: impl Display) -> String {
        figure.to_string().replace('.', self.plain("figure.decimal"))
    }

    /// A span of time as it stands in a sentence: one unit, rounded down.
    pub fn span(self, duration: Duration) -> String {
        self.spoken(&span(duration))
    }

    /// The same without rounding.
    pub fn exact_span(self, duration: Duration) -> String {
        self.spoken(&exact_span(duration))
    }

    fn spoken(self, span: &str) -> String {
        let (number, unit) = span.split_once(' ').unwrap_or_default();
        let key = match unit {
            "s" => "span.seconds",
            "min" => "span.minutes",
            "h" => "span.hours",
            _ => "span.days",
        };
        self.say(key, &[("n", &self.figure(number))])
    }

    /// An estimate as it stands in a sentence: one unit for all three, the one in which the middle reads best.
    pub fn estimate(self, estimate: &Estimate) -> String {
        let rounded = estimate.rounded();
        let key = match rounded.unit {
            Unit::Seconds => "estimate.seconds",
            Unit::Minutes => "estimate.minutes",
            Unit::Hours => "estimate.hours",
            Unit::Days => "estimate.days",
        };
        let (middle, soonest) = (self.say(key, &[("n", &rounded.middle)]), rounded.soonest);
        match rounded.latest {
            Some(latest) if latest == soonest => middle,
            Some(latest) => {
                self.say("estimate.between", &[("middle", &middle), ("soonest", &soonest), ("latest", &latest)])
            }
            None => self.say("estimate.open", &[("middle", &middle), ("soonest", &soonest)]),
        }
    }

    /// How bad, in a word.
    pub fn severity(self, severity: Severity) -> &'static str {
        self.plain(match severity {
            Severity::Notice => "severity.notice",
            Severity::Warning => "severity.warning",
            Severity::Critical => "severity.critical",
        })
    }

    /// Why there is no value, in a word or two.
    pub fn reason(self, reason: Reason) -> &'static str {
        self.plain(match reason {
            Reason::NotFitted => "reason.not-fitted",
            Reason::Asleep => "reason.asleep",
            Reason::NotAsked => "reason.not-asked",
            Reason::TimedOut => "reason.timed-out",
            Reason::Refused => "reason.refused",
            Reason::Unreadable => "reason.unreadable",
        })
    }

    /// What a pool does besides serving.
    pub fn activity(self, activity: ActivityKind) -> &'static str {
        let id: &str = activity.into();
        self.plain(&format!("activity.{id}"))
    }

    /// The keys of its table.
    #[cfg(test)]
    pub(super) fn keys(self) -> std::collections::BTreeSet<&'static str> {
        self.table().texts.keys().map(String::as_str).collect()
    }

    /// The names of the places of its texts, in small letters.
    #[cfg(test)]
    pub(super) fn places(self) -> std::collections::BTreeSet<String> {
        self.table().texts.values().flat_map(|text| tests::places(text)).collect()
    }

    fn table(self) -> &'static Table {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }
}

/// Texts by their keys, and the names of the sections.
#[derive(Default)]
struct Table {
    texts: HashMap<String, String>,
    sections: HashSet<String>,
}

impl Table {
    /// The table in this file. The files are part of the program, and tests read them: none is broken here.
    fn of(text: &str) -> Self {
        let mut table = Self::default();
        for (key, value) in text.parse::<toml::Table>().unwrap_or_default() {
            table.put(key, value);
        }
        table
    }

    fn put(&mut self, key: String, value: toml::Value) {
        match value {
            toml::Value::String(text) => drop(self.texts.insert(key, text)),
            toml::Value::Table(inner) => {
                self.sections.insert(key.clone());
                inner.into_iter().for_each(|(name, value)| self.put(format!("{key}.{name}"), value));
            }
            toml::Value::Array(lines) => {
                lines.into_iter().enumerate().for_each(|(line, value)| self.put(format!("{key}.{line}"), value));
            }
            other => debug_assert!(false, "`{key}` is no text: {other:?}"),
        }
    }
}

/// What stands in a place, by its name in small letters; `None` for what there is not.
pub(super) type Filling<'a> = &'a dyn Fn(&str) -> Option<String>;

/// Fills places with what was given for them.
fn given(places: Places<'_>) -> impl Fn(&str) -> Option<String> {
    move |place| {
        let given = places.iter().find(|(given, _)| *given == place);
        debug_assert!(given.is_some(), "nothing was given for the place `{place}`");
        Some(given.map(|(_, value)| value.to_string()).unwrap_or_default())
    }
}

/// The template with its places filled in; what is put in is not looked at for places again. `None` when a place has no
/// filling.
pub(super) fn filled(template: &str, fill: Filling) -> Option<String> {
    let mut text = String::with_capacity(2 * template.len());
    let mut rest = template;
    while let Some((before, after)) = rest.split_once('{') {
        text.push_str(before);
        let (place, behind) = after.split_once('}').unwrap_or((after, ""));
        text.push_str(&put_in(place, fill)?);
        rest = behind;
    }
    text.push_str(rest);
    Some(text)
}

/// What stands in a place such as `tray`, `Tray` or `mount:9`.
fn put_in(place: &str, fill: Filling) -> Option<String> {
    let (name, columns) = place.split_once(':').unwrap_or((place, ""));
    let value = fill(&name.to_ascii_lowercase())?;
    let mut letters = value.chars();
    Some(match (columns.parse(), letters.next()) {
        (Ok(columns), _) => traylight_display::text::fit(&value, columns).into_owned(),
        (_, Some(first)) if name.starts_with(char::is_uppercase) => first.to_uppercase().chain(letters).collect(),
        _ => value,
    })
}

#[cfg(test)]
mod tests;
