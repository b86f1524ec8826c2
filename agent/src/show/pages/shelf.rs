//! Shelf: the shelves as they stand, every tray in its place with its label and its state.

use super::pieces::{heading, height, width};
use super::view::View;
use crate::tell::words::phrases::{Language, Phrases};
use crate::tell::words::temperature::Temperatures;
use crate::verdict::{Severity, Tray, TrayState};
use traylight_display::figure::{Stand, figure};
use traylight_display::shapes::{CellLook, cell};
use traylight_display::text::{text, text_centred, wrap};
use traylight_display::{Face, Frame, Rectangle, area};

/// The narrowest tray that two figures fit in.
const NARROWEST: i32 = 16;
/// The lowest row of trays that a label and a value fit in.
const LOWEST: i32 = 19;

/// A row that is higher looks like no shelf.
const HIGHEST: i32 = 54;

/// Draws the page.
pub fn draw(frame: &mut Frame, view: &View<'_>) {
    let (wide, high) = (width(frame), height(frame));
    // A low panel is all trays, but for what must not be taken for the box as it is now.
    let is_now = !view.is_test() && !view.verdict.freshness.is_silent();
    let top = if high < 64 && is_now { 0 } else { 9 };
    if top > 0 {
        heading(frame, view, 0, view.language.plain("page.shelf.title"));
    }
    let most = (wide / NARROWEST).max(1) as usize;
    // A shelf with more trays than fit side by side is broken evenly, so that trays stay below each other.
    let abreast = |trays: usize| trays.div_ceil(trays.div_ceil(most).max(1)).max(1);
    let shelves = view.verdict.shelves.iter().filter(|shelf| !shelf.trays.is_empty());
    let rows: Vec<(usize, &[Tray])> = shelves
        .flat_map(|shelf| {
            let abreast = abreast(shelf.trays.len());
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
    let space = high - 1 - top;
    let at_once = ((space / LOWEST).max(1) as usize).min(rows.len());
    let leaves: Vec<&[(usize, &[Tray])]> = rows.chunks(at_once).collect();
    let leaf = leaves[(view.cycle % leaves.len() as u64) as usize];
    let each = (space / leaf.len() as i32).min(HIGHEST);
    for (index, (abreast, trays)) in leaf.iter().enumerate() {
        let y = top + each * index as i32;
        let width = wide / *abreast as i32;
        for (place, tray) in trays.iter().enumerate() {
            draw_tray(frame, area(width * place as i32, y, (width - 1) as u32, (each - 1) as u32), tray, view.language);
        }
    }
}

/// A tray: its label and its value. A warning has a double edge and a mark, a critical one is lit and has two: never by form
/// alone, and never by blinking.
fn draw_tray(frame: &mut Frame, at: Rectangle, tray: &Tray, language: Language) {
    let (left, top) = (at.top_left.x, at.top_left.y);
    let (width, height) = (at.size.width, at.size.height);
    cell(frame, at, "", Face::Small, CellLook::Framed);
    let inner_edge = area(left + 1, top + 1, width - 2, height - 2);
    // A narrow tray has no room for a second edge.
    if tray.severity == Some(Severity::Warning) && width >= 24 {
        cell(frame, inner_edge, "", Face::Small, CellLook::Framed);
    }
    let margin = if width >= 24 { 3 } else { 1 };
    let room = area(left + margin, top + 1, width - 2 * margin as u32, height.saturating_sub(2));
    write_tray(frame, room, tray, language);
    if tray.severity == Some(Severity::Critical) {
        frame.invert(inner_edge);
    }
}

fn mark(severity: Option<Severity>) -> &'static str {
    match severity {
        Some(Severity::Critical) => "!!",
        Some(Severity::Warning) => "!",
        _ => "",
    }
}

/// The label above and the value as large as fits below it; in a low tray the label beside it; else the value alone. A word
/// that is wider than its tray is written downwards.
fn write_tray(frame: &mut Frame, inner: Rectangle, tray: &Tray, language: Language) {
    let (left, top) = (inner.top_left.x, inner.top_left.y);
    let (width, height) = (inner.size.width, inner.size.height);
    let columns = (width / Face::Small.width()) as usize;
    let marked = format!("{}{}", tray.label, mark(tray.severity));
    let label = if marked.chars().count() <= columns { &marked } else { &tray.label };
    let small = |text: &str| Face::Small.width() * text.chars().count() as u32;
    let (word, sign) = value(tray.state, language);
    let letters = word.chars().count() as u32;
    let is_downwards = small(&word) > width && height >= 9 + letters * 8;
    let value = if small(&word) <= width { &word } else { sign };
    let edge = i32::from(height > 24);
    if height < 16 || (height < 24 && small(label) + Face::Medium.width() * letters <= width) {
        if small(label) + small(value) + 2 > width {
            return text_centred(frame, inner, value, Face::Small);
        }
        text(frame, left, top + (height as i32 - 8) / 2, label, Face::Small);
        let room = area(left + small(label) as i32 + 2, top + 1, width - small(label) - 2, height - 2);
        figure(frame, room, value, Stand::Middle);
        return;
    }
    text_centred(frame, area(left, top + edge, width, 8), label, Face::Small);
    if is_downwards {
        let first = top + 9 + (height as i32 - 9 - 8 * letters as i32) / 2;
        for (index, letter) in word.chars().enumerate() {
            text_centred(frame, area(left, first + 8 * index as i32, width, 8), &letter.to_string(), Face::Small);
        }
        return;
    }
    let below = area(left, top + 8 + 2 * edge, width, height - 8 - 3 * edge as u32);
    figure(frame, below, value, Stand::Middle);
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
