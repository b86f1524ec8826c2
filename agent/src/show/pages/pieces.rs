//! What several pages share: lines, the heading, the sign of life.

use super::View;
use crate::verdict::{Heard, Severity};
use traylight_display::text::{text, text_right};
use traylight_display::{Face, Frame, area};

/// Width of the glass in pixels.
pub const WIDTH: i32 = 128;

/// The first row of each of the seven lines; the last two rows of the glass are the sign of life's.
pub const fn line(number: i32) -> i32 {
    number * 9
}

/// The page's name on the left, the clock on the right; trouble elsewhere is never out of sight.
pub fn heading(frame: &mut Frame, view: &View<'_>, name: &str) {
    text(frame, 0, line(0), name, Face::Small);
    let state = match (&view.verdict.heard, view.verdict.worst()) {
        (Heard::SilentSince(_), _) => Some("page.no-data"),
        (_, Some(Severity::Critical)) => Some("page.critical-short"),
        (_, Some(Severity::Warning)) => Some("page.warning-short"),
        _ => None,
    };
    let state = state.map(|key| format!("{} ", view.tongue.plain(key))).unwrap_or_default();
    text_right(frame, WIDTH, line(0), &format!("{state}{}", view.clock), Face::Small);
}

/// One line: words on the left, a figure on the right that is never cut.
pub fn pair(frame: &mut Frame, number: i32, left: &str, right: &str) {
    let room = (WIDTH / Face::Small.width() as i32) as usize;
    let left_room = room.saturating_sub(right.chars().count() + 1);
    text(frame, 0, line(number), &traylight_display::text::fit(left, left_room), Face::Small);
    text_right(frame, WIDTH, line(number), right, Face::Small);
}

/// A short dash that steps along the last row with every beat: a picture that stands still is an old one.
pub fn sign_of_life(frame: &mut Frame, beat: u64) {
    const STEPS: u64 = 31;
    let x = (beat % STEPS) as i32 * 4;
    for column in x..x + 4 {
        frame.set(column, 63, true);
    }
}

/// Lit from edge to edge behind the first line: for what must not be overlooked.
pub fn alarm_strip(frame: &mut Frame) {
    frame.invert(area(0, 0, WIDTH as u32, 9));
}
