//! State: one word for the whole box, and the shelves as they stand, every tray in its place.

use super::View;
use super::pieces::WIDTH;
use crate::tell::tongue::Tongue;
use crate::tell::wording::words;
use crate::units::span;
use crate::verdict::{Heard, Severity, Tray, TrayState};
use traylight_display::shapes::{CellLook, cell};
use traylight_display::text::{fit, text, text_centred, text_right};
use traylight_display::{Face, Frame, Rectangle, area};

/// Rows of pixels that the shelves share.
const SHELVES: std::ops::Range<i32> = 18..62;
/// More trays than this do not fit side by side.
const ABREAST: usize = 8;

/// Draws the page.
pub fn draw(frame: &mut Frame, view: &View<'_>) {
    let end = text(frame, 0, 0, state_word(view), Face::Medium);
    let beside = ((WIDTH - end) / Face::Small.width() as i32) as usize;
    text_right(frame, WIDTH, 0, &fit(view.clock, beside), Face::Small);
    text_right(frame, WIDTH, 8, &fit(&remark(view, beside), beside), Face::Small);

    let rows: Vec<&[Tray]> = view.verdict.shelves.iter().flat_map(|shelf| shelf.trays.chunks(ABREAST)).collect();
    let rows = &rows[..rows.len().min(4)];
    let height = (SHELVES.end - SHELVES.start) / rows.len().max(1) as i32;
    for (index, trays) in rows.iter().enumerate() {
        let top = SHELVES.start + height * index as i32;
        let width = WIDTH / trays.len().max(1) as i32;
        for (place, tray) in trays.iter().enumerate() {
            draw_tray(
                frame,
                area(width * place as i32, top, (width - 1) as u32, (height - 1) as u32),
                tray,
                view.tongue,
            );
        }
    }
    if rows.is_empty() && view.snapshot.is_some() {
        text(frame, 0, 32, view.tongue.plain("page.state.no-drives"), Face::Small);
    }
}

/// One word for the box. `OK` needs everything fresh: silence and trouble each have words of their own.
fn state_word(view: &View<'_>) -> &'static str {
    view.tongue.plain(match (&view.verdict.heard, view.verdict.worst()) {
        (Heard::SilentSince(_), _) => "page.no-data",
        (_, Some(Severity::Critical)) => "page.critical",
        (_, Some(Severity::Warning)) => "page.warning",
        (Heard::NotYet, _) => "page.starting",
        (Heard::InPart(_), _) => "page.partial",
        (Heard::Fresh, _) => "page.ok",
    })
}

/// The few columns right of the word.
fn remark(view: &View<'_>, columns: usize) -> String {
    let notices = view.verdict.conditions.iter().filter(|condition| condition.severity == Severity::Notice);
    match &view.verdict.heard {
        Heard::SilentSince(since) => span(view.verdict.at.since(*since)),
        Heard::NotYet => view.tongue.plain("page.state.looking").to_owned(),
        Heard::InPart(blind) => view.tongue.say("page.state.blind", &[("n", &blind.len())]),
        Heard::Fresh if view.verdict.muted_until.is_some() => muted(view, columns),
        Heard::Fresh if view.verdict.worst() >= Some(Severity::Warning) => {
            let open = view.verdict.incidents.iter().filter(|open| open.severity >= Severity::Warning).count();
            view.tongue.say("page.state.open", &[("n", &open)])
        }
        Heard::Fresh => match notices.map(|notice| words(notice, view.tongue)).next() {
            Some(notice) => notice.title,
            None => {
                let drives = view.snapshot.map_or(0, |snapshot| snapshot.drives.len());
                view.tongue.say("page.state.drives", &[("n", &drives)])
            }
        },
    }
}

/// That messages are held back must not be cut: who forgot it would wait for one.
fn muted(view: &View<'_>, columns: usize) -> String {
    let left = view.verdict.muted_until.map(|until| span(until.since(view.verdict.at))).unwrap_or_default();
    let ways = ["page.state.muted-left", "page.state.muted-for", "page.state.muted"];
    ways.map(|way| view.tongue.say(way, &[("left", &left)]))
        .into_iter()
        .find(|way| way.chars().count() <= columns)
        .unwrap_or_default()
}

/// A tray: its label and its value. A warning has a double edge, a critical one is lit; both also say so in words.
fn draw_tray(frame: &mut Frame, at: Rectangle, tray: &Tray, tongue: Tongue) {
    let (left, top) = (at.top_left.x, at.top_left.y);
    let (width, height) = (at.size.width, at.size.height);
    cell(frame, at, "", Face::Small, CellLook::Framed);
    if tray.severity == Some(Severity::Warning) {
        cell(frame, area(left + 1, top + 1, width - 2, height - 2), "", Face::Small, CellLook::Framed);
    }
    let inner = area(left + 3, top + 2, width.saturating_sub(6), height.saturating_sub(4));
    write_tray(frame, inner, tray, tongue);
    if tray.severity == Some(Severity::Critical) {
        frame.invert(area(left + 1, top + 1, width - 2, height - 2));
    }
}

/// Large figures with the label beside them where both fit; else the label above; else the value alone.
fn write_tray(frame: &mut Frame, inner: Rectangle, tray: &Tray, tongue: Tongue) {
    let (left, top) = (inner.top_left.x, inner.top_left.y);
    let (width, height) = (inner.size.width, inner.size.height);
    let value = value(tray.state, (width / Face::Small.width()) as usize, tongue);
    let label_width = Face::Small.width() * tray.label.chars().count() as u32;
    let value_width = Face::Medium.width() * value.chars().count() as u32;
    if height >= Face::Medium.height() && label_width + value_width <= width {
        text(frame, left, top, &tray.label, Face::Small);
        let room = area(left + label_width as i32, top, width - label_width, height);
        return text_centred(frame, room, &value, Face::Medium);
    }
    let label_height = if height >= 2 * Face::Small.height() { Face::Small.height() } else { 0 };
    text_centred(frame, area(left, top, width, label_height), &tray.label, Face::Small);
    text_centred(frame, area(left, top + label_height as i32, width, height - label_height), &value, Face::Small);
}

fn value(state: TrayState, columns: usize, tongue: Tongue) -> String {
    let wide = |key: &str, narrow: &str| {
        let words = tongue.plain(key);
        if columns >= words.chars().count() { words.to_owned() } else { narrow.to_owned() }
    };
    match state {
        TrayState::Empty => String::new(),
        TrayState::Gone => wide("page.state.gone", "X"),
        TrayState::Bad => wide("page.state.bad", "!!"),
        TrayState::Rebuilding => wide("page.state.fills", ">>"),
        TrayState::Asleep => "zz".to_owned(),
        TrayState::Warm(celsius) => format!("{:.0}", celsius.0),
        TrayState::NoReading => "--".to_owned(),
    }
}
