//! An open incident from near: state word, which tray, what must stay in, what to do, since when, numbers; always in this
//! order. What has no room takes turns.

use super::pieces::{LINE, alarm, columns, height, pitch, severity_word, width};
use super::view::View;
use crate::tell::words::incident::incident_words;
use crate::tell::words::phrases::Phrases;
use crate::units::span;
use crate::verdict::{Incident, Severity};
use traylight_display::text::{text, text_right, wrap};
use traylight_display::{Face, Frame, area};

/// A small panel shows less: at most so many parts.
const MOST_PARTS_WHERE_SMALL: usize = 3;

/// Draws the page.
pub fn draw(frame: &mut Frame, view: &View<'_>, incident: &Incident) {
    let panel = frame.panel_size();
    let words = incident_words(incident, &|at| (view.time_of_day)(view.verdict.at.since(at)), view.language).words;
    let columns = Face::Small.columns(panel);
    let (top, bottom) = (LINE + 2, height(frame) - 1);
    let is_small = height(frame) < 64;

    let fits = |line: &String| line.split_whitespace().all(|word| word.chars().count() <= columns);
    let numbers = words.evidence.into_iter().filter(|line| columns >= 21 || fits(line));
    let said = words.leave_in.into_iter().chain([words.brief, since(view, incident)]).chain(numbers);
    let said: Vec<Vec<String>> = said.map(|line| wrap(&line, columns)).collect();

    let title = title(&words.title, frame);
    let title_rows: i32 = title.iter().map(|(_, face)| pitch(*face)).sum();
    let lines_in = |rows: i32| ((rows + 2) / LINE).max(1) as usize;
    // On a small panel the title has a place of its own only once; then its first line is in the strip.
    let (first, later) =
        (lines_in(bottom - top - title_rows), lines_in(bottom - top - if is_small { 0 } else { title_rows }));
    let mut leaves = leaves(&said, first, later);
    if is_small {
        leaves.truncate(MOST_PARTS_WHERE_SMALL);
    }
    let turn = (view.cycle % leaves.len().max(1) as u64) as usize;
    let leads = turn == 0 || !is_small;
    strip(frame, view, incident, (!leads).then_some(title.first()).flatten().map(|(line, _)| line.as_str()));
    let leaf = leaves.get(turn).into_iter().flatten().map(|line| (line.clone(), Face::Small));
    let body = title.into_iter().filter(|_| leads).chain(leaf);
    let mut y = top;
    for (line, face) in body {
        text(frame, 0, y, &line, face);
        y += pitch(face);
    }
}

/// Title, what must stay in, what to do, since when, numbers.
pub fn sentences(view: &View<'_>, incident: &Incident) -> Vec<String> {
    let words = incident_words(incident, &|at| (view.time_of_day)(view.verdict.at.since(at)), view.language).words;
    let leading = std::iter::once(words.title).chain(words.leave_in);
    leading.chain([words.brief, since(view, incident)]).chain(words.evidence).collect()
}

fn since(view: &View<'_>, incident: &Incident) -> String {
    match view.verdict.gaps.since(incident.since, view.verdict.at) {
        Some(held) => view.language.say("page.since", &[("time", &(view.time_of_day)(held)), ("span", &span(held))]),
        None => view.language.plain("page.since-unknown").to_owned(),
    }
}

/// The title in the middle face where that takes a line, or two on a panel that stands on its side; else in the small one.
fn title(title: &str, frame: &Frame) -> Vec<(String, Face)> {
    let panel = frame.panel_size();
    let lines = wrap(title, Face::Medium.columns(panel));
    let is_whole = lines.join(" ") == title;
    if height(frame) >= 64 && is_whole && lines.len() <= if width(frame) >= 128 { 1 } else { 2 } {
        return lines.into_iter().map(|line| (line, Face::Medium)).collect();
    }
    wrap(title, Face::Small.columns(panel)).into_iter().map(|line| (line, Face::Small)).collect()
}

/// What is said in parts of so many lines, the first and the later ones. What stands first is about trays: it stays in one
/// piece, since half of a list would be wrong. So does what takes two lines; longer numbers flow.
fn leaves(said: &[Vec<String>], first: usize, later: usize) -> Vec<Vec<String>> {
    let mut leaves: Vec<Vec<String>> = vec![Vec::new()];
    for (place, paragraph) in said.iter().enumerate() {
        let is_kept = (place == 0 || paragraph.len() == 2) && paragraph.len() <= later;
        for (index, line) in paragraph.iter().enumerate() {
            let room = if leaves.len() == 1 { first } else { later };
            let needed = if index == 0 && is_kept { paragraph.len() } else { 1 };
            if leaves.last().map_or(0, Vec::len) + needed > room {
                leaves.push(Vec::new());
            }
            if let Some(leaf) = leaves.last_mut() {
                leaf.push(line.clone());
            }
        }
    }
    leaves
}

/// The state word or the title, how many others there are, and the clock; lit while it is critical.
fn strip(frame: &mut Frame, view: &View<'_>, incident: &Incident, title: Option<&str>) {
    let wide = width(frame);
    let others =
        view.verdict.incidents.iter().filter(|other| other.severity >= Severity::Warning).count().saturating_sub(1);
    let more = if others > 0 { format!(" +{others}") } else { String::new() };
    let acknowledged =
        if incident.acknowledged { format!(" {}", view.language.plain("page.acknowledged")) } else { String::new() };
    let columns = columns((wide - 2).max(0) as u32);
    let word = title.unwrap_or(severity_word(view, incident.severity, columns));
    let lefts = [format!("{word}{acknowledged}{more}"), format!("{word}{more}"), word.to_owned()];
    let clock = view.clock.chars().count() + 1;
    let is_test = view.is_test();
    let room = if is_test { columns.saturating_sub(clock) } else { columns };
    // That it is a test is never left out.
    let last = if is_test { view.clock } else { word };
    let left = lefts.iter().find(|left| left.chars().count() <= room).map_or(last, String::as_str);
    text(frame, 1, 1, left, Face::Small);
    if left.chars().count() + clock <= columns {
        text_right(frame, wide - 1, 1, view.clock, Face::Small);
    }
    if incident.severity == Severity::Critical {
        alarm(frame, view, area(0, 0, wide as u32, (LINE + 1) as u32));
    }
}
