//! Prints how the demo's pages wear the panel: how much of the glass each lights, what room it leaves to be moved in, and
//! how long the worst pixel is lit over a simulated week in which pages take turns, minutes go by and pictures move.
//!
//! A pixel of such glass ages by the charge that goes through it: its time alight, by the current. Here all is by day; what is
//! shown at night, at a 255th of the current, is as good as rest.

use traylight::show::care::moved;
use traylight_display::{Frame, GlassSize, Rectangle};
use traylight_tests::standing::Standing;

const SIZE: GlassSize = GlassSize::W128H64;
const WEEK: u64 = 7 * 1440;
/// Every so many minutes of the week are drawn: no divisor in common with the places a picture has, nor with an hour.
const EVERY: u64 = 97;

fn main() {
    for (name, minutes) in [("calm", 2.0), ("a warning (a fan stalls)", 6.0), ("critical (a drive dropped)", 26.0)] {
        let standing = Standing::after(minutes);
        let pages = standing.pages();
        println!("{name}: {} pages take turns", pages.len());
        for page in &pages {
            let frame = standing.drawing(page, "14:32", 7).frame(SIZE);
            println!("    {:24} {:4.1} % lit, room {}", format!("{page:?}"), share(frame.lit_count()), room(&frame));
        }
        for (how, moves) in [("standing still", false), ("moved each minute", true)] {
            let (worst, mean, never_dark) = week(&standing, moves);
            println!(
                "    a week {how}: worst pixel lit {worst:.1} % of the time, mean {mean:.1} %, always lit {never_dark}"
            );
        }
    }
}

/// The worst pixel's share of the week, the mean of all, and how many are never dark.
fn week(standing: &Standing, moves: bool) -> (f64, f64, usize) {
    let mut lit = vec![0u64; (SIZE.width() * SIZE.height()) as usize];
    let mut shown = 0;
    let pages = standing.pages();
    for minute in (0..WEEK).step_by(EVERY as usize) {
        let clock = format!("{:02}:{:02}", minute / 60 % 24, minute % 60);
        for page in &pages {
            let frame = standing.drawing(page, &clock, shown).frame(SIZE);
            let frame = if moves { moved(&frame, minute) } else { frame };
            for (index, count) in lit.iter_mut().enumerate() {
                let (x, y) = (index as i32 % SIZE.width() as i32, index as i32 / SIZE.width() as i32);
                *count += u64::from(frame.is_lit(x, y));
            }
            shown += 1;
        }
    }
    let percent = |count: u64| count as f64 * 100.0 / shown as f64;
    let worst = lit.iter().copied().max().unwrap_or(0);
    let mean = lit.iter().sum::<u64>() / lit.len() as u64;
    (percent(worst), percent(mean), lit.iter().filter(|count| **count == shown).count())
}

fn share(lit: u32) -> f64 {
    f64::from(lit) * 100.0 / f64::from(SIZE.width() * SIZE.height())
}

/// What a page leaves free at its left, top, right and bottom.
fn room(frame: &Frame) -> String {
    let Some(Rectangle { top_left, size }) = frame.lit_area() else { return "everywhere".to_owned() };
    let right = SIZE.width() as i32 - top_left.x - size.width as i32;
    let bottom = SIZE.height() as i32 - top_left.y - size.height as i32;
    format!("{} {} {right} {bottom}", top_left.x, top_left.y)
}
