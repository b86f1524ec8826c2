//! What is on each page: a verdict and a snapshot in, a picture out. Pure; order and words come from the verdict.

mod cooling;
mod incident;
mod machine;
mod pieces;
mod pools;
mod room;
mod state;
mod throughput;

use crate::reading::Snapshot;
use crate::verdict::{IncidentId, Verdict};
use std::time::Duration;
use traylight_config::PageName;
use traylight_display::{Face, Frame, GlassSize, area};

/// A page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Page {
    /// One of the owner's pages.
    Named(PageName),
    /// An incident that is open.
    Incident(IncidentId),
}

/// What stands in place of the time of day on the pages of a rehearsal.
pub const TEST: &str = "TEST";

/// All that a page may show.
#[derive(Clone, Copy)]
pub struct View<'a> {
    /// The box as judged.
    pub verdict: &'a Verdict,
    /// The box as read; `None` before the first reading.
    pub snapshot: Option<&'a Snapshot>,
    /// The minute of the day, or how long the box is up while its clock was not set; [`TEST`] in a rehearsal.
    pub clock: &'a str,
    /// Counts up; moves the sign of life.
    pub beat: u64,
    /// The time of day so long ago.
    pub time_of_day: &'a dyn Fn(Duration) -> String,
}

/// Draws a page.
pub fn draw(page: &Page, view: &View<'_>, glass: GlassSize) -> Frame {
    let mut frame = Frame::new(glass);
    match (page, view.snapshot) {
        (Page::Named(PageName::State), _) | (_, None) => state::draw(&mut frame, view),
        (Page::Incident(id), Some(_)) => incident::draw(&mut frame, view, *id),
        (Page::Named(PageName::Pools), Some(snapshot)) => pools::draw(&mut frame, view, snapshot),
        (Page::Named(PageName::Room), Some(snapshot)) => room::draw(&mut frame, view, snapshot),
        (Page::Named(PageName::Throughput), Some(snapshot)) => throughput::draw(&mut frame, view, snapshot),
        (Page::Named(PageName::Cooling), Some(snapshot)) => cooling::draw(&mut frame, view, snapshot),
        (Page::Named(PageName::Box), Some(snapshot)) => machine::draw(&mut frame, view, snapshot),
    }
    pieces::sign_of_life(&mut frame, view.beat);
    frame
}

/// The last picture before the agent ends: it stays on the glass, so it must not look like a live one.
pub fn stopped(clock: &str, glass: GlassSize) -> Frame {
    let mut frame = Frame::new(glass);
    traylight_display::text::text_centred(&mut frame, area(0, 8, 128, 16), "STOPPED", Face::Medium);
    traylight_display::text::text_centred(&mut frame, area(0, 28, 128, 16), clock, Face::Medium);
    traylight_display::text::text_centred(&mut frame, area(0, 50, 128, 8), "nobody is watching", Face::Small);
    frame
}
