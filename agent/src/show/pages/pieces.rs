//! What several pages share: the heading, blocks of words, and what to call the state of the box.

use super::view::View;
use crate::show::care;
use crate::tell::words::phrases::Phrases;
use crate::tell::words::temperature::Temperatures;
use crate::units::Celsius;
use crate::verdict::{Severity, Tray, TrayState};
use std::time::Duration;
use traylight_display::text::{fit, text, text_right, wrap};
use traylight_display::{Face, Frame, Rectangle, area};

/// An inverted heading and the plain one change places so often: neither burns in.
const SWAP: Duration = Duration::from_secs(30);
/// A line of the small face with its distance to the next.
pub const LINE: i32 = 9;

/// Columns of pixels.
pub fn width(frame: &Frame) -> i32 {
    frame.panel_size().width() as i32
}

/// Rows of pixels.
pub fn height(frame: &Frame) -> i32 {
    frame.panel_size().height() as i32
}

/// A severity in the word that leads, or a shorter one where there is no room for it.
pub fn severity_word(view: &View<'_>, severity: Severity, columns: usize) -> &'static str {
    let keys = match severity {
        Severity::Critical => ["page.critical", "page.critical-short"],
        Severity::Warning => ["page.warning", "page.warning-short"],
        Severity::Notice => ["page.notice", "page.notice-short"],
    };
    view.fitting(&keys, columns)
}

/// Whole characters of the small face in so many pixels.
pub fn columns(pixels: u32) -> usize {
    (pixels / Face::Small.width()) as usize
}

/// A reading as text; one that is missing is two dashes, never 0.
pub fn or_dashes(value: Option<impl ToString>) -> String {
    value.map_or_else(|| "--".to_owned(), |value| value.to_string())
}

/// What must never be out of sight, on whatever page: silence, a rehearsal, trouble elsewhere; the weightiest first. Each
/// with what stands for it where there is no room for the word.
fn never_out_of_sight(view: &View<'_>) -> Vec<(&'static str, &'static str)> {
    let plain = |key| view.language.plain(key);
    let is_silent = view.verdict.freshness.is_silent();
    let silent = is_silent.then(|| (plain("page.no-data"), plain("page.no-data-sign")));
    let test = view.is_test().then(|| (plain("page.test"), plain("page.test")));
    let trouble = match view.verdict.worst() {
        Some(Severity::Critical) => Some((plain("page.critical-short"), "!!")),
        Some(Severity::Warning) => Some((plain("page.warning-short"), "!")),
        _ => None,
    };
    [silent, test, trouble].into_iter().flatten().collect()
}

/// The first line between `left` and the right edge: the page's name, what must never be out of sight, the clock. They are on
/// nearly all pages, and on a page that fills the panel they would wear the same pixels for ever: the line moves by itself, a
/// pixel each time that pages have been in all their places, as far as there is room.
pub fn heading(frame: &mut Frame, view: &View<'_>, left: i32, name: &str) {
    const PLACES: u64 = 4;
    const ROUND: u64 = 60 * care::PLACES as u64;
    let (name, right) = heading_words(view, columns((width(frame) - left).max(0) as u32), name);
    let letters = (name.chars().count() + right.chars().count()) as i32;
    let room = (width(frame) - left - Face::Small.width() as i32 * letters - 1).clamp(0, PLACES as i32 - 1);
    let moved = ((view.verdict.at.since_boot().as_secs() / ROUND) % PLACES) as i32;
    text(frame, left + moved.min(room), 0, name, Face::Small);
    text_right(frame, width(frame) - (room - moved).max(0), 0, &right, Face::Small);
}

/// The words of a heading at the left and at the right. Where there is no room for all, the clock goes first, then all but
/// the weightiest, then its word, and at last the name.
pub fn heading_words<'a>(view: &View<'_>, columns: usize, name: &'a str) -> (&'a str, String) {
    let seen = never_out_of_sight(view);
    let words: Vec<&str> = seen.iter().map(|(word, _)| *word).collect();
    let (weightiest, sign) = seen.first().copied().unwrap_or_default();
    let clock = (!view.is_test()).then_some(view.clock);
    let all: Vec<&str> = words.iter().copied().chain(clock).collect();
    let choices = [all.join(" "), words.join(" "), weightiest.to_owned(), sign.to_owned()];
    let gap = |right: &String| usize::from(!right.is_empty());
    let beside_name = |right: &&String| name.chars().count() + gap(right) + right.chars().count() <= columns;
    match choices.iter().find(beside_name) {
        Some(right) => (name, right.clone()),
        None => ("", weightiest.to_owned()),
    }
}

/// Lit behind a word for what must not be overlooked, for half a minute; then plain for another, with a line below it where
/// that touches no letter.
pub fn alarm(frame: &mut Frame, view: &View<'_>, strip: Rectangle) {
    if (view.verdict.at.since_boot().as_secs() / SWAP.as_secs()) % 2 == 0 {
        return frame.invert(strip);
    }
    let bottom = strip.top_left.y + strip.size.height as i32 - 1;
    if strip.columns().all(|x| !frame.is_lit(x, bottom - 1)) {
        strip.columns().for_each(|x| frame.set(x, bottom, true));
    }
}

/// Part of a word can be guessed only where a line has at least so many columns.
const NARROWEST_FOR_PARTS_OF_WORDS: usize = 5;

/// A paragraph, said in ever fewer words; the last ones must do where there is little room.
pub type Paragraph = Vec<String>;

/// Writes paragraphs below each other into an area, as large as all of them fit whole: all in the middle face, or only the
/// one that matters most, or none; then with less space between the lines. Where even that is too much they are said
/// shorter, then left out from the end: nothing is ever cut in the middle. Where that leaves nothing at all, the first is
/// broken inside a word.
pub fn block(frame: &mut Frame, room: Rectangle, paragraphs: &[Paragraph], matters_most: usize) {
    let brevities = paragraphs.iter().map(Vec::len).max().unwrap_or(0);
    let as_said = |count: usize, brevity: usize| {
        let said = paragraphs[..count].iter().filter_map(|ways| ways.get(brevity).or(ways.last()));
        arranged(room, &said.map(String::as_str).collect::<Vec<_>>(), matters_most)
    };
    let choices = (1..=paragraphs.len()).rev().flat_map(|count| (0..brevities).map(move |brevity| (count, brevity)));
    let broken = || {
        let lines = wrap(paragraphs.first()?.first()?, columns(room.size.width));
        let is_readable = columns(room.size.width) >= NARROWEST_FOR_PARTS_OF_WORDS;
        arranged(room, &lines.iter().map(String::as_str).collect::<Vec<_>>(), lines.len()).filter(|_| is_readable)
    };
    for (y, line, face) in
        choices.into_iter().find_map(|(count, brevity)| as_said(count, brevity)).or_else(broken).unwrap_or_default()
    {
        text(frame, room.top_left.x, room.top_left.y + y, &line, face);
    }
}

/// The lines of these paragraphs, each with its first row and its face, if all fit as they are.
pub fn arranged(room: Rectangle, said: &[&str], matters_most: usize) -> Option<Vec<(i32, String, Face)>> {
    let all: &dyn Fn(usize) -> bool = &|_| true;
    let choices = [(all, LINE), (&|index| index == matters_most, LINE), (&|_| false, LINE), (&|_| false, LINE - 1)];
    let face = |is_large: bool| if is_large { Face::Medium } else { Face::Small };
    choices.into_iter().find_map(|(is_large, small_line)| {
        lines(room, said.iter().enumerate().map(|(index, words)| (*words, face(is_large(index)))), small_line)
    })
}

/// From one line of a face to the next.
pub fn pitch(face: Face) -> i32 {
    if face == Face::Small { LINE } else { face.height() as i32 - 1 }
}

/// The lines of these paragraphs, if all fit and no word is broken.
fn lines<'a>(
    room: Rectangle,
    said: impl Iterator<Item = (&'a str, Face)>,
    small_line: i32,
) -> Option<Vec<(i32, String, Face)>> {
    let (mut lines, mut y) = (Vec::new(), 0);
    for (words, face) in said {
        let columns = (room.size.width / face.width()) as usize;
        if words.split_whitespace().any(|word| word.chars().count() > columns) {
            return None;
        }
        for line in wrap(words, columns) {
            lines.push((y, line, face));
            y += if face == Face::Small { small_line } else { pitch(face) };
        }
    }
    // Of the cell of the last line no more than the capitals is needed.
    let high = lines.last().map_or(0, |(y, _, face)| y + face.capitals() as i32);
    (high <= room.size.height as i32).then_some(lines)
}

/// One line: words on the left, a figure on the right that is never cut.
pub fn pair(frame: &mut Frame, y: i32, left: &str, right: &str) {
    let room = width(frame) as usize / Face::Small.width() as usize;
    let left_room = room.saturating_sub(right.chars().count() + 1);
    text(frame, 0, y, &fit(left, left_room), Face::Small);
    text_right(frame, width(frame), y, right, Face::Small);
}

/// The whole frame below a row.
pub fn below(frame: &Frame, top: i32) -> Rectangle {
    area(0, top, width(frame) as u32, (height(frame) - 1 - top).max(0) as u32)
}

/// The trays with a temperature, the warmest first.
pub fn warmest<'a>(view: &View<'a>) -> Vec<(&'a Tray, Celsius)> {
    let trays = view.verdict.shelves.iter().flat_map(|shelf| &shelf.trays);
    let mut warm: Vec<(&Tray, Celsius)> = trays
        .filter_map(|tray| match tray.state {
            TrayState::Warm(celsius) => Some((tray, celsius)),
            _ => None,
        })
        .collect();
    warm.sort_by(|a, b| b.1.0.total_cmp(&a.1.0));
    warm
}

/// A temperature without a space, which would part it at the end of a line.
pub fn tight(view: &View<'_>, celsius: Celsius) -> String {
    format!("{}°{}", view.language.degrees(celsius), view.language.degree_letter())
}

/// A temperature as the figure of a page.
pub struct TemperatureFigure {
    /// The degrees.
    pub figure: String,
    /// Their unit, with an arrow where the temperature surely rises or falls by a degree or more.
    pub unit: String,
    /// Where that ends.
    pub end: Option<String>,
}

impl TemperatureFigure {
    /// Of a tray that is so warm now.
    pub fn of(view: &View<'_>, tray: &Tray, now: Celsius) -> Self {
        let outlook = tray.drive.as_ref().and_then(|key| view.verdict.outlooks.get(key));
        let (arrow, end) = match outlook.and_then(|outlook| outlook.heading) {
            Some(end) if end.low >= now.0 + 1.0 => ("↑", Some(end.middle)),
            Some(end) if end.high <= now.0 - 1.0 => ("↓", Some(end.middle)),
            _ => ("", None),
        };
        Self {
            figure: format!("{}°", view.language.degrees(now)),
            unit: format!("{}{arrow}", view.language.degree_letter()),
            end: end.map(|end| format!("→ {}", tight(view, Celsius(end)))),
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;
    use traylight_display::PanelSize;

    fn block_in(room: Rectangle, paragraphs: &[Paragraph]) -> Frame {
        let mut frame = Frame::new(PanelSize::W128H64);
        block(&mut frame, room, paragraphs, 0);
        frame
    }

    #[test]
    fn words_are_as_large_as_all_of_them_fit() {
        let said = vec![vec!["GONE".to_owned()], vec!["LEAVE IN 1 2".to_owned()]];
        let drawn = block_in(area(0, 0, 80, 47), &said);
        let mut wanted = Frame::new(PanelSize::W128H64);
        for (line, words) in ["GONE", "LEAVE IN", "1 2"].into_iter().enumerate() {
            text(&mut wanted, 0, 15 * line as i32, words, Face::Medium);
        }
        assert_eq!(drawn, wanted);
    }

    #[test]
    fn what_has_no_room_is_said_shorter_and_never_cut() {
        let said = vec![vec!["LEAVE IN 1 2 3 4 5 6 7 8".to_owned(), "LEAVE ALL IN".to_owned()]];
        let shorter = vec![vec!["LEAVE ALL IN".to_owned()]];
        let room = area(0, 0, 60, 16);
        assert_eq!(block_in(room, &said), block_in(room, &shorter));
        assert_eq!(block_in(area(0, 0, 20, 60), &said).lit_count(), 0, "LEAVE has no room in 20 pixels");
    }

    proptest! {
        #[test]
        fn a_block_stays_in_its_room(words in ".{0,60}", x in 0..60i32, wide in 0..68u32, high in 0..60u32) {
            let room = area(x, 2, wide, high);
            let frame = block_in(room, &[vec![words.clone()], vec![words]]);
            for y in 0..64 {
                for column in (0..128).filter(|column| frame.is_lit(*column, y)) {
                    // Tails of the last line may reach a row further.
                    prop_assert!((x..x + wide as i32).contains(&column) && (2..=2 + high as i32 + 3).contains(&y));
                }
            }
        }
    }
}
