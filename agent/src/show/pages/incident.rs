//! An incident: state word, which tray, what must stay in, what to do, since when, numbers; always in this order.

use super::View;
use super::pieces::{WIDTH, alarm_strip};
use crate::tell::incident_words::told;
use crate::units::span;
use crate::verdict::{IncidentId, Severity};
use traylight_display::text::{text, text_right};
use traylight_display::{Face, Frame};

/// Draws the page; an incident that ended a moment ago leaves it to the others.
pub fn draw(frame: &mut Frame, view: &View<'_>, id: IncidentId) {
    let Some(incident) = view.verdict.incidents.iter().find(|incident| incident.id == id) else {
        return super::state::draw(frame, view);
    };
    let told = told(incident, &|at| (view.time_of_day)(view.verdict.at.since(at)), view.tongue);
    let words = told.words;
    let severity = view.tongue.plain(match incident.severity {
        Severity::Critical => "page.critical",
        Severity::Warning => "page.warning",
        Severity::Notice => "page.notice",
    });
    let others =
        view.verdict.incidents.iter().filter(|other| other.severity >= Severity::Warning).count().saturating_sub(1);
    let more = if others > 0 { format!(" +{others}") } else { String::new() };
    text(frame, 1, 0, &format!("{severity}{more}"), Face::Small);
    text_right(frame, WIDTH - 1, 0, view.clock, Face::Small);
    if incident.severity == Severity::Critical {
        alarm_strip(frame);
    }

    let mut y = 10;
    for (part, face) in title(&words.title, Face::Medium.columns(frame.glass_size())) {
        text(frame, 0, y, part, face);
        y += face.height() as i32;
    }
    let held = view.verdict.at.since(incident.since);
    let since = view.tongue.say("page.since", &[("time", &(view.time_of_day)(held)), ("span", &span(held))]);
    let lines = words.leave_in.into_iter().chain([words.brief.to_owned(), since]).chain(words.evidence);
    for line in lines {
        if y + 8 > 63 {
            break;
        }
        text(frame, 0, y + 1, &line, Face::Small);
        y += 9;
    }
}

/// The title as large as it goes: whole, or in two parts of which the longer one is large, or small.
fn title(title: &str, columns: usize) -> Vec<(&str, Face)> {
    let length = |text: &str| text.chars().count();
    if length(title) <= columns {
        return vec![(title, Face::Medium)];
    }
    let breaks = title.match_indices(' ').map(|(at, _)| (&title[..at], &title[at + 1..]));
    let longest = |(first, second): &(&str, &str)| length(first).max(length(second));
    match breaks.filter(|parts| longest(parts) <= columns).max_by_key(longest) {
        Some((first, second)) if length(first) >= length(second) => vec![(first, Face::Medium), (second, Face::Small)],
        Some((first, second)) => vec![(first, Face::Small), (second, Face::Medium)],
        None => vec![(title, Face::Small)],
    }
}
