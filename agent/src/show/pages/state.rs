//! State: one word for the whole box, as large as the glass allows, and what belongs to it in a few more.

use super::View;
use super::pieces::{LINE, Paragraph, alarm, below, block, columns, height, severity_word, warmest, width};
use crate::tell::incident_words::told;
use crate::tell::wording::words;
use crate::units::span;
use crate::verdict::{Heard, Severity};
use std::time::Duration;
use traylight_display::figure::{Stand, figure};
use traylight_display::text::text_right;
use traylight_display::{Face, Frame, area};

/// A start of the machine that takes longer is over.
const LONG_START: Duration = Duration::from_secs(600);

/// Draws the page.
pub fn draw(frame: &mut Frame, view: &View<'_>) {
    let word = state_word(view, columns(width(frame) as u32 - 2));
    let remarks = remarks(view);
    if word == "OK" && remarks.is_empty() { fine(frame, view) } else { not_so_fine(frame, view, word, &remarks) }
}

/// All is well: the word fills the height, with two figures for whoever comes near.
fn fine(frame: &mut Frame, view: &View<'_>) {
    let drives = view.snapshot.map_or(0, |snapshot| snapshot.drives.len());
    let warm = warmest(view).first().map(|(_, celsius)| format!("{:.0}°", celsius.0));
    let (wide, high) = (width(frame), height(frame));
    if wide > high {
        // The word at the left, a column of seven small characters at the right.
        let left = wide - 44;
        let narrow = wide < 128;
        let room = if narrow {
            area(0, 0, wide as u32, (high - 20) as u32)
        } else {
            area(0, 4, (left - 4) as u32, (high - 9) as u32)
        };
        figure(frame, room, "OK", Stand::Middle);
        if narrow {
            let lines: Vec<Paragraph> = vec![vec![view.clock.to_owned()], vec![format!("{drives} drives")]];
            block(frame, below(frame, high - 19), &lines, 0);
            return;
        }
        text_right(frame, wide, 0, view.clock, Face::Small);
        let figures = [Some((drives.to_string(), "drives")), warm.map(|warm| (warm, "warmest"))];
        let shown = if high < 64 { 1 } else { 2 };
        for (index, (value, about)) in figures.into_iter().flatten().take(shown).enumerate() {
            let top = 10 + 27 * index as i32;
            figure(frame, area(left, top, 44, if high < 64 { 13 } else { 16 }), &value, Stand::Middle);
            let words = area(left, top + if high < 64 { 14 } else { 17 }, 44, 8);
            traylight_display::text::text_centred(frame, words, about, Face::Small);
        }
        return;
    }
    figure(frame, area(0, 1, wide as u32, (high / 2 - 2) as u32), "OK", Stand::Middle);
    let mut lines: Vec<Paragraph> =
        vec![vec![view.clock.to_owned()], vec![format!("{drives} drives"), drives.to_string()]];
    lines.extend(warm.map(|warm| vec![format!("warmest {warm}"), warm]));
    block(frame, below(frame, high / 2 + 1), &lines, 0);
}

/// The word in a strip of its own, lit while something is critical, then what there is to say, and the clock in the corner.
fn not_so_fine(frame: &mut Frame, view: &View<'_>, word: &str, remarks: &[Paragraph]) {
    let (wide, high) = (width(frame), height(frame));
    let strip = match (high, word) {
        (..40, _) => 16,
        (40..64, "OK") => 20,
        (40..64, _) => 12,
        (_, "OK") => 32,
        _ => 23,
    };
    let beside_word = high < 40;
    let kept = if beside_word { 6 * view.clock.chars().count() as i32 + 4 } else { 0 };
    figure(frame, area(1, 2, (wide - 2 - kept).max(0) as u32, (strip - 4) as u32), word, Stand::Middle);
    let (clock_at, last) = if beside_word { (4, high) } else { (high - LINE, high - LINE) };
    text_right(frame, wide - if beside_word { 2 } else { 0 }, clock_at, view.clock, Face::Small);
    if view.verdict.worst() == Some(Severity::Critical) && word.starts_with("CRIT") {
        alarm(frame, view, area(0, 0, wide as u32, strip as u32));
    }
    let top = strip + if high < 64 { 1 } else { 3 };
    block(frame, area(0, top, wide as u32, (last - 1 - top).max(0) as u32), remarks, 0);
}

/// One word for the box. `OK` needs everything fresh: silence and trouble each have words of their own.
fn state_word(view: &View<'_>, columns: usize) -> &'static str {
    let fitting = |word: &'static str, short| if word.len() <= columns { word } else { short };
    match (&view.verdict.heard, view.verdict.worst()) {
        (Heard::SilentSince(_), _) => fitting("NO DATA", "STALE"),
        (_, Some(severity @ (Severity::Critical | Severity::Warning))) => severity_word(severity, columns),
        (Heard::NotYet, _) => fitting("STARTING", "START"),
        (Heard::Fresh, _) if awaited(view).is_some() => fitting("STARTING", "START"),
        (Heard::InPart(_), _) => fitting("PARTIAL", "PART"),
        (Heard::Fresh, _) => "OK",
    }
}

/// How many drives are there of how many that have trays, while drives that start one after the other have time to come.
fn awaited(view: &View<'_>) -> Option<(usize, usize)> {
    let expected: usize = view.settings.shelves.iter().map(|shelf| shelf.trays.len()).sum();
    let found = view.snapshot?.drives.len();
    let has_time = view.verdict.at.since_boot() < view.settings.limits.grace.drives;
    (has_time && found < expected).then_some((found, expected))
}

/// What there is to say beside the word, the weightiest first.
fn remarks(view: &View<'_>) -> Vec<Paragraph> {
    let verdict = view.verdict;
    let mut said: Vec<Paragraph> = Vec::new();
    let up = verdict.at.since_boot();
    match &verdict.heard {
        Heard::SilentSince(since) => {
            let (silent, last) = (verdict.at.since(*since), (view.time_of_day)(verdict.at.since(*since)));
            said.push(vec![format!("for {}", span(silent)), span(silent)]);
            said.push(vec![format!("last heard {last}"), last]);
        }
        Heard::NotYet => {
            said.push(vec!["looking for drives".to_owned(), "looking".to_owned()]);
            // How long the machine is up says something of the start only while that is short.
            said.extend((up < LONG_START).then(|| vec![format!("up {}", span(up))]));
        }
        Heard::InPart(blind) => {
            said.push(vec![format!("{} parts not seen", blind.len()), format!("{} unseen", blind.len())])
        }
        Heard::Fresh => {
            let awaited = awaited(view);
            said.extend(awaited.map(|(found, of)| vec![format!("drives {found} of {of}"), format!("{found} of {of}")]));
            said.extend(awaited.map(|_| vec![span(up)]));
        }
    }
    let open = verdict.incidents.iter().filter(|open| open.severity >= Severity::Warning);
    said.extend(open.map(|open| vec![told(open, &|_| String::new()).words.title]));
    said.extend(verdict.muted_until.map(|until| muted(until.since(verdict.at))));
    said.extend(not_set_up(view));
    let notices = verdict.conditions.iter().filter(|condition| condition.severity == Severity::Notice);
    said.extend(notices.map(|notice| vec![words(notice).title]));
    said
}

/// That messages are held back must not be cut: who forgot it would wait for one.
fn muted(left: Duration) -> Paragraph {
    let left = span(left);
    vec![format!("MUTED {left} left"), format!("MUTED {left}"), "MUTED".to_owned()]
}

/// Without a named tray nobody can be told which one to look at.
fn not_set_up(view: &View<'_>) -> Option<Paragraph> {
    let drives = view.snapshot?.drives.len();
    let is_named = view.settings.shelves.iter().any(|shelf| !shelf.trays.is_empty());
    (!is_named && drives > 0).then(|| {
        vec![
            format!("{drives} drives found, trays not named"),
            format!("{drives} drives, no tray named"),
            "no tray named".to_owned(),
        ]
    })
}
