//! Care of the panel: a pixel of it ages by the light it gives, so pictures move a little, are dim where that is enough, and
//! at night are dark but for a dot. What is wrong is never dimmed. Pure.

use super::sun::sun;
use crate::verdict::{Severity, Verdict};
use jiff::ZonedDateTime;
use traylight_config::{DaySpan, DayTime, Night, PanelBrightness};
use traylight_display::{Brightness, Frame, PanelSize, Rectangle};

/// A picture with its light.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Picture {
    /// The pixels.
    pub frame: Frame,
    /// How bright they are.
    pub brightness: Brightness,
}

/// How much attention the box wants.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Call {
    /// None: all is well, or its owner knows.
    Quiet,
    /// A warning is open, or nothing is heard.
    Warning,
    /// Something critical is open.
    Critical,
}

/// What the time of day asks for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Hour {
    /// The owner's brightness.
    Day,
    /// As dim as the panel can.
    Dim,
    /// Dark but for a dot.
    Dark,
}

/// How much attention the box wants: what is acknowledged wants none.
pub fn call(verdict: &Verdict) -> Call {
    let open = verdict.incidents.iter().filter(|incident| !incident.acknowledged);
    match open.map(|incident| incident.severity).max() {
        Some(Severity::Critical) => Call::Critical,
        Some(Severity::Warning) => Call::Warning,
        _ if verdict.freshness.is_silent() => Call::Warning,
        _ => Call::Quiet,
    }
}

/// What the time of day asks for. A calendar that nobody has set says nothing of the night.
pub fn hour(night: &Night, now: &ZonedDateTime, synchronised: bool) -> Hour {
    let is_in = |span: Option<DaySpan>| synchronised && span.is_some_and(|span| is_in(span, night, now));
    match (is_in(night.dark), is_in(night.dim)) {
        (true, _) => Hour::Dark,
        (false, true) => Hour::Dim,
        (false, false) => Hour::Day,
    }
}

fn is_in(span: DaySpan, night: &Night, now: &ZonedDateTime) -> bool {
    const DAY: f64 = 1440.0;
    let sun = night.position.map(|position| sun(now.date(), position, now.offset().seconds() / 60));
    let at = |time: DayTime| match time {
        DayTime::Clock(minute) => Some(f64::from(minute)),
        DayTime::Sunrise => sun.map(|sun| sun.rise),
        DayTime::Sunset => sun.map(|sun| sun.set),
    };
    let Some((from, until)) = at(span.from).zip(at(span.until)) else { return false };
    let length = match (span.from, span.until) {
        // All of a polar night, nothing of a polar day: their ends are the same time of day.
        (DayTime::Sunset, DayTime::Sunrise) => DAY - (from - until),
        (DayTime::Sunrise, DayTime::Sunset) => until - from,
        _ => (until - from).rem_euclid(DAY),
    };
    let minute = f64::from(now.hour()) * 60.0 + f64::from(now.minute());
    (minute - from).rem_euclid(DAY) < length
}

/// The picture as it goes to the panel: moved a little, in the light that its hour and the call ask for. In the dark hours
/// all that is left of a quiet picture is the dot.
pub fn cared_for(page: &Frame, wanted: PanelBrightness, hour: Hour, call: Call, minutes: u64, tick: u64) -> Picture {
    let by_day = match wanted {
        PanelBrightness::Dim => Brightness::Dim,
        PanelBrightness::Normal => Brightness::Bright,
        PanelBrightness::Bright => Brightness::Full,
    };
    let brightness = match (call, hour) {
        (Call::Critical, _) => Brightness::Full,
        (Call::Warning, Hour::Dim | Hour::Dark) => Brightness::Bright,
        (Call::Warning | Call::Quiet, Hour::Day) => by_day,
        (Call::Quiet, Hour::Dim | Hour::Dark) => Brightness::Night,
    };
    let frame = match (call, hour) {
        (Call::Quiet, Hour::Dark) => dot(page.panel_size(), tick),
        _ => with_sign_of_life(moved(page, minutes), tick),
    };
    Picture { frame, brightness }
}

/// The page with a short dash that steps along the last row with every tick: a picture that stands still is an old one. The
/// tails of letters that reach into that row stay as they are.
pub fn with_sign_of_life(mut page: Frame, tick: u64) -> Frame {
    let (width, last_row) = (page.panel_size().width() as i32, page.panel_size().height() as i32 - 1);
    let steps = (width / 4 - 1).max(1) as u64;
    let begin = (tick % steps) as i32 * 4;
    (begin..begin + 4).for_each(|x| page.set(x, last_row, true));
    page
}

/// How many places a picture has.
pub const PLACES: usize = 9;

/// The picture in one of its places, another each minute, at most two pixels from where it was drawn. It moves only into
/// room that it leaves free: what is drawn is never cut, so a page that fills the panel from edge to edge stays. The last row
/// is left to the sign of life, unless the page has drawn there itself.
pub fn moved(page: &Frame, minutes: u64) -> Frame {
    const STEPS: [(i32, i32); PLACES] = [(0, 0), (1, 0), (2, 0), (2, 1), (1, 1), (0, 1), (0, 2), (1, 2), (2, 2)];
    let (width, last_row) = (page.panel_size().width() as i32, page.panel_size().height() as i32 - 1);
    let Some(Rectangle { top_left, size }) = page.lit_area() else { return page.clone() };
    let (right, down) = STEPS[minutes as usize % PLACES];
    let dx = within(right, top_left.x, width - top_left.x - size.width as i32);
    let dy = within(down, top_left.y, (last_row - top_left.y - size.height as i32).max(0));
    page.shifted(dx, dy)
}

/// A step of 0 to 2 as a way to go: forward as far as there is room, and for the rest of two pixels back.
fn within(step: i32, room_before: i32, room_behind: i32) -> i32 {
    let behind = room_behind.min(2);
    let before = room_before.min(2 - behind);
    (step - before).min(behind)
}

/// A dot of two by two pixels, each time elsewhere, that has been everywhere before it comes to a place again.
pub fn dot(size: PanelSize, tick: u64) -> Frame {
    /// Has no divisor in common with the number of places on any panel.
    const STRIDE: u64 = 607;
    let (columns, rows) = (u64::from(size.width() / 2), u64::from(size.height() / 2));
    let place = (tick % (columns * rows)) * STRIDE % (columns * rows);
    let (x, y) = ((place % columns * 2) as i32, (place / columns * 2) as i32);
    let mut frame = Frame::new(size);
    for (x, y) in [(x, y), (x + 1, y), (x, y + 1), (x + 1, y + 1)] {
        frame.set(x, y, true);
    }
    frame
}

#[cfg(test)]
mod tests;
