//! What to do with one panel now: show, set up anew, try again, or let its bus rest. Knows no thread and no clock.

use crate::clock::Moment;
use crate::show::care::Picture;
use std::time::Duration;
use traylight_display::{Panel, PanelFault, Sent};

/// Waits between tries at a panel that does not answer; the last one is kept up. A try ends with the first byte that nobody
/// acknowledges, so the bus hardly notices, and a panel that is plugged in again is drawn within seconds.
const BACK_OFF: [Duration; 3] = [Duration::from_secs(1), Duration::from_secs(2), Duration::from_secs(5)];
/// A panel that lost power between two pictures answers as before but shows nothing: it gets its set-up and the whole picture
/// again this often, which takes about a hundredth of a bus of 100 kHz.
const REFRESH: Duration = Duration::from_secs(10);

/// What there is to say of a panel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum UpkeepEvent {
    /// The panel shows what it was given, after it did not or for the first time.
    Found,
    /// The panel was lost, or never found; why, with the remedy. Each reason once, until it was found again.
    Lost(PanelFault),
}

/// Keeps one panel showing the newest picture.
pub struct Upkeep<G> {
    open: Box<dyn FnMut() -> Result<G, PanelFault>>,
    bus_speed_khz: u32,
    panel: Option<G>,
    picture: Option<Picture>,
    /// The panel shows another picture than the newest, or may not show it any more.
    is_behind: bool,
    /// When the panel was last set up.
    set_up: Option<Moment>,
    /// Something may have made the panel forget.
    distrusted: bool,
    failures: usize,
    /// Nothing is sent before.
    not_before: Option<Moment>,
    told: Vec<PanelFault>,
    told_found: bool,
}

impl<G: Panel> Upkeep<G> {
    /// `open` finds the way to the panel, whose bus runs at this speed.
    pub fn new(open: impl FnMut() -> Result<G, PanelFault> + 'static, bus_speed_khz: u32) -> Self {
        Self {
            open: Box::new(open),
            bus_speed_khz,
            panel: None,
            picture: None,
            is_behind: false,
            set_up: None,
            distrusted: false,
            failures: 0,
            not_before: None,
            told: Vec::new(),
            told_found: false,
        }
    }

    /// A newer picture; an older one that was not shown yet is passed over.
    pub fn take(&mut self, picture: Picture) {
        self.is_behind |= self.picture.as_ref() != Some(&picture);
        self.picture = Some(picture);
    }

    /// The panel may have lost its power for a moment: it is set up anew with the next turn.
    pub fn distrust(&mut self) {
        (self.distrusted, self.is_behind) = (true, true);
    }

    /// When there is something to do; `None` while there is no picture. It may lie in the past.
    pub fn due(&self) -> Option<Moment> {
        self.picture.as_ref()?;
        let next = if self.is_behind { Moment::default() } else { self.set_up?.plus(REFRESH) };
        Some(self.not_before.map_or(next, |not_before| not_before.max(next)))
    }

    /// Does what is due; what there is to say of it.
    pub fn tend(&mut self, now: Moment) -> Option<UpkeepEvent> {
        self.due().filter(|due| *due <= now)?;
        let picture = self.picture.take()?;
        let outcome = self.show(&picture, now);
        self.picture = Some(picture);
        match outcome {
            Ok(sent) => {
                (self.is_behind, self.distrusted, self.failures) = (false, false, 0);
                // As long as it was busy with the panel the bus is left to others: a transfer blocks, and `now` was before it.
                self.not_before = Some(now.plus(2 * time_on_bus(sent, self.bus_speed_khz)));
                self.told.clear();
                let is_news = !std::mem::replace(&mut self.told_found, true);
                is_news.then_some(UpkeepEvent::Found)
            }
            Err(fault) => {
                (self.panel, self.is_behind, self.told_found) = (None, true, false);
                self.not_before = Some(now.plus(BACK_OFF[self.failures.min(BACK_OFF.len() - 1)]));
                self.failures += 1;
                let is_news = !self.told.contains(&fault);
                is_news.then(|| {
                    self.told.push(fault.clone());
                    UpkeepEvent::Lost(fault)
                })
            }
        }
    }

    /// Shows the newest picture for good: whatever rest the bus was to have, but not on a panel that is lost.
    pub fn finish(&mut self, now: Moment) {
        if self.failures == 0 {
            self.not_before = None;
            self.tend(now);
        }
    }

    fn show(&mut self, picture: &Picture, now: Moment) -> Result<Sent, PanelFault> {
        let must_set_up = self.distrusted || now.is_due(self.set_up, REFRESH);
        let is_new = self.panel.is_none();
        let panel = match &mut self.panel {
            Some(panel) => panel,
            None => self.panel.insert((self.open)()?),
        };
        let mut sent = panel.set_brightness(picture.brightness)?;
        if must_set_up || is_new {
            sent += panel.refresh(&picture.frame)?;
            self.set_up = Some(now);
        } else {
            sent += panel.show(&picture.frame)?;
        }
        Ok(sent)
    }
}

/// How long the bytes take: each is eight bits and the acknowledgement (UM10204, sections 3.1.5 and 3.1.6).
pub fn time_on_bus(sent: Sent, bus_speed_khz: u32) -> Duration {
    Duration::from_micros(sent.bytes as u64 * 9 * 1000 / u64::from(bus_speed_khz.max(1)))
}
