//! Room: how full each volume is, the fullest first.

use super::View;
use super::pieces::{WIDTH, heading, line, pair};
use crate::reading::{Snapshot, Volume};
use crate::units::{Percent, span};
use std::time::Duration;
use traylight_display::shapes::bar;
use traylight_display::text::text_right;
use traylight_display::{Face, Frame, area};

const SEASON: Duration = Duration::from_secs(90 * 86_400);

/// Draws the page: a line and a bar a volume, three volumes at most.
pub fn draw(frame: &mut Frame, view: &View<'_>, snapshot: &Snapshot) {
    heading(frame, view, view.tongue.plain("page.room.title"));
    let mut volumes: Vec<(&Volume, Option<f64>)> =
        snapshot.volumes.iter().map(|volume| (volume, filled(volume))).collect();
    volumes.sort_by(|a, b| b.1.unwrap_or(0.0).total_cmp(&a.1.unwrap_or(0.0)).then(a.0.mount.cmp(&b.0.mount)));
    for (index, (volume, share)) in volumes.into_iter().take(3).enumerate() {
        let first = 1 + 2 * index as i32;
        let percent = share.map_or_else(|| "--".to_owned(), |share| Percent(share * 100.0).to_string());
        pair(frame, first, &volume.mount, &percent);
        bar(frame, area(0, line(first + 1), 52, 7), share.map(|share| share as f32), &[]);
        let free = match &volume.room.value {
            // What comes sooner than a season is worth more than the bytes.
            Ok(room) => match view.verdict.full_in.get(&volume.mount).filter(|full| full.middle < SEASON) {
                Some(full) => view.tongue.say("page.room.full-in", &[("span", &span(full.middle))]),
                None => view.tongue.say("page.room.free", &[("bytes", &room.free)]),
            },
            Err(why) => view.tongue.reason(why.reason).to_owned(),
        };
        text_right(frame, WIDTH, line(first + 1), &free, Face::Small);
    }
}

/// Filled share of what ordinary users could fill, as df(1) counts it.
fn filled(volume: &Volume) -> Option<f64> {
    let room = volume.room.get()?;
    Percent::of(room.used.0 as f64, (room.used.0 + room.free.0) as f64).map(|percent| percent.0 / 100.0)
}
