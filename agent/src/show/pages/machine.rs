//! Box: its name, where to reach it, how long it is up, how hard it works.

use super::pieces::or_dashes;
use super::sheet::{Level, Row, Sheet};
use super::view::View;
use crate::reading::Snapshot;
use crate::tell::words::phrases::Phrases;
use crate::units::{Percent, span};

/// The name leads.
pub fn sheet(view: &View<'_>, snapshot: &Snapshot) -> Sheet {
    let words = |key| view.language.plain(key);
    let board = &snapshot.board;
    let name = view.settings.box_name.clone().unwrap_or_else(|| board.name.clone());
    let up = span(view.verdict.at.since_boot());
    let mut rows = vec![Row::of(
        words("page.network.address"),
        board.address.clone().unwrap_or_else(|| words("page.box.no-address").to_owned()),
    )];
    match board.load.as_ref().map(|reading| &reading.value) {
        Some(Ok(load)) => {
            let busy = load.one_minute / f64::from(load.processors.max(1));
            let average = format!("{:.2}", load.one_minute);
            let average = view.language.say("page.box.of-processors", &[("load", &average), ("n", &load.processors)]);
            rows.push(Row::of(words("page.box.load"), average).with(Level::share(Some(busy))));
            let used = load.memory.0.saturating_sub(load.memory_available.0);
            let share = Percent::of(used as f64, load.memory.0 as f64);
            let percent = view.language.say("page.box.memory-used", &[("percent", &or_dashes(share))]);
            let level = Level::share(share.map(|share| share.0 / 100.0));
            rows.push(Row::of(words("page.box.memory"), percent).with(level));
        }
        _ => rows.push(Row::of(words("page.box.load-and-memory"), "--")),
    }
    rows.push(Row::of(words("page.box.kernel"), board.kernel.clone()));
    if !board.model.is_empty() {
        rows.push(Row::of(words("page.box.board"), board.model.clone()));
    }
    Sheet {
        name: words("page.box.title").to_owned(),
        figure: name,
        beside: vec![view.language.say("page.up", &[("span", &up)])],
        rows,
        ..Sheet::default()
    }
}
