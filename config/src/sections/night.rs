//! When panels are dim, and when they are dark: the hours in `[panel]`, and where the box stands.

use super::addresses::{TIME_OF_DAY, time_of_day};
use crate::key::key;
use crate::reader::{Given, Section};
use crate::values::{Refusal, ValueKind, refuse};

/// When panels are dim, and when they are dark except for a moving dot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Night {
    /// As dim as the panel can.
    pub dim: Option<DaySpan>,
    /// Dark except for the dot.
    pub dark: Option<DaySpan>,
    /// Where the box stands, for sunrise and sunset.
    pub position: Option<Position>,
}

/// A part of the day. It may go past midnight.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DaySpan {
    /// Its first minute.
    pub from: DayTime,
    /// The first minute after it.
    pub until: DayTime,
}

/// A time of day.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DayTime {
    /// Minutes since midnight, local time.
    Clock(u16),
    /// When the sun's upper edge comes over the horizon.
    Sunrise,
    /// When it is gone again.
    Sunset,
}

/// A place on the earth, in thousandths of a degree: the sun's times need no more.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Position {
    /// North of the equator; south is below zero.
    pub north: i32,
    /// East of Greenwich; west is below zero.
    pub east: i32,
}

pub(super) fn read(section: &mut Section) -> Night {
    let dim_from = section.unless_empty(key!(
        /// Between these times of day the panel is as dim as it can be. Times are such as "22:00", or "sunset" and
        /// "sunrise" where the position is known.
        dim_from = "", day_time().or_empty(), "When the panel is dimmed, such as \"22:00\" or \"sunset\". Empty: never."
    ));
    let dim_until =
        section.unless_empty(key!(dim_until = "", day_time().or_empty(), "When it is as bright as before."));
    let dark_from = section.unless_empty(key!(
        /// Between these it is dark except for a moving dot, which wears it least. An alarm lights it up.
        dark_from = "", day_time().or_empty(), "When the panel goes dark except for a moving dot. Empty: never."
    ));
    let dark_until = section.unless_empty(key!(dark_until = "", day_time().or_empty(), "When it is lit again."));
    let position = section.unless_empty(key!(
        /// Where the box is, in degrees north and east, such as "53.5, 8.1"; south and west are below zero.
        position = "", position().or_empty()
    ));
    section.both_or_none(&dim_from, &dim_until, [&["dim_from"], &["dim_until"]]);
    section.both_or_none(&dark_from, &dark_until, [&["dark_from"], &["dark_until"]]);
    let position = position.map(|given| given.value);
    let dim = span(section, position, dim_from, dim_until);
    Night { dim, dark: span(section, position, dark_from, dark_until), position }
}

type Time = Option<Given<DayTime>>;

fn span(section: &mut Section, position: Option<Position>, from: Time, until: Time) -> Option<DaySpan> {
    for given in [&from, &until].into_iter().flatten() {
        let nowhere = position.is_none() && !section.was_refused("position");
        if nowhere && !matches!(given.value, DayTime::Clock(_)) {
            let message = format!("`{}`: expected `position` with sunset or sunrise, found none", given.key);
            section.wrong(given, message);
        }
    }
    let (from, until) = from.zip(until)?;
    if from.value == until.value {
        section.wrong(&until, format!("expected `{}` to differ from `{}`, found the same time", until.key, from.key));
    }
    Some(DaySpan { from: from.value, until: until.value })
}

fn day_time() -> ValueKind<DayTime> {
    let clock = time_of_day();
    let rules = format!(r#""type": "string", "pattern": "^(sunset|sunrise|{TIME_OF_DAY})$""#);
    ValueKind::new(rules, DayTime::Sunset, move |value| match value.as_str() {
        Some("sunset") => Ok(DayTime::Sunset),
        Some("sunrise") => Ok(DayTime::Sunrise),
        _ => (clock.read)(value).map(DayTime::Clock).map_err(|Refusal { expected, hint }| Refusal {
            expected: format!("\"sunset\", \"sunrise\", or {expected}"),
            hint,
        }),
    })
}

fn position() -> ValueKind<Position> {
    let degrees = |text: &str, most: f64| -> Option<i32> {
        let degrees: f64 = text.trim().parse().ok()?;
        (-most..=most).contains(&degrees).then_some((degrees * 1000.0).round() as i32)
    };
    let read = move |text: &str| {
        let (north, east) = text.split_once(',')?;
        Some(Position { north: degrees(north, 90.0)?, east: degrees(east, 180.0)? })
    };
    let rules = r#""type": "string", "pattern": "^\\s*[-+]?[0-9.]+\\s*,\\s*[-+]?[0-9.]+\\s*$""#;
    ValueKind::new(rules, Position { north: 0, east: 0 }, move |value| {
        value.as_str().and_then(read).map_or_else(
            || refuse("degrees north and east in quotes, such as \"53.5, 8.1\"; south and west are below zero"),
            Ok,
        )
    })
}
