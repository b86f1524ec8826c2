//! Alerts: the ways that they take, whether anybody reads there, and what waits.

use super::sheet::{Row, Sheet};
use super::{View, Way};
use crate::tell::tongue::Tongue;

/// How many messages wait leads; then each way.
pub fn sheet(view: &View<'_>) -> Sheet {
    let waiting: usize = view.ways.iter().map(|way| way.waiting).sum();
    let unconfirmed = view.ways.iter().filter(|way| !way.is_confirmed).count();
    let words = |key| view.tongue.plain(key).to_owned();
    let (which, how) = match unconfirmed {
        0 => (words("page.alerts.all-ways"), "page.alerts.confirmed"),
        count => (view.tongue.count("page.alerts.ways", count as u64), "page.alerts.unconfirmed"),
    };
    let rows = view.ways.iter().map(|way| Row::of(&way.name, state(way, view.tongue))).collect();
    let (name, beside) = (words("page.alerts.title"), vec![words("page.alerts.wait"), which, words(how)]);
    Sheet { name, figure: waiting.to_string(), beside, rows, ..Sheet::default() }
}

fn state(way: &Way, tongue: Tongue) -> String {
    let counted = |key| tongue.say(key, &[("n", &way.waiting)]);
    match (way.fails, way.is_confirmed, way.waiting) {
        (true, _, 0) => tongue.plain("page.alerts.fails").to_owned(),
        (true, ..) => counted("page.alerts.fails-with"),
        (false, false, _) => tongue.plain("page.alerts.unconfirmed").to_owned(),
        (false, true, 0) => tongue.plain("page.alerts.sent").to_owned(),
        (false, true, _) => counted("page.alerts.waiting"),
    }
}
