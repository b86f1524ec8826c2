//! How the demo's pages wear the panel: how long each pixel is lit over a simulated week in which pages take turns, minutes
//! go by and pictures move.
//!
//! A pixel of such a panel ages by the charge that goes through it: its time alight, by the current. Here all is by day; what is
//! shown at night, at a 255th of the current, is as good as rest.

use crate::standing::Standing;
use std::time::Duration;
use traylight::show::care::moved;
use traylight_display::PanelSize;

/// The panel that is worn.
pub const SIZE: PanelSize = PanelSize::W128H64;
const WEEK_MINUTES: u64 = 7 * 1440;
/// Every so many minutes of the week are drawn: no divisor in common with the places a picture has, nor with an hour.
const EVERY_MINUTES: u64 = 293;
/// How long a page stays.
const PAGE: Duration = Duration::from_secs(6);

/// What a week does to the panel, as shares of the week.
#[derive(Debug, Clone, Copy)]
pub struct Wear {
    /// How long the worst pixel was lit.
    pub worst: f64,
    /// How long pixels were lit on average.
    pub mean: f64,
    /// How many pixels were never dark.
    pub never_dark: usize,
}

/// A week of the box as it stands after so many minutes of its story, with pictures that move or that stand still.
pub fn week(minutes: f64, moves: bool) -> Wear {
    let mut standing = Standing::after(minutes);
    let mut lit = vec![0_u64; (SIZE.width() * SIZE.height()) as usize];
    let mut shown = 0;
    for minute in (0..WEEK_MINUTES).step_by(EVERY_MINUTES as usize) {
        let clock = format!("{:02}:{:02}", minute / 60 % 24, minute % 60);
        for page in standing.pages() {
            let frame = standing.drawing(&page, &clock, shown).frame(SIZE);
            let frame = if moves { moved(&frame, minute) } else { frame };
            for (index, count) in lit.iter_mut().enumerate() {
                let (x, y) = (index as i32 % SIZE.width() as i32, index as i32 / SIZE.width() as i32);
                *count += u64::from(frame.is_lit(x, y));
            }
            shown += 1;
            standing.pass(PAGE);
        }
    }
    let share = |count: u64| count as f64 / shown as f64;
    let worst = lit.iter().copied().max().unwrap_or(0);
    Wear {
        worst: share(worst),
        mean: share(lit.iter().sum::<u64>()) / lit.len() as f64,
        never_dark: lit.iter().filter(|count| **count == shown).count(),
    }
}
