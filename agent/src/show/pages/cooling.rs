//! Cooling: the warmest drive and where it is heading, the fans, the other drives, the board.

use super::pieces::{TemperatureFigure, or_dashes, tight, warmest};
use super::sheet::{Level, Row, Sheet};
use super::view::View;
use crate::reading::{Fan, Snapshot};
use crate::tell::words::drives::in_short;
use crate::tell::words::phrases::{Language, Phrases};
use crate::tell::words::temperature::Temperatures;
use crate::units::Celsius;
use crate::verdict::HeatLimits;

/// What a bar of temperature begins at: a cool room.
const COOL: f64 = 20.0;
/// And how far beyond the last limit it goes.
const BEYOND: f64 = 5.0;

/// The warmest drive leads.
pub fn sheet(view: &View<'_>, snapshot: &Snapshot) -> Sheet {
    let words = |key| view.language.plain(key);
    let fitted = snapshot.fans.iter().filter(|fan| view.verdict.fans.contains(&fan.key));
    let mut rows: Vec<Row> = fitted.map(|fan| Row::of(&fan.label, speed(fan, view.language))).collect();
    if rows.is_empty() {
        rows.push(Row::of(words("page.cooling.fan"), words("page.cooling.not-measured")));
    }
    let warm = warmest(view);
    let others = warm
        .iter()
        .skip(1)
        .map(|(tray, celsius)| Row::of(in_short(&tray.place, view.language), view.language.temperature(*celsius)));
    let board = snapshot.temperatures.iter().map(|sensor| {
        let value = or_dashes(sensor.value.get().map(|celsius| view.language.temperature(*celsius)));
        Row::of(&sensor.label, value)
    });
    rows.extend(board.chain(others));
    let name = words("page.cooling.title").to_owned();
    let Some((tray, now)) = warm.first() else {
        let first = rows.remove(0);
        return Sheet { name, figure: first.right, beside: vec![first.left], rows, ..Sheet::default() };
    };
    let TemperatureFigure { figure, unit, end } = TemperatureFigure::of(view, tray, *now);
    let drive = snapshot.drives.iter().find(|drive| tray.drive.as_ref() == Some(&drive.key));
    let heat = drive.and_then(|drive| view.verdict.drives.get(&drive.key)).map(|judged| judged.heat);
    let limit = heat.map(|heat| {
        let warning = tight(view, Celsius(heat.warning));
        view.language.say("page.cooling.limit", &[("figure", &warning)])
    });
    let beside = [Some(in_short(&tray.place, view.language)), end, limit];
    Sheet {
        name,
        figure,
        unit,
        beside: beside.into_iter().flatten().collect(),
        level: heat.map(|heat| level(heat, *now)),
        rows,
        ..Sheet::default()
    }
}

/// How warm it is between a cool room and beyond its last limit, with its limits marked.
pub fn level(limits: HeatLimits, now: Celsius) -> Level {
    let span = limits.critical + BEYOND - COOL;
    let share = |celsius: f64| ((celsius - COOL) / span) as f32;
    Level::Bar { share: Some(share(now.0)), limits: vec![share(limits.warning), share(limits.critical)] }
}

fn speed(fan: &Fan, language: Language) -> String {
    match (&fan.speed.value, fan.fault) {
        (_, true) => language.plain("page.cooling.fault").to_owned(),
        (Ok(speed), false) => speed.to_string(),
        (Err(why), false) => language.reason(why.reason).to_owned(),
    }
}
