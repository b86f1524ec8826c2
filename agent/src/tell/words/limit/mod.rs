//! The words for limits: from where on a condition begins and ends, and where each limit comes from. Pure; the rules that all
//! words keep are in [`super::condition`].

use super::phrases::{Language, Phrases};
use super::temperature::Temperatures;
use crate::units::CelsiusDifference;
use crate::verdict::{Figure, Limit, Origin};
use std::fmt::Display;

/// What a limit is, without its origin.
pub fn text(limit: &Limit, language: Language) -> String {
    let figures: Vec<(&str, String)> =
        limit.figures.iter().map(|(place, of)| (*place, figure(*of, language))).collect();
    let places: Vec<(&str, &dyn Display)> =
        figures.iter().map(|(place, text)| (*place, text as &dyn Display)).collect();
    language.say(limit.key, &places)
}

fn figure(figure: Figure, language: Language) -> String {
    match figure {
        Figure::Span(time) => language.exact_span(time),
        Figure::Celsius(celsius) => language.exact_temperature(celsius),
        Figure::Degrees(degrees) => language.exact_difference(CelsiusDifference(degrees)),
        other => language.figure(other),
    }
}

/// Where a limit comes from, in a word or two.
pub fn origin(origin: Origin, language: Language) -> &'static str {
    language.plain(match origin {
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
