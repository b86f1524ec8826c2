//! The pretend box `heron` at one moment of its story, with every page that would then be shown.

use crate::scenes::after;
use std::time::Duration;
use traylight::clock::Wall;
use traylight::demo;
use traylight::reading::Snapshot;
use traylight::show::outlet::{Drawing, Scenery};
use traylight::show::pages::Page;
use traylight::verdict::Verdict;
use traylight_config::Settings;

/// The box as it stands.
pub struct Standing {
    settings: Settings,
    verdict: Verdict,
    snapshot: Snapshot,
    wall: Wall,
}

impl Standing {
    /// The box after so many minutes of its story.
    pub fn after(minutes: f64) -> Standing {
        let (settings, verdict, snapshot) = after(minutes);
        let wall = demo::dawn().unwrap_or_else(|error| unreachable!("the story has a calendar: {error}"));
        Standing { settings, verdict, snapshot, wall }
    }

    /// So much later nothing is new.
    pub fn pass(&mut self, time: Duration) {
        self.verdict.at = self.verdict.at.plus(time);
    }

    /// The pages that take turns.
    pub fn pages(&self) -> Vec<Page> {
        self.scenery().pages()
    }

    /// One of them at this minute and tick.
    pub fn drawing(&self, page: &Page, clock: &str, tick: u64) -> Drawing<'_> {
        Drawing { tick, cycle: tick / 8, ..self.scenery().drawing(page.clone(), clock.to_owned()) }
    }

    fn scenery(&self) -> Scenery<'_> {
        let Standing { settings, verdict, snapshot, wall } = self;
        Scenery { verdict, snapshot: Some(snapshot), settings, channels: &[], wall, rehearsed: None }
    }
}
