//! Box: its name, where to reach it, how long it is up, how hard it works.

use super::View;
use super::pieces::{line, pair};
use crate::reading::Snapshot;
use crate::units::{Percent, span};
use traylight_display::text::{fit, text, text_right};
use traylight_display::{Face, Frame};

/// Draws the page.
pub fn draw(frame: &mut Frame, view: &View<'_>, snapshot: &Snapshot) {
    let board = &snapshot.board;
    text(frame, 0, 0, &fit(&board.name, 9), Face::Medium);
    text_right(frame, 128, 0, view.clock, Face::Small);
    text(frame, 0, line(2), board.address.as_deref().unwrap_or(view.tongue.plain("page.box.no-address")), Face::Small);
    pair(frame, 3, view.tongue.plain("page.box.up"), &span(view.verdict.at.since_boot()));
    let load = board.load.as_ref().map(|reading| &reading.value);
    match load {
        Some(Ok(load)) => {
            let cores = view.tongue.say("page.box.load", &[("n", &load.processors)]);
            pair(frame, 4, &cores, &format!("{:.2}", load.one_minute));
            let used = load.memory.0.saturating_sub(load.memory_available.0);
            let share = Percent::of(used as f64, load.memory.0 as f64);
            let share = share.map_or_else(|| "--".to_owned(), |share| share.to_string());
            pair(frame, 5, view.tongue.plain("page.box.memory"), &share);
        }
        _ => pair(frame, 4, view.tongue.plain("page.box.load-and-memory"), "--"),
    }
    pair(frame, 6, &board.kernel, "");
}
