//! An open incident from afar: the state word, which tray, what is wrong with it, what must stay in.

use super::pieces::{Paragraph, alarm, below, block, columns, height, severity_word, width};
use super::view::View;
use crate::tell::words::drives::named;
use crate::tell::words::incident::incident_words;
use crate::tell::words::phrases::Phrases;
use crate::verdict::{Handling, Incident, Severity};
use traylight_display::figure::{Stand, figure};
use traylight_display::text::{text, text_centred, text_right, wrap};
use traylight_display::{Face, Frame, Rectangle, area};

/// Draws the page.
pub fn draw(frame: &mut Frame, view: &View<'_>, incident: &Incident) {
    let title = incident_words(incident, &|_| String::new(), view.language).words.title;
    match tray_of(view, incident, &title) {
        Some((label, what)) => about_tray(frame, view, incident, &label, &what),
        None => about_box(frame, view, incident, &title),
    }
}

/// State word, title, what must stay in.
pub fn sentences(view: &View<'_>, incident: &Incident) -> Vec<String> {
    let words = incident_words(incident, &|_| String::new(), view.language).words;
    let severity = severity_word(view, incident.severity, usize::MAX).to_owned();
    [severity, words.title].into_iter().chain(words.leave_in).collect()
}

/// The tray of an incident that is about one, and the rest of the title.
fn tray_of(view: &View<'_>, incident: &Incident, title: &str) -> Option<(String, String)> {
    let [drive] = incident.drives.as_slice() else { return None };
    let label = drive.tray.clone()?;
    let what = title.strip_prefix(&named(drive, view.language))?.trim_start().to_owned();
    Some((label, what))
}

/// The tray's label as large as the panel allows, and beside it the words.
fn about_tray(frame: &mut Frame, view: &View<'_>, incident: &Incident, label: &str, what: &str) {
    let (wide, high) = (width(frame), height(frame));
    let word = severity_word(view, incident.severity, columns(wide as u32));
    let brief = incident_words(incident, &|_| String::new(), view.language).words.brief;
    // What must stay in is more than what to do, which the page from near says as well.
    let handling = handling(incident, view);
    let matters_most = usize::from(handling.is_some());
    let to_do = handling.unwrap_or_else(|| vec![brief]);
    if high > wide {
        // On its side: strip, tray, label, words below each other.
        let strip = area(0, 0, wide as u32, 12);
        lead(frame, view, incident, strip, word);
        text_centred(frame, area(0, 14, wide as u32, 8), view.language.plain("page.tray"), Face::Small);
        // The words below need a third of a low panel.
        let tall = (if high >= 100 { high * 3 / 8 } else { high / 4 }) as u32;
        figure(frame, area(0, 23, wide as u32, tall), label, Stand::Middle);
        block(frame, below(frame, 23 + tall as i32 + 3), &[vec![what.to_owned()], to_do], matters_most);
        return;
    }
    let column = if wide < 128 {
        28
    } else if high < 64 {
        26
    } else {
        44
    };
    let beside = column + 4;
    let (strip, top) = match (wide >= 128, high, incident.severity) {
        (true, 64.., _) => (area(beside, 0, (wide - beside) as u32, 16), 17),
        (true, _, Severity::Critical) => (area(beside, 0, (wide - beside) as u32, 10), 11),
        // Nothing is lit behind the word: three lines have room below it.
        (true, ..) => (area(beside, 0, (wide - beside) as u32, 8), 8),
        (false, ..) => (area(0, 0, wide as u32, 10), 11),
    };
    lead(frame, view, incident, strip, word);
    let above = if wide >= 128 { 0 } else { 11 };
    text_centred(frame, area(0, above, column as u32, 8), view.language.plain("page.tray"), Face::Small);
    let from = above + 8;
    figure(frame, area(0, from, column as u32, (high - 1 - from) as u32), label, Stand::Middle);
    block(
        frame,
        area(beside, top, (wide - beside) as u32, (high - 1 - top) as u32),
        &[vec![what.to_owned()], to_do],
        matters_most,
    );
}

/// The title as large as the panel allows, and below it what must be done with trays, or what to do.
fn about_box(frame: &mut Frame, view: &View<'_>, incident: &Incident, title: &str) {
    let (wide, high) = (width(frame), height(frame));
    let strip = area(0, 0, wide as u32, if high < 64 { 10 } else { 16 });
    lead(frame, view, incident, strip, severity_word(view, incident.severity, columns(strip.size.width)));
    let top = strip.size.height as i32 + 2;
    let brief = incident_words(incident, &|_| String::new(), view.language).words.brief;
    let said = handling(incident, view).unwrap_or_else(|| vec![brief]);
    let lines = wrap(&said[0], columns(wide as u32)).len() as i32;
    let words = 9 * lines;
    let room = area(0, top, wide as u32, (high - 1 - top - words - 1).max(0) as u32);
    for (line, place) in parts(title, room) {
        figure(frame, place, &line, Stand::Middle);
    }
    block(frame, below(frame, high - 1 - words), &[said], 0);
}

/// The state word in a strip, lit while it is critical; with the clock where there is room. That it is a test has room
/// always.
fn lead(frame: &mut Frame, view: &View<'_>, incident: &Incident, strip: Rectangle, word: &str) {
    let (left, top, wide, high) = (strip.top_left.x, strip.top_left.y, strip.size.width, strip.size.height);
    let clock = Face::Small.width() * view.clock.chars().count() as u32;
    let both_fit = |face: &Face| word.chars().count() as u32 * face.width() + clock + 4 <= wide;
    let is_test = view.is_test();
    let faces: &[Face] = if high < 16 { &[Face::Small] } else { &[Face::Medium, Face::Small] };
    let beside_test = if is_test { faces } else { &faces[..1] };
    match beside_test.iter().find(|face| both_fit(face)) {
        Some(&face) => {
            let row = top + (high as i32 - face.capitals() as i32) / 2;
            text(frame, left + 2, row, word, face);
            text_right(frame, left + wide as i32 - 1, row, view.clock, Face::Small);
        }
        None => text_centred(frame, strip, if is_test { view.clock } else { word }, faces[0]),
    }
    if incident.severity == Severity::Critical {
        alarm(frame, view, strip);
    }
}

/// What is to be done with trays, in ever fewer words. A list is never cut: where it has no room, all stay in.
pub(super) fn handling(incident: &Incident, view: &View<'_>) -> Option<Paragraph> {
    let line =
        incident_words(incident, &|at| (view.time_of_day)(view.verdict.at.since(at)), view.language).words.leave_in?;
    let plain = |key| view.language.plain(key).to_owned();
    Some(match &incident.handling {
        Handling::PutBack { tray } => {
            // With the box on, nothing is plugged in: "off" is never left out.
            let shorter = incident.hot_swap.then(|| view.language.say("page.alarm.put-back", &[("tray", tray)]));
            std::iter::once(line).chain(shorter).collect()
        }
        Handling::PullNothing | Handling::Nameless => vec![line, plain("page.alarm.pull-none")],
        Handling::Compare { .. } => vec![line, plain("page.alarm.compare")],
        _ => vec![line, plain("page.alarm.leave-all-in"), plain("page.alarm.all-in")],
    })
}

/// The title in one to three lines, broken where the letters come out largest, each with its part of the room.
fn parts(title: &str, room: Rectangle) -> Vec<(String, Rectangle)> {
    let words: Vec<&str> = title.split_whitespace().collect();
    let broken = (1..=3.min(words.len())).filter_map(|count| lines_of(&words, count));
    let size = |lines: &Vec<String>| {
        let longest = lines.iter().map(|line| line.chars().count()).max().unwrap_or(1) as u32;
        (room.size.width * 100 / (longest * 16)).min(room.size.height * 100 / (lines.len() as u32 * 21))
    };
    let best = broken.max_by_key(|lines| (size(lines), std::cmp::Reverse(lines.len()))).unwrap_or_default();
    let each = room.size.height / best.len().max(1) as u32;
    let place = |index: usize| {
        area(room.top_left.x, room.top_left.y + (each * index as u32) as i32, room.size.width, each.saturating_sub(1))
    };
    best.into_iter().enumerate().map(|(index, line)| (line, place(index))).collect()
}

/// The words in so many lines whose longest is as short as it goes.
fn lines_of(words: &[&str], count: usize) -> Option<Vec<String>> {
    if count == 1 {
        return (!words.is_empty()).then(|| vec![words.join(" ")]);
    }
    let with_first = |end: usize| {
        let mut lines = vec![words[..end].join(" ")];
        lines.extend(lines_of(&words[end..], count - 1)?);
        Some(lines)
    };
    let longest = |lines: &Vec<String>| lines.iter().map(|line| line.chars().count()).max();
    (1..words.len()).filter_map(with_first).min_by_key(longest)
}
