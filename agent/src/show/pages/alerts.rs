//! Alerts: the ways that they take, whether anybody reads there, and what waits.

use super::sheet::{Row, Sheet};
use super::{View, Way};

/// How many messages wait leads; then each way.
pub fn sheet(view: &View<'_>) -> Sheet {
    let waiting: usize = view.ways.iter().map(|way| way.waiting).sum();
    let unconfirmed = view.ways.iter().filter(|way| !way.is_confirmed).count();
    let beside = match unconfirmed {
        0 => vec!["alerts wait".to_owned(), "all ways".to_owned(), "confirmed".to_owned()],
        count => vec!["alerts wait".to_owned(), format!("{count} way(s)"), "unconfirmed".to_owned()],
    };
    let rows = view.ways.iter().map(|way| Row::of(&way.name, state(way))).collect();
    Sheet { name: "ALERTS".to_owned(), figure: waiting.to_string(), beside, rows, ..Sheet::default() }
}

fn state(way: &Way) -> String {
    match (way.fails, way.is_confirmed, way.waiting) {
        (true, _, 0) => "fails".to_owned(),
        (true, _, waiting) => format!("fails, {waiting}"),
        (false, false, _) => "unconfirmed".to_owned(),
        (false, true, 0) => "all sent".to_owned(),
        (false, true, waiting) => format!("{waiting} wait"),
    }
}
