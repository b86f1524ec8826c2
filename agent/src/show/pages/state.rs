//! State: one word for the whole box, as large as the panel allows, and what belongs to it in a few more.

use super::alarm::handling;
use super::pieces::{
    LINE, Paragraph, alarm, arranged, below, block, columns, height, severity_word, tight, warmest, width,
};
use super::view::View;
use crate::tell::words::condition::words;
use crate::tell::words::incident::incident_words;
use crate::tell::words::phrases::Phrases;
use crate::units::span;
use crate::verdict::{Freshness, Severity};
use std::time::Duration;
use traylight_display::figure::{Stand, figure};
use traylight_display::text::text_right;
use traylight_display::{Face, Frame, area};

/// A start of the machine that takes longer is over.
const LONG_START: Duration = Duration::from_secs(600);

/// Draws the page.
pub fn draw(frame: &mut Frame, view: &View<'_>) {
    let remarks = remarks(view);
    if view.verdict.is_fine() && remarks.is_empty() { fine(frame, view) } else { not_so_fine(frame, view, &remarks) }
}

/// All is well: the word fills the height, with two figures for whoever comes near.
fn fine(frame: &mut Frame, view: &View<'_>) {
    let drives = drives(view);
    let counted = view.language.count("page.state.drives", drives as u64);
    let warm = hottest(view);
    let (wide, high) = (width(frame), height(frame));
    if wide > high {
        // The word at the left, a column of seven small characters at the right.
        let left = wide - 42;
        let narrow = wide < 128;
        let room = if narrow {
            area(0, 0, wide as u32, (high - 20) as u32)
        } else {
            area(0, 4, (left - 1) as u32, (high - 9) as u32)
        };
        figure(frame, room, view.language.plain("page.ok"), Stand::Middle);
        if narrow {
            let lines: Vec<Paragraph> = vec![vec![view.clock.to_owned()], vec![counted.clone()]];
            block(frame, below(frame, high - 19), &lines, 0);
            return;
        }
        text_right(frame, wide, 0, view.clock, Face::Small);
        let alone = view.language.count("page.state.drives-alone", drives as u64);
        let figures = [
            Some((drives.to_string(), alone)),
            warm.map(|warm| (warm, view.language.plain("page.state.hottest").to_owned())),
        ];
        let shown = if high < 64 { 1 } else { 2 };
        for (index, (value, about)) in figures.into_iter().flatten().take(shown).enumerate() {
            let top = 10 + 27 * index as i32;
            figure(frame, area(left, top, 42, if high < 64 { 13 } else { 16 }), &value, Stand::Middle);
            let words = area(left, top + if high < 64 { 14 } else { 17 }, 42, 8);
            traylight_display::text::text_centred(frame, words, &about, Face::Small);
        }
        return;
    }
    figure(frame, area(0, 1, wide as u32, (high / 2 - 2) as u32), view.language.plain("page.ok"), Stand::Middle);
    let mut lines: Vec<Paragraph> = vec![vec![view.clock.to_owned()], vec![counted]];
    lines.extend(warm.map(|warm| vec![view.language.say("page.state.hottest-is", &[("figure", &warm)]), warm]));
    block(frame, below(frame, high / 2 + 1), &lines, 0);
}

/// The word for the box, and what belongs to it.
pub fn sentences(view: &View<'_>) -> Vec<String> {
    let remarks = remarks(view);
    let mut said = vec![state_word(view, usize::MAX).to_owned()];
    if view.verdict.is_fine() && remarks.is_empty() {
        said.push(view.language.count("page.state.drives", drives(view) as u64));
        said.extend(hottest(view).map(|figure| view.language.say("page.state.hottest-is", &[("figure", &figure)])));
    }
    said.extend(remarks.into_iter().filter_map(|ways| ways.into_iter().next()));
    said
}

fn drives(view: &View<'_>) -> usize {
    view.snapshot.map_or(0, |snapshot| snapshot.drives.len())
}

/// How hot the hottest drive is.
fn hottest(view: &View<'_>) -> Option<String> {
    let (_, celsius) = *warmest(view).first()?;
    Some(tight(view, celsius))
}

/// The word in a strip of its own, lit while something is critical, then what there is to say, and the clock in the corner.
fn not_so_fine(frame: &mut Frame, view: &View<'_>, remarks: &[Paragraph]) {
    let (wide, high) = (width(frame), height(frame));
    let strip = match (high, view.verdict.is_fine()) {
        (..40, _) => 15,
        (40..64, true) => 20,
        (40..64, false) => 12,
        (_, true) => 32,
        (_, false) => 23,
    };
    let beside_word = high < 40;
    let kept = if beside_word { 6 * view.clock.chars().count() as i32 + 4 } else { 0 };
    let word = state_word(view, columns((wide - 2 - kept).max(0) as u32));
    let margin = if beside_word { 1 } else { 2 };
    let room = area(1, margin, (wide - 2 - kept).max(0) as u32, (strip - 2 * margin) as u32);
    figure(frame, room, word, Stand::Middle);
    let top = strip + if high < 64 { 1 } else { 3 };
    let room = |last: i32| area(0, top, wide as u32, (last - 1 - top).max(0) as u32);
    // On a small panel the clock gives way to what is wrong and which trays must stay in; that it is a test stays.
    let first: Vec<&str> = remarks.iter().take(2).filter_map(|ways| ways.first()).map(String::as_str).collect();
    let has_clock = beside_word || view.is_test() || arranged(room(high - LINE), &first, 0).is_some();
    let (clock_at, last) = if beside_word { (4, high) } else { (high - LINE, high - LINE) };
    if has_clock {
        text_right(frame, wide - if beside_word { 2 } else { 0 }, clock_at, view.clock, Face::Small);
    }
    if view.verdict.worst() == Some(Severity::Critical) && !view.verdict.freshness.is_silent() {
        alarm(frame, view, area(0, 0, wide as u32, strip as u32));
    }
    block(frame, room(if has_clock { last } else { high }), remarks, 0);
}

/// One word for the box. `OK` needs everything fresh: silence and trouble each have words of their own.
fn state_word(view: &View<'_>, columns: usize) -> &'static str {
    let keys: &[&str] = match (&view.verdict.freshness, view.verdict.worst()) {
        (Freshness::SilentSince(_), _) => &["page.no-data", "page.no-data-short"],
        (_, Some(severity @ (Severity::Critical | Severity::Warning))) => {
            return severity_word(view, severity, columns);
        }
        (Freshness::NotYet, _) => &["page.reading", "page.reading-short"],
        _ if view.verdict.is_starting => &["page.starting", "page.starting-short"],
        (Freshness::InPart(_), _) => &["page.partial", "page.partial-short"],
        (Freshness::Fresh, _) => &["page.ok"],
    };
    view.fitting(keys, columns)
}

/// How many drives are there of how many that have trays, where some are still to come.
fn awaited(view: &View<'_>) -> Option<(usize, usize)> {
    let expected: usize = view.settings.shelves.iter().map(|shelf| shelf.trays.len()).sum();
    let found = view.snapshot?.drives.len();
    (found < expected).then_some((found, expected))
}

/// What there is to say beside the word, the weightiest first.
fn remarks(view: &View<'_>) -> Vec<Paragraph> {
    let (verdict, language) = (view.verdict, view.language);
    let mut said: Vec<Paragraph> = Vec::new();
    let up = verdict.at.since_boot();
    match &verdict.freshness {
        Freshness::SilentSince(since) => {
            let (silent, last) = (verdict.at.since(*since), (view.time_of_day)(verdict.at.since(*since)));
            said.push(vec![language.say("page.state.silent-for", &[("span", &span(silent))]), span(silent)]);
            said.push(vec![language.say("page.state.last-data", &[("time", &last)]), last]);
        }
        Freshness::NotYet => {
            said.push(
                ["page.state.looking", "page.state.looking-short"].map(|key| language.plain(key).to_owned()).to_vec(),
            );
            // How long the machine is up says something of the start only while that is short.
            said.extend((up < LONG_START).then(|| vec![language.say("page.up", &[("span", &span(up))])]));
        }
        Freshness::InPart(blind) => {
            let ways = ["page.state.not-readable", "page.state.not-readable-short"];
            said.push(ways.map(|key| language.say(key, &[("n", &blind.len())])).to_vec());
        }
        Freshness::Fresh => {}
    }
    if verdict.is_starting && matches!(verdict.freshness, Freshness::Fresh | Freshness::InPart(_)) {
        let ways = ["page.state.drives-found", "page.state.drives-found-short"];
        let line = |(found, of)| ways.map(|key| language.say(key, &[("n", &found), ("of", &of)])).to_vec();
        said.extend(awaited(view).map(line));
        said.push(vec![language.say("page.up", &[("span", &span(up))]), span(up)]);
    }
    for open in view.troubles() {
        said.push(vec![incident_words(open, &|_| String::new(), language).words.title]);
        said.extend(handling(open, view));
    }
    said.extend(verdict.muted_until.map(|until| muted(view, until.since(verdict.at))));
    said.extend(not_set_up(view));
    let notices = verdict.conditions.iter().filter(|condition| condition.severity == Severity::Notice);
    said.extend(notices.map(|notice| vec![words(notice, language).title]));
    said
}

/// That messages are held back must not be cut: who forgot it would wait for one.
fn muted(view: &View<'_>, left: Duration) -> Paragraph {
    let ways = ["page.state.muted-left", "page.state.muted-for", "page.state.muted"];
    ways.map(|key| view.language.say(key, &[("left", &span(left))])).to_vec()
}

/// Without a named tray nobody can be told which one to look at.
fn not_set_up(view: &View<'_>) -> Option<Paragraph> {
    let drives = view.snapshot?.drives.len();
    let is_named = view.settings.shelves.iter().any(|shelf| !shelf.trays.is_empty());
    let shortest = view.language.plain("page.state.unnamed-shortest").to_owned();
    let counted = ["page.state.unnamed", "page.state.unnamed-short"].map(|key| view.language.count(key, drives as u64));
    (!is_named && drives > 0).then(|| counted.into_iter().chain([shortest]).collect())
}
