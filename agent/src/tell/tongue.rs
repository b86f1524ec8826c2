//! Tongues: the words behind a key, from one table a language, with their places filled in. Pure; what the tables mean
//! is said at the top of `words/english.toml`.

use super::wording::{Off, Words};
use crate::reading::{ActivityKind, Reason};
use crate::units::span;
use crate::verdict::{Estimate, Severity, Unit};
use serde::{Deserialize, Serialize};
use std::collections::HashMap;
use std::fmt::Display;
use std::sync::LazyLock;
use std::time::Duration;
use traylight_config::Language;

static ENGLISH: LazyLock<Table> = LazyLock::new(|| Table::of(include_str!("../../words/english.toml")));
static GERMAN: LazyLock<Table> = LazyLock::new(|| Table::of(include_str!("../../words/german.toml")));

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
        let found = self.table().0.get(key);
        debug_assert!(found.is_some(), "{self:?} has no words for `{key}`");
        found.map_or("?", String::as_str)
    }

    /// Words with their places filled in.
    pub fn say(self, key: &str, places: Places) -> String {
        filled(self.plain(key), places)
    }

    /// Words that a number decides: its form for one or for many, the number itself in the place `n`.
    pub fn count(self, key: &str, number: u64) -> String {
        let form = if number == 1 { "one" } else { "many" };
        self.say(&format!("{key}.{form}"), &[("n", &number)])
    }

    /// The words of a condition: those of its section and, where that has none, of the sections above it.
    pub(super) fn words(self, section: &str, places: Places) -> Words {
        let text = |fields: &[&str]| self.nearest(section, fields).map_or("?", String::as_str);
        let evidence = (0..).map_while(|line| self.nearest(section, &[format!("evidence.{line}").as_str()]));
        Words {
            title: filled(text(&["title", "name"]), places),
            name: filled(text(&["name"]), places),
            sentence: filled(text(&["sentence"]), places),
            brief: text(&["brief"]).to_owned(),
            off: self.off(section),
            leave_in: None,
            advice: filled(text(&["advice"]), places),
            warning: filled(text(&["warning"]), places),
            evidence: evidence.map(|line| filled(line, places)).collect(),
        }
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
        let own = |section: &str| fields.iter().find_map(|field| self.table().0.get(&format!("{section}.{field}")));
        own(section).or_else(|| section.rsplit_once('.').and_then(|(above, _)| self.nearest(above, fields)))
    }

    /// A figure as it stands in a sentence: with this language's decimal mark.
    pub fn figure(self, figure: impl Display) -> String {
        figure.to_string().replace('.', self.plain("figure.decimal"))
    }

    /// A span of time as it stands in a sentence: one unit, rounded down.
    pub fn span(self, duration: Duration) -> String {
        let short = span(duration);
        let (number, unit) = short.split_once(' ').unwrap_or_default();
        let key = match unit {
            "s" => "span.seconds",
            "min" => "span.minutes",
            "h" => "span.hours",
            _ => "span.days",
        };
        self.say(key, &[("n", &number)])
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
        self.plain(match activity {
            ActivityKind::Idle | ActivityKind::Frozen => "activity.pause",
            ActivityKind::Resync => "activity.resync",
            ActivityKind::Rebuild => "activity.rebuild",
            ActivityKind::Check => "activity.check",
            ActivityKind::Repair => "activity.repair",
            ActivityKind::Reshape => "activity.reshape",
            ActivityKind::Balance => "activity.balance",
        })
    }

    /// The keys of its table.
    #[cfg(test)]
    pub(super) fn keys(self) -> std::collections::BTreeSet<&'static str> {
        self.table().0.keys().map(String::as_str).collect()
    }

    fn table(self) -> &'static Table {
        match self {
            Self::English => &ENGLISH,
            Self::German => &GERMAN,
        }
    }
}

/// Texts by their keys.
#[derive(Default)]
struct Table(HashMap<String, String>);

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
            toml::Value::String(text) => drop(self.0.insert(key, text)),
            toml::Value::Table(inner) => {
                inner.into_iter().for_each(|(name, value)| self.put(format!("{key}.{name}"), value));
            }
            toml::Value::Array(lines) => {
                lines.into_iter().enumerate().for_each(|(line, value)| self.put(format!("{key}.{line}"), value));
            }
            other => debug_assert!(false, "`{key}` is no text: {other:?}"),
        }
    }
}

/// The template with its places filled in; what is put in is not looked at for places again.
fn filled(template: &str, places: Places) -> String {
    let mut text = String::with_capacity(2 * template.len());
    let mut rest = template;
    while let Some((before, after)) = rest.split_once('{') {
        text.push_str(before);
        let (place, behind) = after.split_once('}').unwrap_or((after, ""));
        text.push_str(&put_in(place, places));
        rest = behind;
    }
    text.push_str(rest);
    text
}

/// What stands in a place such as `tray`, `Tray` or `mount:9`.
fn put_in(place: &str, places: Places) -> String {
    let (name, columns) = place.split_once(':').unwrap_or((place, ""));
    let given = places.iter().find(|(given, _)| given.eq_ignore_ascii_case(name));
    debug_assert!(given.is_some(), "nothing was given for the place `{place}`");
    let value = given.map(|(_, value)| value.to_string()).unwrap_or_default();
    let mut letters = value.chars();
    match (columns.parse(), letters.next()) {
        (Ok(columns), _) => traylight_display::text::fit(&value, columns).into_owned(),
        (_, Some(first)) if name.starts_with(char::is_uppercase) => first.to_uppercase().chain(letters).collect(),
        _ => value,
    }
}

#[cfg(test)]
mod tests;
