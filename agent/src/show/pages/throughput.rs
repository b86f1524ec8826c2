//! Throughput: what the busiest line moves, in MB/s, and how much that is of what it could.

use super::ceiling::{Line, lines};
use super::sheet::{Level, Row, Sheet};
use crate::reading::{Snapshot, Traffic};
use crate::units::{BytesPerSecond, Percent};

/// The busiest line leads; then the drives together, then the other lines.
pub fn sheet(snapshot: &Snapshot) -> Sheet {
    let lines = lines(snapshot);
    let drives = together(snapshot);
    let rate = |rate: Option<BytesPerSecond>| rate.map_or_else(|| "--".to_owned(), |rate| rate.to_string());
    let mut rows: Vec<Row> = lines.iter().skip(1).map(row).collect();
    rows.push(Row::of("drives read", rate(drives.map(|drives| drives.inward))));
    rows.push(Row::of("drives write", rate(drives.map(|drives| drives.outward))));
    let name = "MOVING".to_owned();
    let Some(first) = lines.first() else {
        let most = drives.map(|drives| BytesPerSecond(drives.inward.0.max(drives.outward.0)));
        let figure = most.map_or_else(|| "--".to_owned(), BytesPerSecond::in_megabytes);
        return Sheet {
            name,
            figure,
            beside: vec!["MB/s".to_owned(), "by drives".to_owned()],
            rows,
            ..Sheet::default()
        };
    };
    let share = Percent(first.share() * 100.0);
    Sheet {
        name,
        figure: first.moved.in_megabytes(),
        beside: vec![
            format!("MB/s {}", direction(first)),
            first.name.clone(),
            format!("{share} of {}", first.most.in_megabytes()),
        ],
        level: Some(Level::share(Some(first.share()))),
        rows,
        ..Sheet::default()
    }
}

fn row(line: &Line) -> Row {
    let share = Percent(line.share() * 100.0);
    Row::of(format!("{} {}", line.name, direction(line)), share.to_string()).with(Level::share(Some(line.share())))
}

fn direction(line: &Line) -> &'static str {
    if line.is_inward { "in" } else { "out" }
}

fn together(snapshot: &Snapshot) -> Option<Traffic> {
    let add = |a: BytesPerSecond, b: BytesPerSecond| BytesPerSecond(a.0 + b.0);
    let traffic = snapshot.drives.iter().filter_map(|drive| drive.traffic.get().copied());
    traffic.reduce(|a, b| Traffic { inward: add(a.inward, b.inward), outward: add(a.outward, b.outward) })
}
