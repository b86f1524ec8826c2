//! Prints how the demo's pages wear the panel: how much of the panel each lights, what room it leaves to be moved in, and
//! how long the worst pixel is lit over a week.

use traylight_display::{Frame, Rectangle};
use traylight_tests::standing::Standing;
use traylight_tests::wear::{SIZE, Wear, week};

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
            let Wear { worst, mean, never_dark } = week(minutes, moves);
            let (worst, mean) = (worst * 100.0, mean * 100.0);
            println!(
                "    a week {how}: worst pixel lit {worst:.1} % of the time, mean {mean:.1} %, always lit {never_dark}"
            );
        }
    }
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
