//! Cooling: the fans, the warmest drives, then the board.

use super::View;
use super::pieces::{heading, pair};
use crate::reading::{Fan, Snapshot};
use crate::tell::tongue::Tongue;
use crate::units::Celsius;
use crate::verdict::{Tray, TrayState};
use traylight_display::Frame;

/// Lines below the heading.
const LINES: usize = 6;

/// Draws the page.
pub fn draw(frame: &mut Frame, view: &View<'_>, snapshot: &Snapshot) {
    heading(frame, view, view.tongue.plain("page.cooling.title"));
    let mut lines: Vec<(String, String)> = Vec::new();
    let fitted = snapshot.fans.iter().filter(|fan| view.verdict.fans.contains(&fan.key));
    lines.extend(fitted.map(|fan| (fan.label.clone(), speed(fan, view.tongue))));
    if lines.is_empty() {
        let words = |key| view.tongue.plain(key).to_owned();
        lines.push((words("page.cooling.fan"), words("page.cooling.not-measured")));
    }
    lines.truncate(2);
    let named = |tray: &Tray| view.tongue.say("page.cooling.tray", &[("label", &tray.label)]);
    let warm = warmest(view).into_iter().take(2);
    lines.extend(warm.map(|(tray, celsius)| (named(tray), warmth(view, tray, celsius))));
    let board = snapshot.temperatures.iter().map(|sensor| {
        let value = sensor.value.get().map_or_else(|| "--".to_owned(), ToString::to_string);
        (sensor.label.clone(), value)
    });
    lines.extend(board);
    for (index, (left, right)) in lines.iter().take(LINES).enumerate() {
        pair(frame, 1 + index as i32, left, right);
    }
}

fn speed(fan: &Fan, tongue: Tongue) -> String {
    match (&fan.speed.value, fan.fault) {
        (_, true) => tongue.plain("page.cooling.fault").to_owned(),
        (Ok(speed), false) => speed.to_string(),
        (Err(why), false) => tongue.reason(why.reason).to_owned(),
    }
}

/// How warm it is and, when it will surely be warmer by a degree or more, where it is heading.
fn warmth(view: &View<'_>, tray: &Tray, now: Celsius) -> String {
    let outlook = tray.drive.as_ref().and_then(|key| view.verdict.outlooks.get(key));
    match outlook.and_then(|outlook| outlook.heading) {
        Some(end) if end.low >= now.0 + 1.0 => format!("{:.0} -> {}", now.0, Celsius(end.middle)),
        _ => now.to_string(),
    }
}

fn warmest<'a>(view: &View<'a>) -> Vec<(&'a Tray, Celsius)> {
    let trays = view.verdict.shelves.iter().flat_map(|shelf| &shelf.trays);
    let mut warm: Vec<(&Tray, Celsius)> = trays
        .filter_map(|tray| match tray.state {
            TrayState::Warm(celsius) => Some((tray, celsius)),
            _ => None,
        })
        .collect();
    warm.sort_by(|a, b| b.1.0.total_cmp(&a.1.0));
    warm
}
