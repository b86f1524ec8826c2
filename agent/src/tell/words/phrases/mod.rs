//! The words behind a key, from one table a language, with their places filled in. What the tables mean is explained at the
//! top of `words/english.toml`.

use super::parts::{Off, Words};
use crate::reading::{ActivityKind, HealthPart, Missing, Reason};
use crate::units::{exact_span, span};
use crate::verdict::{Estimate, Severity, Unit};
use std::collections::{HashMap, HashSet};
use std::fmt::Display;
use std::sync::LazyLock;
use std::time::Duration;
pub use traylight_config::Language;
use traylight_config::LanguageCode;

static ENGLISH: LazyLock<Table> = LazyLock::new(|| Table::of(include_str!("../../../../words/english.toml")));
static GERMAN: LazyLock<Table> = LazyLock::new(|| Table::of(include_str!("../../../../words/german.toml")));

/// What is put into the places of a text: names, and what stands there.
pub type Places<'a> = &'a [(&'a str, &'a dyn Display)];

/// What is said in a language.
pub trait Phrases: Copy + std::fmt::Debug {
    /// The words of this language.
    fn table(self) -> &'static Table;

    /// Words without places.
    fn plain(self, key: &str) -> &'static str {
        let found = self.table().texts.get(key);
        debug_assert!(found.is_some(), "{self:?} has no words for `{key}`");
        found.map_or("?", String::as_str)
    }

    /// Words with their places filled in.
    fn say(self, key: &str, places: Places) -> String {
        filled(self.plain(key), &given(places)).unwrap_or_default()
    }

    /// Words that a number decides: its form for one or for many, the number itself in the place `n`.
    fn count(self, key: &str, number: u64) -> String {
        let form = if number == 1 { "one" } else { "many" };
        self.say(&format!("{key}.{form}"), &[("n", &number)])
    }

    /// The words of a condition: those of its section and, where that has none, of the sections above it.
    fn words(self, section: &str, places: Places) -> Words {
        self.words_filled(section, &given(places))
    }

    /// The same with whatever fills the places; one without a filling stays empty.
    fn words_filled(self, section: &str, fill: Filling) -> Words {
        let filled = |template| filled(template, &|place| Some(fill(place).unwrap_or_default())).unwrap_or_default();
        let text = |fields: &[&str]| self.table().nearest(section, fields).map_or("?", String::as_str);
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
    fn text(self, section: &str, field: &str) -> Option<&'static str> {
        self.table().nearest(section, &[field]).map(String::as_str)
    }

    /// True when the table has a section of this name.
    fn has_section(self, section: &str) -> bool {
        self.table().sections.contains(section)
    }

    /// Whether the advice of a section begins with switching off.
    fn off(self, section: &str) -> Off {
        match self.table().nearest(section, &["off"]).map(String::as_str) {
            Some("tray") => Off::Trays,
            Some(_) => Off::Always,
            None => Off::Never,
        }
    }

    /// The line and the advice, with what goes before them; `hot_swap` is true when trays may be changed while the box is on.
    fn off_first(self, off: Off, hot_swap: bool, brief: String, advice: String) -> (String, String) {
        if off == Off::Never || (off == Off::Trays && hot_swap) {
            return (brief, advice);
        }
        (self.say("off.line", &[("brief", &brief)]), self.say("off.advice", &[("advice", &advice)]))
    }

    /// A figure as it stands in a sentence: with this language's decimal mark.
    fn figure(self, figure: impl Display) -> String {
        figure.to_string().replace('.', self.plain("figure.decimal"))
    }

    /// A span of time as it stands in a sentence: one unit, rounded down.
    fn span(self, duration: Duration) -> String {
        spoken(self, &span(duration))
    }

    /// The same without rounding.
    fn exact_span(self, duration: Duration) -> String {
        spoken(self, &exact_span(duration))
    }

    /// An estimate as it stands in a sentence: one unit for all three, the one in which the middle reads best.
    fn estimate(self, estimate: &Estimate) -> String {
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
    fn severity(self, severity: Severity) -> &'static str {
        self.plain(match severity {
            Severity::Notice => "severity.notice",
            Severity::Warning => "severity.warning",
            Severity::Critical => "severity.critical",
        })
    }

    /// Why there is no value, in a word or two.
    fn reason(self, reason: Reason) -> &'static str {
        self.plain(&format!("reason.{}", reason.id()))
    }

    /// Why there is no value. What is behind a reason says it all; only what was found needs the reason before it.
    fn missing(self, missing: &Missing) -> String {
        let why = missing.why.map(|why| self.plain(&format!("missing.{}", why.id())));
        match (why, &missing.found) {
            (Some(why), Some(found)) => format!("{why} ({found})"),
            (Some(why), None) => why.to_owned(),
            (None, Some(found)) => format!("{}: {found}", self.reason(missing.reason)),
            (None, None) => self.reason(missing.reason).to_owned(),
        }
    }

    /// A part of a drive's health.
    fn health_part(self, part: HealthPart) -> &'static str {
        self.plain(&format!("health-part.{}", part.id()))
    }

    /// What a pool does besides serving.
    fn activity(self, activity: ActivityKind) -> &'static str {
        let id: &str = activity.into();
        self.plain(&format!("activity.{id}"))
    }

    /// All texts of its table, with their places.
    fn texts(self) -> impl Iterator<Item = &'static str> {
        self.table().texts.values().map(String::as_str)
    }

    /// The keys of its table.
    #[cfg(test)]
    fn keys(self) -> std::collections::BTreeSet<&'static str> {
        self.table().texts.keys().map(String::as_str).collect()
    }

    /// The names of the places of its texts, in small letters.
    #[cfg(test)]
    fn places(self) -> std::collections::BTreeSet<String> {
        self.table().texts.values().flat_map(|text| tests::places(text)).collect()
    }
}

impl Phrases for Language {
    fn table(self) -> &'static Table {
        match self.code {
            LanguageCode::En => &ENGLISH,
            LanguageCode::De => &GERMAN,
        }
    }
}

/// Texts by their keys, and the names of the sections.
#[derive(Default)]
pub struct Table {
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

    /// The first of these fields that the section has, else that a section above it has.
    fn nearest(&self, section: &str, fields: &[&str]) -> Option<&String> {
        let own = |section: &str| fields.iter().find_map(|field| self.texts.get(&format!("{section}.{field}")));
        own(section).or_else(|| section.rsplit_once('.').and_then(|(above, _)| self.nearest(above, fields)))
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

fn spoken(language: impl Phrases, span: &str) -> String {
    let (number, unit) = span.split_once(' ').unwrap_or_default();
    let key = match unit {
        "s" => "span.seconds",
        "min" => "span.minutes",
        "h" => "span.hours",
        _ => "span.days",
    };
    language.say(key, &[("n", &language.figure(number))])
}

/// What stands in a place, by its name in small letters; `None` for what there is not.
pub type Filling<'a> = &'a dyn Fn(&str) -> Option<String>;

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
