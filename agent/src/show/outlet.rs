//! Where the core's words and pictures leave: the log, and the terminal when there is one. Nothing here waits for whoever
//! reads them.

use super::care::{Picture, call, cared_for, hour, with_sign_of_life};
use super::log_thread::LogThread;
use super::pages::{ChannelStatus, Page, View, draw, sentences, test_mark};
use super::turn::{PageTurn, worth_showing};
use crate::clock::{Moment, Wall};
use crate::reading::Snapshot;
use crate::send::log::Log;
use crate::tell::log::LogEntry;
use crate::tell::words::phrases::{Language, Phrases};
use crate::units::span;
use crate::verdict::{IncidentId, Verdict};
use std::io;
use std::os::fd::AsFd;
use std::time::Duration;
use traylight_config::{PanelBrightness, Settings};
use traylight_display::{Frame, PanelSize};

/// A new picture with the first reading after this: the sign of life moves with it.
const TICK: Duration = Duration::from_millis(1500);

/// The outlet.
pub struct Outlet {
    log: LogThread,
    turn: PageTurn,
    drawn: Option<Moment>,
    tick: u64,
}

/// What a picture is drawn from.
#[derive(Clone, Copy)]
pub struct Scenery<'a> {
    /// The box as judged.
    pub verdict: &'a Verdict,
    /// The box as read.
    pub snapshot: Option<&'a Snapshot>,
    /// The settings in force.
    pub settings: &'a Settings,
    /// The channels for alerts.
    pub channels: &'a [ChannelStatus],
    /// The calendar at the time of the verdict.
    pub wall: &'a Wall,
    /// The incidents that are only rehearsed; `None` without a rehearsal.
    pub rehearsed: Option<&'a [IncidentId]>,
}

impl<'a> Scenery<'a> {
    /// What pages are drawn from.
    fn view<'b>(&'b self, clock: &'b str, time_of_day: &'b dyn Fn(Duration) -> String) -> View<'b> {
        let Scenery { verdict, snapshot, settings, channels, .. } = *self;
        let language = settings.language;
        View { verdict, snapshot, settings, channels, clock, cycle: 0, time_of_day, language }
    }

    /// The pages worth showing, in their order.
    pub fn pages(&self) -> Vec<Page> {
        worth_showing(&self.view("", &|_| String::new()))
    }

    /// True for a page of a rehearsal; one of a real incident is none.
    fn is_rehearsed(&self, page: &Page) -> bool {
        self.rehearsed.is_some_and(|rehearsed| match page {
            Page::Alarm(id) | Page::Incident(id) => rehearsed.contains(id),
            Page::Named(_) => true,
        })
    }

    /// One page as it is first seen, with this in place of the time of day.
    pub fn drawing(self, page: Page, clock: String) -> Drawing<'a> {
        Drawing { page, scenery: self, clock, tick: 0, cycle: 0 }
    }
}

/// A page at one moment, to be drawn for a panel of any size.
pub struct Drawing<'a> {
    /// The page.
    pub page: Page,
    /// What it is drawn from.
    pub scenery: Scenery<'a>,
    /// What stands where the time of day does.
    pub clock: String,
    /// Counts up; moves the sign of life.
    pub tick: u64,
    /// How often all pages have come round.
    pub cycle: u64,
}

impl Drawing<'_> {
    /// The page as it is, for a panel of this size.
    pub fn frame(&self, panel: PanelSize) -> Frame {
        with_sign_of_life(self.with_view(|view| draw(&self.page, view, panel)), self.tick)
    }

    /// The page in words.
    pub fn sentences(&self) -> Vec<String> {
        self.with_view(|view| sentences(&self.page, view))
    }

    /// Something made of what the page is drawn from.
    fn with_view<T>(&self, make: impl FnOnce(&View<'_>) -> T) -> T {
        let time_of_day = |ago: Duration| self.scenery.wall.before(ago).minute();
        make(&View { cycle: self.cycle, ..self.scenery.view(&self.clock, &time_of_day) })
    }

    /// The page as it goes to a panel of this size: cared for by the hour, and by how much attention the box wants.
    pub fn picture(&self, panel: PanelSize, wanted: PanelBrightness) -> Picture {
        let Scenery { verdict, settings, wall, .. } = self.scenery;
        let hour = hour(&settings.panel.night, &wall.time, wall.synchronised);
        let minutes = verdict.at.since_boot().as_secs() / 60;
        let page = self.with_view(|view| draw(&self.page, view, panel));
        cared_for(&page, wanted, hour, call(verdict), minutes, self.tick)
    }
}

impl Outlet {
    /// Log lines go to `log`; the picture goes to the terminal on standard output, when there is one.
    pub fn new(log: Log, language: Language) -> io::Result<Self> {
        #[allow(clippy::disallowed_methods, reason = "the picture and clean log lines are all that is written")]
        let out = io::stdout();
        let log = LogThread::start(log, out.as_fd().try_clone_to_owned()?, language)?;
        Ok(Self { log, turn: PageTurn::default(), drawn: None, tick: 0 })
    }

    /// Says one thing.
    pub fn say(&self, entry: &LogEntry, wall: &Wall) {
        self.log.say(entry, wall);
    }

    /// Says several things.
    pub fn say_all(&self, entries: Vec<LogEntry>, wall: &Wall) {
        for entry in entries {
            self.say(&entry, wall);
        }
    }

    /// What to draw now, if it is time for a new picture or a page has to lead. Pages turn by the clock of whoever
    /// looks at them, which is `now`.
    pub fn drawing_if_due<'a>(&mut self, now: Moment, scenery: Scenery<'a>) -> Option<Drawing<'a>> {
        let Scenery { verdict, settings, wall, .. } = scenery;
        let pages = scenery.pages();
        if !now.is_due(self.drawn, TICK) && !self.turn.has_news(&pages) {
            return None;
        }
        self.drawn = Some(now);
        self.tick += 1;
        let page = self.turn.page(&pages, now, |page| stays(settings, page));
        let language = settings.language;
        // A calendar that nobody has set yet would show a time of the past.
        let clock = if scenery.is_rehearsed(&page) {
            test_mark(language).to_owned()
        } else if wall.synchronised {
            wall.minute()
        } else {
            language.say("page.up", &[("span", &span(verdict.at.since_boot()))])
        };
        Some(Drawing { tick: self.tick, cycle: self.turn.cycle(), ..scenery.drawing(page, clock) })
    }

    /// Takes in that somebody wants the next page.
    pub fn go_on(&mut self) {
        self.turn.go_on();
        self.drawn = None;
    }

    /// Takes in that somebody wants the page to stay, or to go on after all.
    pub fn hold(&mut self, now: Moment) {
        self.turn.hold(now);
    }

    /// The incident whose page is up.
    pub fn incident_up(&self) -> Option<IncidentId> {
        self.turn.incident_up()
    }

    /// Puts a picture on the terminal.
    pub fn draw(&self, frame: Frame) {
        self.log.draw(frame);
    }

    /// Puts the last picture on the terminal, which is its user's again from then on.
    pub fn draw_last(&self, frame: Frame) {
        self.log.draw_last(frame);
    }
}

/// How long a page stays.
fn stays(settings: &Settings, page: &Page) -> Duration {
    let seconds = match page {
        Page::Named(name) => settings.panel.seconds_of(*name),
        Page::Alarm(_) | Page::Incident(_) => settings.panel.page_seconds,
    };
    Duration::from_secs(seconds.into())
}
