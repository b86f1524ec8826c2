//! The shelves drawn with characters, as seen from the front, while their trays are named.

use super::walk::{Holds, PlannedShelf, PlannedTray};

/// Columns of a tray, without the line that it shares with the next.
const WIDE: usize = 6;
/// As wide as a terminal is where nothing else is known.
const COLUMNS: usize = 80;

/// Each shelf with its trays: the label above, below it the last four characters of what is in it. Trays that do not fit
/// beside each other continue below.
pub fn drawing(shelves: &[PlannedShelf], columns: Option<usize>) -> String {
    let abreast = (columns.unwrap_or(COLUMNS).saturating_sub(1) / (WIDE + 1)).max(1);
    let mut text = String::new();
    for trays in shelves.iter().flat_map(|shelf| shelf.trays.chunks(abreast)) {
        let line = format!("+{}\n", format!("{:-<WIDE$}+", "").repeat(trays.len()));
        let row = |cell: &dyn Fn(&PlannedTray) -> String| {
            format!("|{}\n", trays.iter().map(|tray| format!("{:^WIDE$}|", cell(tray))).collect::<String>())
        };
        text += &line;
        text += &row(&|tray| tray.label.clone());
        text += &row(&|tray| match &tray.holds {
            None => "?".to_owned(),
            Some(Holds::Nothing) => "-".to_owned(),
            Some(Holds::Serial(name) | Holds::Port(name)) => tail(name),
        });
        text += &line;
    }
    text
}

/// The last four characters.
pub(super) fn tail(name: &str) -> String {
    let start = name.char_indices().rev().nth(3).map_or(0, |(at, _)| at);
    name[start..].to_owned()
}
