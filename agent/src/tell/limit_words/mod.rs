//! The words for limits: from where on a condition begins and ends, and where each limit comes from. Pure; the rules that all
//! words keep are in [`super::wording`].

use super::tongue::Tongue;
use crate::verdict::{Figure, Limit, Origin};
use std::fmt::Display;

/// What a limit is, without its origin.
pub fn text(limit: &Limit, tongue: Tongue) -> String {
    let figures: Vec<(&str, String)> = limit.figures.iter().map(|(place, of)| (*place, figure(*of, tongue))).collect();
    let places: Vec<(&str, &dyn Display)> =
        figures.iter().map(|(place, text)| (*place, text as &dyn Display)).collect();
    tongue.say(limit.key, &places)
}

fn figure(figure: Figure, tongue: Tongue) -> String {
    match figure {
        Figure::Span(time) => tongue.exact_span(time),
        other => tongue.figure(other),
    }
}

/// Where a limit comes from, in a word or two.
pub fn origin(origin: Origin, tongue: Tongue) -> &'static str {
    tongue.plain(match origin {
        Origin::Fixed => "limit.origin.fixed",
        Origin::Default => "limit.origin.default",
        Origin::Configuration => "limit.origin.configuration",
        Origin::Drive => "limit.origin.drive",
        Origin::Chip => "limit.origin.chip",
    })
}

#[cfg(test)]
mod edges;
#[cfg(test)]
mod tests;
