//! What is on each page: a verdict and a snapshot in, a picture out. Pure; order and words come from the verdict.

mod alarm;
mod alerts;
mod ceiling;
mod cooling;
mod drives;
mod incident;
mod machine;
mod network;
mod pieces;
mod pools;
mod power;
mod sheet;
mod shelf;
mod space;
mod state;
mod traffic;
mod view;

pub use drives::talkative;
pub use view::{ChannelStatus, View, test_mark};

use crate::reading::Snapshot;
use crate::tell::words::phrases::{Language, Phrases};
use crate::verdict::IncidentId;
use traylight_config::PageName;
use traylight_display::figure::{Stand, figure};
use traylight_display::{Frame, PanelSize, area};

/// A page.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Page {
    /// One of the owner's pages.
    Named(PageName),
    /// An open incident from afar: state word, which tray, what must stay in.
    Alarm(IncidentId),
    /// An open incident from near: what to do, since when, numbers.
    Incident(IncidentId),
}

/// Draws a page for a size of panel.
pub fn draw(page: &Page, view: &View<'_>, panel: PanelSize) -> Frame {
    let mut frame = Frame::new(panel);
    let into = &mut frame;
    match (page, view.snapshot) {
        (Page::Named(PageName::State), _) | (_, None) => state::draw(into, view),
        // One that ended a moment ago leaves its page to the state.
        (Page::Alarm(id), Some(_)) => match view.incident(*id) {
            Some(incident) => alarm::draw(into, view, incident),
            None => state::draw(into, view),
        },
        (Page::Incident(id), Some(_)) => match view.incident(*id) {
            Some(incident) => incident::draw(into, view, incident),
            None => state::draw(into, view),
        },
        (Page::Named(PageName::Shelf), Some(_)) => shelf::draw(into, view),
        (Page::Named(page), Some(snapshot)) => sheet::draw(into, view, &sheet_of(*page, view, snapshot)),
    }
    frame
}

/// A page in sentences, for what shows no pictures: a serial line, a display of Braille, a screen reader. Made from what the
/// page is drawn from, in the same order.
pub fn sentences(page: &Page, view: &View<'_>) -> Vec<String> {
    match (page, view.snapshot) {
        (Page::Named(PageName::State), _) | (_, None) => state::sentences(view),
        (Page::Alarm(id), Some(_)) => {
            view.incident(*id).map_or_else(Vec::new, |incident| alarm::sentences(view, incident))
        }
        (Page::Incident(id), Some(_)) => {
            view.incident(*id).map_or_else(Vec::new, |incident| incident::sentences(view, incident))
        }
        (Page::Named(PageName::Shelf), Some(_)) => shelf::sentences(view),
        (Page::Named(name), Some(snapshot)) => {
            // Some pages have a sheet for each drive, which take turns.
            let first = sheet_of(*name, view, snapshot);
            let others = (1..first.shared_by).map(|cycle| sheet_of(*name, &View { cycle, ..*view }, snapshot));
            let others: Vec<sheet::Sheet> = others.collect();
            std::iter::once(first).chain(others).flat_map(sheet::sentences).collect()
        }
    }
}

fn sheet_of(page: PageName, view: &View<'_>, snapshot: &Snapshot) -> sheet::Sheet {
    match page {
        PageName::Pools => pools::sheet(view, snapshot),
        PageName::Space => space::sheet(view, snapshot),
        PageName::Traffic => traffic::sheet(view, snapshot),
        PageName::Cooling => cooling::sheet(view, snapshot),
        PageName::Drives => drives::sheet(view, snapshot),
        PageName::Power => power::sheet(view, snapshot),
        PageName::Network => network::sheet(view, snapshot),
        PageName::Alerts => alerts::sheet(view),
        PageName::Box | PageName::State | PageName::Shelf => machine::sheet(view, snapshot),
    }
}

/// The last picture before the agent ends: it stays on the panel, so it must not look like a live one.
pub fn stopped(clock: &str, panel: PanelSize, language: Language) -> Frame {
    let mut frame = Frame::new(panel);
    let (width, height) = (panel.width(), panel.height());
    let row = height / 5;
    figure(&mut frame, area(0, 1, width, 2 * row - 2), language.plain("page.stopped"), Stand::Middle);
    figure(&mut frame, area(0, 2 * row as i32, width, 2 * row - 2), clock, Stand::Middle);
    let words = ["page.not-monitored", "page.agent-off"].map(|key| language.plain(key));
    let fits = |words: &&&str| words.chars().count() as u32 * traylight_display::Face::Small.width() <= width;
    if let Some(words) = words.iter().find(fits) {
        let last = area(0, (height - 9) as i32, width, 8);
        traylight_display::text::text_centred(&mut frame, last, words, traylight_display::Face::Small);
    }
    frame
}
