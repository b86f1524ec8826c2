//! Shelf: the shelves as they stand, every tray in its place with its label and its state.

use super::pieces::{columns, heading, heading_words, height, severity_word, width};
use super::view::View;
use crate::tell::words::drives;
use crate::tell::words::phrases::{Language, Phrases};
use crate::tell::words::temperature::Temperatures;
use crate::verdict::{Severity, Tray, TrayState};
use traylight_display::figure::{Stand, figure};
use traylight_display::shapes::{CellLook, cell};
use traylight_display::text::{text, text_centred, wrap};
use traylight_display::{Face, Frame, Rectangle, area};

/// Trays side by side share the line between them: from one tray to the next at least so many columns.
const NARROWEST: i32 = 15;
/// The lowest row of trays that a label and a value fit in, from one row to the next.
const LOWEST: i32 = 19;
/// A row that is higher looks like no shelf.
const HIGHEST: i32 = 54;
/// Between the outside of a tray and what is in it: its line, and a dark one, so that nothing touches the line.
const MARGIN: i32 = 2;
/// The rows of a tray, from its top, that its label takes with what is around it and a dark one below.
const LABEL: i32 = 11;

/// Draws the page.
pub fn draw(frame: &mut Frame, view: &View<'_>) {
    let (wide, high) = (width(frame), height(frame));
    // A low panel is all trays, but for what must not be taken for the box as it is now.
    let is_now = !view.is_test() && !view.verdict.freshness.is_silent();
    let top = if high < 64 && is_now { 0 } else { 9 };
    if top > 0 {
        heading(frame, view, 0, &title(view, columns(wide as u32)));
    }
    let shelves = view.verdict.shelves.iter().filter(|shelf| !shelf.trays.is_empty());
    let rows: Vec<(usize, &[Tray])> = shelves
        .flat_map(|shelf| {
            let abreast = abreast(&shelf.trays, wide, view.language);
            shelf.trays.chunks(abreast).map(move |trays| (abreast, trays))
        })
        .collect();
    if rows.is_empty() {
        for (index, line) in wrap(view.language.plain("page.shelf.no-drives"), Face::Small.columns(frame.panel_size()))
            .iter()
            .enumerate()
        {
            text(frame, 0, top + 9 * (1 + index as i32), line, Face::Small);
        }
        return;
    }
    // More rows than fit take turns.
    let space = high - 2 - top;
    let at_once = ((space / LOWEST).max(1) as usize).min(rows.len());
    let leaves: Vec<&[(usize, &[Tray])]> = rows.chunks(at_once).collect();
    let leaf = leaves[(view.cycle % leaves.len() as u64) as usize];
    let each = (space / leaf.len() as i32).min(HIGHEST);
    for (index, (abreast, trays)) in leaf.iter().enumerate() {
        let y = top + each * index as i32;
        let line = |place: usize| (wide - 1) * place as i32 / *abreast as i32;
        // Some trays are a column wider than others; what is in them is not.
        let narrowest = ((wide - 1) / *abreast as i32 + 1 - 2 * MARGIN) as u32;
        for (place, tray) in trays.iter().enumerate() {
            let at = area(line(place), y, (line(place + 1) - line(place) + 1) as u32, (each + 1) as u32);
            draw_tray(frame, at, narrowest, tray, view.language);
        }
    }
}

/// The page's name with the unit of the figures in the trays; without it where that leaves no room for the name.
fn title(view: &View<'_>, columns: usize) -> String {
    let name = view.language.plain("page.shelf.title");
    let with_unit = format!("{name} °{}", view.language.degree_letter());
    if heading_words(view, columns, &with_unit).0.is_empty() { name.to_owned() } else { with_unit }
}

/// Each tray with its state.
pub fn sentences(view: &View<'_>) -> Vec<String> {
    let plain = |key| view.language.plain(key).to_owned();
    let trays = view.verdict.shelves.iter().flat_map(|shelf| &shelf.trays);
    let said: Vec<String> = trays
        .map(|tray| {
            let state = match tray.state {
                TrayState::Empty => plain("page.shelf.empty"),
                TrayState::Asleep => plain("page.drives.asleep"),
                TrayState::Warm(celsius) => view.language.temperature(celsius),
                TrayState::NoReading => plain("page.shelf.no-temperature"),
                TrayState::Gone | TrayState::Bad | TrayState::Rebuilding => value(tray.state, view.language).0,
            };
            let named = drives::named(&tray.place, view.language);
            let severity = tray.severity.map(|severity| format!(", {}", severity_word(view, severity, usize::MAX)));
            format!("{named} {state}{}", severity.unwrap_or_default())
        })
        .collect();
    if said.is_empty() { vec![plain("page.shelf.no-drives")] } else { said }
}

/// How many trays of a shelf are side by side: as many as have room for their labels and figures, broken evenly, so that
/// trays stay below each other.
fn abreast(trays: &[Tray], wide: i32, language: Language) -> usize {
    let columns_of = |tray: &Tray| {
        let figures = matches!(tray.state, TrayState::Warm(_)).then(|| value(tray.state, language).0);
        tray.place.label().chars().count().max(figures.map_or(0, |figures| figures.chars().count()))
    };
    let columns = trays.iter().map(columns_of).max().unwrap_or(0) as i32;
    let narrowest = NARROWEST.max(Face::Small.width() as i32 * columns + 2 * MARGIN - 1);
    let most = ((wide - 1) / narrowest).max(1) as usize;
    trays.len().div_ceil(trays.len().div_ceil(most).max(1)).max(1)
}

/// A tray: its label and its value. The label of a warning is lit, with a mark where that has room; of a critical one the
/// whole tray is. Never by form alone, and never by blinking.
fn draw_tray(frame: &mut Frame, at: Rectangle, inner_width: u32, tray: &Tray, language: Language) {
    let (left, top) = (at.top_left.x, at.top_left.y);
    let (width, height) = (at.size.width, at.size.height);
    cell(frame, at, "", Face::Small, CellLook::Framed);
    let inner_left = left + MARGIN;
    let columns = (inner_width / Face::Small.width()) as usize;
    let label = tray.place.label();
    let marked = format!("{label}{}", mark(tray.severity));
    // The last column of a character is its gap to the next.
    let fits = marked.chars().count() as u32 * Face::Small.width() <= inner_width + 1;
    let label = if fits { &marked } else { &label };
    text_centred(frame, area(inner_left, top + MARGIN, inner_width + u32::from(fits), 8), label, Face::Small);
    let below = area(inner_left, top + LABEL, inner_width, height.saturating_sub((LABEL + MARGIN) as u32));
    let (word, sign) = value(tray.state, language);
    let letters = word.chars().count();
    if letters > columns && below.size.height >= 8 * letters as u32 {
        let first = below.top_left.y + (below.size.height as i32 - 8 * letters as i32) / 2;
        for (index, letter) in word.chars().enumerate() {
            let line = area(inner_left, first + 8 * index as i32, inner_width, 8);
            text_centred(frame, line, &letter.to_string(), Face::Small);
        }
    } else {
        figure(frame, below, if letters > columns { sign } else { &word }, Stand::Middle);
    }
    match tray.severity {
        Some(Severity::Critical) => frame.invert(area(left + 1, top + 1, width - 2, height - 2)),
        Some(Severity::Warning) => frame.invert(area(left + 1, top + 1, width - 2, (LABEL - 2) as u32)),
        _ => {}
    }
}

fn mark(severity: Option<Severity>) -> &'static str {
    match severity {
        Some(Severity::Critical) => "!!",
        Some(Severity::Warning) => "!",
        _ => "",
    }
}

/// The word or figure for a tray, and what stands for it where a word has no room.
fn value(state: TrayState, language: Language) -> (String, &'static str) {
    match state {
        TrayState::Empty => (String::new(), ""),
        TrayState::Gone => (language.plain("page.shelf.gone").to_owned(), "X"),
        TrayState::Bad => (language.plain("page.shelf.failed").to_owned(), "!!"),
        TrayState::Rebuilding => (language.plain("page.shelf.rebuilding").to_owned(), ">>"),
        TrayState::Asleep => ("zz".to_owned(), "zz"),
        TrayState::Warm(celsius) => (language.degrees(celsius), "+"),
        TrayState::NoReading => ("--".to_owned(), "--"),
    }
}
