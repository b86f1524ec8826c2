//! An open incident from near: state word, which tray, what must stay in, what to do, since when, numbers; always in this
//! order. What has no room takes turns.

use super::View;
use super::pieces::{LINE, alarm, height, severity_word, width};
use crate::tell::incident_words::told;
use crate::units::span;
use crate::verdict::{Incident, Severity};
use traylight_display::text::{text, text_right, wrap};
use traylight_display::{Face, Frame, area};

/// Draws the page.
pub fn draw(frame: &mut Frame, view: &View<'_>, incident: &Incident) {
    let glass = frame.glass_size();
    let words = told(incident, &|at| (view.time_of_day)(view.verdict.at.since(at))).words;
    strip(frame, view, incident);
    let columns = Face::Small.columns(glass);
    let (top, bottom) = (LINE + 2, height(frame) - 1);

    // From afar the title was large already; here it leads in the middle face where a line of it is wide enough.
    let mut title: Vec<(String, Face)> = Vec::new();
    let lines = wrap(&words.title, Face::Medium.columns(glass));
    let is_whole = lines.join(" ") == words.title;
    if height(frame) >= 64 && is_whole && lines.len() <= if width(frame) >= 128 { 1 } else { 2 } {
        title.extend(lines.into_iter().map(|line| (line, Face::Medium)));
    } else {
        title.extend(wrap(&words.title, columns).into_iter().map(|line| (line, Face::Small)));
    }
    let held = view.verdict.at.since(incident.since);
    let since = format!("since {} {}", (view.time_of_day)(held), span(held));
    let said = words.leave_in.into_iter().chain([words.brief.to_owned(), since]).chain(words.evidence);
    let said: Vec<String> = said.flat_map(|line| wrap(&line, columns)).collect();

    let title_rows: i32 = title.iter().map(|(_, face)| pitch(*face)).sum();
    let each = (((bottom - top - title_rows + 2) / LINE).max(1)) as usize;
    let leaves: Vec<&[String]> = said.chunks(each).collect();
    let leaf = leaves.get((view.lap % leaves.len().max(1) as u64) as usize).copied().unwrap_or_default();
    let body = title.into_iter().chain(leaf.iter().map(|line| (line.clone(), Face::Small)));
    let mut y = top;
    for (line, face) in body {
        text(frame, 0, y, &line, face);
        y += pitch(face);
    }
}

fn pitch(face: Face) -> i32 {
    if face == Face::Small { LINE } else { face.height() as i32 }
}

/// The state word, how many others there are, and the clock; lit while it is critical.
fn strip(frame: &mut Frame, view: &View<'_>, incident: &Incident) {
    let wide = width(frame);
    let others =
        view.verdict.incidents.iter().filter(|other| other.severity >= Severity::Warning).count().saturating_sub(1);
    let more = if others > 0 { format!(" +{others}") } else { String::new() };
    let known = if incident.acknowledged { " known" } else { "" };
    let word = severity_word(incident.severity);
    let columns = ((wide - 2) / Face::Small.width() as i32) as usize;
    let short = if columns >= word.len() { word } else { "CRIT" };
    let lefts = [format!("{word}{known}{more}"), format!("{word}{more}"), word.to_owned(), short.to_owned()];
    let clock = view.clock.chars().count() + 1;
    // That it is a test is never left out.
    let room = if view.clock == super::TEST { columns.saturating_sub(clock) } else { columns };
    let left = lefts.iter().find(|left| left.chars().count() <= room).unwrap_or(&lefts[3]);
    text(frame, 1, 1, left, Face::Small);
    if left.chars().count() + clock <= columns {
        text_right(frame, wide - 1, 1, view.clock, Face::Small);
    }
    if incident.severity == Severity::Critical {
        alarm(frame, view, area(0, 0, wide as u32, (LINE + 1) as u32));
    }
}
