//! Traffic: what the busiest line carries, in MB/s, and how much it could.

use super::ceiling::{TrafficLine, lines};
use super::pieces::or_dashes;
use super::sheet::{Level, Row, Sheet};
use super::view::View;
use crate::reading::{Snapshot, Traffic};
use crate::tell::words::phrases::{Language, Phrases};
use crate::units::{BytesPerSecond, Percent};

/// The busiest line leads; then the drives together, then the other lines.
pub fn sheet(view: &View<'_>, snapshot: &Snapshot) -> Sheet {
    let language = view.language;
    let words = |key| language.plain(key).to_owned();
    let lines = lines(snapshot);
    let drives = together(snapshot);
    let mut rows: Vec<Row> = lines.iter().skip(1).map(|line| row(line, language)).collect();
    rows.push(Row::of(words("page.traffic.drives-read"), or_dashes(drives.map(|drives| drives.inward))));
    rows.push(Row::of(words("page.traffic.drives-write"), or_dashes(drives.map(|drives| drives.outward))));
    let name = words("page.traffic.title");
    let Some(first) = lines.first() else {
        let most = drives.map(|drives| BytesPerSecond(drives.inward.0.max(drives.outward.0)));
        let figure = or_dashes(most.map(BytesPerSecond::in_megabytes));
        return Sheet {
            name,
            figure,
            beside: vec!["MB/s".to_owned(), words("page.traffic.by-drives")],
            rows,
            ..Sheet::default()
        };
    };
    Sheet {
        name,
        figure: first.moved.in_megabytes(),
        beside: vec![
            format!("MB/s {}", direction(first, language)),
            first.name.clone(),
            language.say("page.traffic.most", &[("most", &first.most.in_megabytes())]),
        ],
        level: Some(Level::share(Some(first.share()))),
        rows,
        ..Sheet::default()
    }
}

fn row(line: &TrafficLine, language: Language) -> Row {
    let share = Percent(line.share() * 100.0);
    Row::of(format!("{} {}", line.name, direction(line, language)), share.to_string())
        .with(Level::share(Some(line.share())))
}

fn direction(line: &TrafficLine, language: Language) -> &'static str {
    language.plain(match (line.is_port, line.is_inward) {
        (true, true) => "page.traffic.in",
        (true, false) => "page.traffic.out",
        (false, true) => "page.traffic.reads",
        (false, false) => "page.traffic.writes",
    })
}

fn together(snapshot: &Snapshot) -> Option<Traffic> {
    let add = |a: BytesPerSecond, b: BytesPerSecond| BytesPerSecond(a.0 + b.0);
    let traffic = snapshot.drives.iter().filter_map(|drive| drive.traffic.get().copied());
    traffic.reduce(|a, b| Traffic { inward: add(a.inward, b.inward), outward: add(a.outward, b.outward) })
}
