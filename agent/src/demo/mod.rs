//! A pretend box with a story, for a machine without hardware. Only the readings are pretended: judging, pages and log
//! are the real ones.

pub use traylight_heron::{heron, settings, story};

use crate::clock::{Clock, Moment, Wall};
use crate::judge::{Memory, judge};
use crate::reading::Itself;
use crate::send::log::{Form, Log};
use crate::show::outlet::{Outlet, Scenery};
use crate::tell::incident_log;
use crate::tell::log::LogEntry;
use std::io;
use std::time::Duration;
use traylight_display::PanelSize;

/// The story begins when the box has been up for this long.
const BEGIN: Moment = Moment::after_boot(Duration::from_secs(41 * 86_400));
/// One reading of the pretend box follows the other by this much of its own time, as on a real one.
const PACE: Duration = Duration::from_secs(2);
/// Real time between two looks at the clock.
const TICK: Duration = Duration::from_millis(200);

/// When the story begins on the calendar of the pretend box: at dawn, when the birds do.
pub fn dawn() -> io::Result<Wall> {
    let dawn = jiff::civil::date(2026, 5, 3).at(4, 40, 0, 0).to_zoned_datetime(jiff::tz::TimeZone::UTC);
    Ok(Wall { time: dawn.map_err(io::Error::other)?, synchronised: true })
}

/// Plays the story `speed` times faster than it happened, in the log and, where there is one, on the terminal.
pub fn play(speed: u32, form: Form) -> io::Result<()> {
    let runtime = tokio::runtime::Builder::new_current_thread().enable_time().build()?;
    runtime.block_on(tell(speed, form))
}

async fn tell(speed: u32, form: Form) -> io::Result<()> {
    let settings = settings().map_err(|problems| io::Error::other(problems.to_string()))?;
    let dawn = dawn()?;
    let clock = Clock::of_this_machine();
    let began = clock.now();
    let mut outlet = Outlet::new(Log::open(form)?, settings.language)?;
    let mut memory = Memory::default();
    let mut elapsed = Duration::ZERO;
    outlet
        .say(&LogEntry::agent(6, "demo", format!("the pretend box heron, {speed} times as fast as real time")), &dawn);
    while elapsed < story::LENGTH {
        let until = (clock.now().since(began) * speed).min(story::LENGTH);
        while elapsed <= until {
            let now = BEGIN.plus(elapsed);
            let wall = dawn.after(elapsed);
            let snapshot = heron::snapshot(now, &story::scene(elapsed));
            let (verdict, changes) = judge(&settings, &mut memory, now, Some(&snapshot), &Itself::default());
            outlet.say_all(incident_log::entries(&verdict, &changes, now, &wall, settings.language), &wall);
            let scenery = Scenery {
                verdict: &verdict,
                snapshot: Some(&snapshot),
                settings: &settings,
                channels: &[],
                wall: &wall,
                rehearsed: None,
            };
            if let Some(drawing) = outlet.drawing_if_due(clock.now(), scenery) {
                outlet.draw(drawing.frame(PanelSize::W128H64));
            }
            elapsed += PACE;
        }
        tokio::time::sleep(TICK).await;
    }
    outlet.say(&LogEntry::agent(6, "demo", "the story is over"), &dawn.after(elapsed));
    Ok(())
}
