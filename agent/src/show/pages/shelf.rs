//! Shelf: the shelves as they stand, every tray in its place with its label and its state.

use super::View;
use super::pieces::{heading, height, width};
use crate::verdict::{Severity, Tray, TrayState};
use traylight_display::shapes::{CellLook, cell};
use traylight_display::text::{text, text_centred, wrap};
use traylight_display::{Face, Frame, Rectangle, area};

/// The narrowest tray that two figures fit in.
const NARROWEST: i32 = 16;
/// The lowest row of trays that a label and a value fit in.
const LOWEST: i32 = 20;

/// Draws the page.
pub fn draw(frame: &mut Frame, view: &View<'_>) {
    let (wide, high) = (width(frame), height(frame));
    // Low glass is all trays: the pages before and after it say how the box is.
    let top = if high < 64 { 0 } else { 9 };
    if top > 0 {
        heading(frame, view, 0, "SHELF");
    }
    let abreast = (wide / NARROWEST).max(1) as usize;
    let rows: Vec<&[Tray]> = view.verdict.shelves.iter().flat_map(|shelf| shelf.trays.chunks(abreast)).collect();
    if rows.is_empty() {
        for (index, line) in wrap("no drives found", Face::Small.columns(frame.glass_size())).iter().enumerate() {
            text(frame, 0, top + 9 * (1 + index as i32), line, Face::Small);
        }
        return;
    }
    // More rows than fit take turns.
    let space = high - 1 - top;
    let at_once = ((space / LOWEST).max(1) as usize).min(rows.len());
    let leaves: Vec<&[&[Tray]]> = rows.chunks(at_once).collect();
    let leaf = leaves[(view.lap % leaves.len() as u64) as usize];
    let each = (space / leaf.len() as i32).min(32);
    for (index, trays) in leaf.iter().enumerate() {
        let y = top + each * index as i32;
        let width = wide / trays.len().max(1) as i32;
        for (place, tray) in trays.iter().enumerate() {
            draw_tray(frame, area(width * place as i32, y, (width - 1) as u32, (each - 1) as u32), tray);
        }
    }
}

/// A tray: its label and its value. A warning has a double edge and a mark, a critical one is lit and has two: never by form
/// alone, and never by blinking.
fn draw_tray(frame: &mut Frame, at: Rectangle, tray: &Tray) {
    let (left, top) = (at.top_left.x, at.top_left.y);
    let (width, height) = (at.size.width, at.size.height);
    cell(frame, at, "", Face::Small, CellLook::Framed);
    let inner_edge = area(left + 1, top + 1, width - 2, height - 2);
    // A narrow tray has no room for a second edge.
    if tray.severity == Some(Severity::Warning) && width >= 24 {
        cell(frame, inner_edge, "", Face::Small, CellLook::Framed);
    }
    let margin = if width >= 24 { 3 } else { 1 };
    let room = area(left + margin, top + 2, width - 2 * margin as u32, height.saturating_sub(3));
    write_tray(frame, room, tray);
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

/// Large figures with the label beside them where both fit; else the label above; else both small, side by side; else the
/// value alone.
fn write_tray(frame: &mut Frame, inner: Rectangle, tray: &Tray) {
    let (left, top) = (inner.top_left.x, inner.top_left.y);
    let (width, height) = (inner.size.width, inner.size.height);
    let columns = (width / Face::Small.width()) as usize;
    let value = value(tray.state, columns);
    let marked = format!("{}{}", tray.label, mark(tray.severity));
    let label = if marked.chars().count() <= columns { &marked } else { &tray.label };
    let small = |text: &str| Face::Small.width() * text.chars().count() as u32;
    let beside = Face::Medium.width() * value.chars().count() as u32;
    if height >= Face::Medium.height() && small(label) + beside <= width {
        text(frame, left, top, label, Face::Small);
        let room = area(left + small(label) as i32, top, width - small(label), height);
        return text_centred(frame, room, &value, Face::Medium);
    }
    if height >= 17 {
        text_centred(frame, area(left, top, width, 8), label, Face::Small);
        let face = if beside <= width && height >= 25 { Face::Medium } else { Face::Small };
        return text_centred(frame, area(left, top + 9, width, height - 9), &value, face);
    }
    if small(label) + small(&value) + 4 <= width {
        text(frame, left, top + (height as i32 - 8) / 2, label, Face::Small);
        let room = area(left + small(label) as i32, top, width - small(label), height);
        return text_centred(frame, room, &value, Face::Small);
    }
    text_centred(frame, inner, &value, Face::Small);
}

fn value(state: TrayState, columns: usize) -> String {
    let wide = |words: &str, narrow: &str| if columns >= words.len() { words.to_owned() } else { narrow.to_owned() };
    match state {
        TrayState::Empty => String::new(),
        TrayState::Gone => wide("GONE", "X"),
        TrayState::Bad => wide("BAD", "!!"),
        TrayState::Rebuilding => wide("fill", ">>"),
        TrayState::Asleep => "zz".to_owned(),
        TrayState::Warm(celsius) => format!("{:.0}", celsius.0),
        TrayState::NoReading => "--".to_owned(),
    }
}
