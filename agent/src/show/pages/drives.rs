//! Drives: one after the other, as the pages come round; only those with something to say, when there are any.

use super::pieces::{TemperatureFigure, or_dashes};
use super::sheet::{Level, Row, Sheet};
use super::view::View;
use crate::reading::{Drive, Power, SelfTest, Snapshot};
use crate::tell::words::condition::words;
use crate::tell::words::drives::named;
use crate::tell::words::phrases::{Language, Phrases};
use crate::verdict::{Condition, Tray, TrayState, Verdict};

/// Minutes of the small history, a column each.
const MINUTES: usize = 40;
/// Fewer than these are no history.
const LEAST_MINUTES: usize = 5;

/// The trays whose drive has something to say.
pub fn talkative(verdict: &Verdict) -> impl Iterator<Item = &Tray> {
    verdict.shelves.iter().flat_map(|shelf| &shelf.trays).filter(|tray| tray.severity.is_some())
}

/// The drive whose turn it is.
pub fn sheet(view: &View<'_>, snapshot: &Snapshot) -> Sheet {
    let all = || view.verdict.shelves.iter().flat_map(|shelf| &shelf.trays);
    let mut trays: Vec<&Tray> = talkative(view.verdict).collect();
    if trays.is_empty() {
        trays = all().filter(|tray| tray.drive.is_some()).collect();
    }
    let Some(tray) = trays.get((view.cycle % trays.len().max(1) as u64) as usize) else { return Sheet::default() };
    let drive = snapshot.drives.iter().find(|drive| tray.drive.as_ref() == Some(&drive.key));
    let plain = |key| view.language.plain(key);
    let name = named(&tray.place, view.language);
    let word = |word: &str| TemperatureFigure { figure: word.to_owned(), unit: String::new(), end: None };
    let TemperatureFigure { figure, unit, end } = match tray.state {
        TrayState::Warm(now) => TemperatureFigure::of(view, tray, now),
        TrayState::Gone => word(plain("page.shelf.gone")),
        TrayState::Bad => word(plain("page.shelf.failed")),
        TrayState::Rebuilding => word(plain("page.drives.rebuilding")),
        TrayState::Asleep => word(plain("page.drives.asleep")),
        TrayState::Empty | TrayState::NoReading => word("--"),
    };
    let is_about_it = |held: &&Condition| tray.drive.is_some() && held.subject.drive() == tray.drive.as_ref();
    let says = view.verdict.conditions.iter().find(is_about_it);
    let mut beside: Vec<String> = Vec::new();
    beside.extend(end);
    let title = says.map(|condition| said(&words(condition, view.language).name, &name));
    beside.extend(title.filter(|title| *title != figure));
    beside.extend(drive.and_then(|drive| drive.serial.as_deref()).map(tail));
    beside.extend(drive.and_then(|drive| drive.power.get()).map(|power| plain(power_word(*power)).to_owned()));
    Sheet {
        name,
        figure,
        unit,
        beside,
        level: drive.and_then(|drive| history(view, drive)),
        rows: drive.map(|drive| rows(drive, view.language)).unwrap_or_default(),
        shared_by: trays.len() as u64,
    }
}

/// The title without the tray that the page is about.
fn said(title: &str, named: &str) -> String {
    title.strip_prefix(named).map_or(title, str::trim_start).to_owned()
}

fn tail(serial: &str) -> String {
    let skip = serial.chars().count().saturating_sub(9);
    serial.chars().skip(skip).collect()
}

/// The key of the word for whether it sleeps.
fn power_word(power: Power) -> &'static str {
    match power {
        Power::Active => "page.drives.active",
        Power::Idle => "page.drives.idle",
        Power::Asleep => "page.drives.asleep",
    }
}

/// Its temperatures since the present course began, between a cool room and its last limit.
fn history(view: &View<'_>, drive: &Drive) -> Option<Level> {
    let course = view.verdict.courses.get(&drive.key)?;
    let (newest, _) = course.last()?;
    let mut values = vec![None; MINUTES];
    for (at, celsius) in course {
        let minutes_ago = (newest.since(*at).as_secs() + 30) / 60;
        if let Some(place) = (MINUTES - 1).checked_sub(minutes_ago as usize) {
            values[place] = Some(celsius.0 as f32);
        }
    }
    if values.iter().flatten().count() < LEAST_MINUTES {
        return None;
    }
    let high = view.verdict.drives.get(&drive.key)?.heat.critical as f32;
    Some(Level::History { values: wide(&values), low: 20.0, high })
}

/// Three columns a minute: a line that can be seen.
fn wide(values: &[Option<f32>]) -> Vec<Option<f32>> {
    values.iter().flat_map(|value| [*value; 3]).collect()
}

fn rows(drive: &Drive, language: Language) -> Vec<Row> {
    let words = |key| language.plain(key);
    let traffic = drive.traffic.get();
    let counters = drive.health.get().map(|health| health.counters.as_slice()).unwrap_or_default();
    let counter = |name: &str| counters.iter().find(|counter| counter.name == name).map(|counter| counter.value);
    let mut rows = vec![
        Row::of(words("page.drives.write"), or_dashes(traffic.map(|traffic| traffic.outward))),
        Row::of(words("page.drives.read"), or_dashes(traffic.map(|traffic| traffic.inward))),
    ];
    rows.extend(counter("power_on_hours").map(|hours| Row::of(words("page.drives.power-on"), format!("{hours} h"))));
    rows.extend(
        counter("reallocated_sectors").map(|count| Row::of(words("page.drives.reallocated"), count.to_string())),
    );
    rows.extend(drive.self_tests.get().map(|tests| Row::of(words("page.drives.test"), words(test_word(tests.now)))));
    rows.extend(drive.size.get().map(|size| Row::of(words("page.drives.size"), size.to_string())));
    rows.extend(drive.model.clone().map(|model| Row::of(words("page.drives.model"), model)));
    rows
}

/// The key of the word for its newest test of itself.
fn test_word(test: SelfTest) -> &'static str {
    match test {
        SelfTest::Never => "self-test.never",
        SelfTest::Passed => "self-test.passed",
        SelfTest::Ended => "self-test.ended",
        SelfTest::CouldNotFinish => "self-test.could-not-finish",
        SelfTest::Failed => "self-test.failed",
        SelfTest::Running { .. } => "self-test.runs",
    }
}
