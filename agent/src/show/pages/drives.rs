//! Drives: one after the other, as the pages come round; only those with something to say, when there are any.

use super::View;
use super::pieces::heading_for;
use super::sheet::{Level, Row, Sheet};
use crate::judge::heat_limits;
use crate::reading::{Drive, Power, SelfTest, Snapshot};
use crate::tell::wording::words;
use crate::verdict::{Subject, Tray, TrayState, Verdict};

/// Minutes of the small history, a column each.
const MINUTES: usize = 40;

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
    let Some(tray) = trays.get((view.lap % trays.len().max(1) as u64) as usize) else { return Sheet::default() };
    let drive = snapshot.drives.iter().find(|drive| tray.drive.as_ref() == Some(&drive.key));
    let (figure, end) = match tray.state {
        TrayState::Warm(now) => heading_for(view, tray, now),
        TrayState::Gone => ("GONE".to_owned(), None),
        TrayState::Bad => ("OUT".to_owned(), None),
        TrayState::Rebuilding => ("FILL".to_owned(), None),
        TrayState::Asleep => ("zz".to_owned(), None),
        TrayState::Empty | TrayState::NoReading => ("--".to_owned(), None),
    };
    let subject = tray.drive.clone().map(Subject::Drive);
    let says = view.verdict.conditions.iter().find(|condition| Some(&condition.subject) == subject.as_ref());
    let mut beside: Vec<String> = Vec::new();
    beside.extend(end.map(|end| format!("→ {:.0}°", end.0)));
    let title = says.map(|condition| said(&words(condition).name, &tray.label));
    beside.extend(title.filter(|title| *title != figure));
    beside.extend(drive.and_then(|drive| drive.serial.as_deref()).map(tail));
    beside.extend(drive.and_then(|drive| drive.power.get()).map(|power| power_word(*power).to_owned()));
    Sheet {
        name: format!("TRAY {}", tray.label),
        figure,
        beside,
        level: drive.and_then(|drive| history(view, drive)),
        rows: drive.map(rows).unwrap_or_default(),
        shared_by: trays.len() as u64,
        ..Sheet::default()
    }
}

/// The title without the tray that the page is about.
fn said(title: &str, label: &str) -> String {
    title.strip_prefix(&format!("TRAY {label} ")).unwrap_or(title).to_owned()
}

fn tail(serial: &str) -> String {
    let skip = serial.chars().count().saturating_sub(9);
    serial.chars().skip(skip).collect()
}

fn power_word(power: Power) -> &'static str {
    match power {
        Power::Active => "awake",
        Power::Idle => "idle",
        Power::Asleep => "asleep",
    }
}

/// Its temperatures since the present course began, between a cool room and its last limit.
fn history(view: &View<'_>, drive: &Drive) -> Option<Level> {
    let course = view.verdict.courses.get(&drive.key).filter(|course| course.len() > 1)?;
    let (newest, _) = course.last()?;
    let mut values = vec![None; MINUTES];
    for (at, celsius) in course {
        let minutes_ago = (newest.since(*at).as_secs() + 30) / 60;
        if let Some(place) = (MINUTES - 1).checked_sub(minutes_ago as usize) {
            values[place] = Some(celsius.0 as f32);
        }
    }
    let high = heat_limits(&view.settings.limits.drive, drive).critical as f32;
    Some(Level::History { values: wide(&values), low: 20.0, high })
}

/// Three columns a minute: a line that can be seen.
fn wide(values: &[Option<f32>]) -> Vec<Option<f32>> {
    values.iter().flat_map(|value| [*value; 3]).collect()
}

fn rows(drive: &Drive) -> Vec<Row> {
    let rate =
        |rate: Option<crate::units::BytesPerSecond>| rate.map_or_else(|| "--".to_owned(), |rate| rate.to_string());
    let traffic = drive.traffic.get();
    let counters = drive.health.get().map(|health| health.counters.as_slice()).unwrap_or_default();
    let counter = |name: &str| counters.iter().find(|counter| counter.name == name).map(|counter| counter.value);
    let mut rows = vec![
        Row::of("writes", rate(traffic.map(|traffic| traffic.outward))),
        Row::of("reads", rate(traffic.map(|traffic| traffic.inward))),
    ];
    rows.extend(counter("power_on_hours").map(|hours| Row::of("ran", format!("{hours} h"))));
    rows.extend(counter("reallocated_sectors").map(|count| Row::of("replaced", count.to_string())));
    rows.extend(drive.self_tests.get().map(|tests| Row::of("self-test", test_word(tests.now))));
    rows.extend(drive.size.get().map(|size| Row::of("size", size.to_string())));
    rows.extend(drive.model.clone().map(|model| Row::of("model", model)));
    rows
}

fn test_word(test: SelfTest) -> &'static str {
    match test {
        SelfTest::Never => "never",
        SelfTest::Passed => "passed",
        SelfTest::Ended => "broken off",
        SelfTest::CouldNotFinish => "no end",
        SelfTest::Failed => "FAILED",
        SelfTest::Running { .. } => "runs",
    }
}
