//! Space: how full each volume is, the fullest first, and when it will be full.

use super::pieces::or_dashes;
use super::sheet::{Level, Row, Sheet};
use super::view::View;
use crate::reading::{Snapshot, Volume, is_system};
use crate::tell::words::phrases::Phrases;
use crate::units::{Percent, span};
use std::time::Duration;
use traylight_config::VolumeLimits;

/// What is further off than a year is no figure to plan by.
const YEAR: Duration = Duration::from_secs(365 * 86_400);

/// The fullest volume leads; the others are rows.
pub fn sheet(view: &View<'_>, snapshot: &Snapshot) -> Sheet {
    let mut volumes: Vec<&Volume> = snapshot.volumes.iter().collect();
    // What cannot be read must be seen as well: it comes right after the fullest.
    let rank = |volume: &Volume| filled(volume).unwrap_or(1.0);
    volumes.sort_by(|a, b| {
        filled(a).is_none().cmp(&filled(b).is_none()).then(rank(b).total_cmp(&rank(a))).then(a.mount.cmp(&b.mount))
    });
    let Some((first, others)) = volumes.split_first() else { return Sheet::default() };
    let limits = &view.settings.limits.volume;
    let words = |key| view.language.plain(key);
    let beside = match &first.room.value {
        Ok(_) => words("page.space.used"),
        Err(why) => view.language.reason(why.reason),
    };
    let free = first.room.get().map(|room| Row::of(words("page.space.free"), room.free.to_string()));
    let full = view.verdict.full_in.get(&first.mount).filter(|full| full.middle < YEAR);
    let full = full.map(|full| Row::of(words("page.space.full-in"), span(full.middle)));
    let others = others.iter().map(|volume| Row::of(&volume.mount, value(view, volume)).with(level(volume, limits)));
    Sheet {
        name: words("page.space.title").to_owned(),
        figure: or_dashes(filled(first).map(|share| format!("{:.0}", (share * 100.0).floor()))),
        unit: if filled(first).is_some() { "%".to_owned() } else { String::new() },
        beside: vec![beside.to_owned(), first.mount.clone()],
        level: Some(level(first, limits)),
        rows: full.into_iter().chain(free).chain(others).collect(),
        ..Sheet::default()
    }
}

fn percent(volume: &Volume) -> String {
    or_dashes(filled(volume).map(|share| Percent(share * 100.0)))
}

fn value(view: &View<'_>, volume: &Volume) -> String {
    match (&volume.room.value, view.verdict.full_in.get(&volume.mount).filter(|full| full.middle < YEAR)) {
        (Err(why), _) => view.language.reason(why.reason).to_owned(),
        (Ok(_), Some(full)) => view.language.say("page.space.full-in-span", &[("span", &span(full.middle))]),
        (Ok(_), None) => percent(volume),
    }
}

/// Limits are shares of free room; the bar shows what is filled.
fn level(volume: &Volume, limits: &VolumeLimits) -> Level {
    let free = if is_system(&volume.mount) {
        [limits.root_warning_percent, limits.root_critical_percent]
    } else {
        [limits.data_warning_percent, limits.data_critical_percent]
    };
    let share = filled(volume).map(|share| share as f32);
    Level::Bar { share, limits: free.map(|free| (1.0 - free / 100.0) as f32).to_vec() }
}

/// Filled share of what ordinary users could fill, as df(1) counts it.
fn filled(volume: &Volume) -> Option<f64> {
    let room = volume.room.get()?;
    Percent::of(room.used.0 as f64, (room.used.0 + room.free.0) as f64).map(|percent| percent.0 / 100.0)
}
