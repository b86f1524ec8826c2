//! Text on a frame: cut to its room, cleaned, and never outside it.
//!
//! Text may come from anywhere, drives included. Here it becomes characters that can be drawn. What to say is not decided
//! here.

use std::borrow::Cow;

use embedded_graphics::primitives::Rectangle;

use crate::fonts::{self, ELLIPSIS, Face, Glyph};
use crate::frame::Frame;

/// Draws one line with its top left corner at (`x`, `y`), cut where the panel ends. Returns where the text ended: the `x`
/// for what comes next.
///
/// Only the lit pixels of the letters are drawn; what is behind them stays.
pub fn text(frame: &mut Frame, x: i32, y: i32, text: &str, face: Face) -> i32 {
    let room = (frame.panel_size().width() as i32).saturating_sub(x);
    draw(frame, x, y, &fit(text, columns_in(room, face)), face)
}

/// Draws one line that ends before the column `right`, cut to the room left of it. Returns where the text began.
pub fn text_right(frame: &mut Frame, right: i32, y: i32, text: &str, face: Face) -> i32 {
    let text = fit(text, columns_in(right, face));
    let x = right - width(&text, face);
    draw(frame, x, y, &text, face);
    x
}

/// Draws one line in the middle of the area, cut to its width. An area lower than the face shows nothing.
pub fn text_centred(frame: &mut Frame, area: Rectangle, text: &str, face: Face) {
    if area.size.height < face.height() {
        return;
    }
    let text = fit(text, (area.size.width / face.width()) as usize);
    let x = area.top_left.x + (area.size.width as i32 - width(&text, face)) / 2;
    let y = area.top_left.y + (area.size.height - face.height()) as i32 / 2;
    draw(frame, x, y, &text, face);
}

/// The text as it can be shown in so many columns: characters that cannot be drawn replaced, control characters taken out,
/// and the end cut, with an ellipsis in the last column, if it is too long.
pub fn fit(text: &str, columns: usize) -> Cow<'_, str> {
    let unchanged = text.chars().all(|c| fonts::drawable(c) == c);
    if unchanged && text.chars().count() <= columns {
        return Cow::Borrowed(text);
    }
    let clean: Vec<char> = text.chars().filter_map(readable).collect();
    if clean.len() <= columns {
        return Cow::Owned(clean.into_iter().collect());
    }
    let Some(kept) = columns.checked_sub(1) else { return Cow::Borrowed("") };
    let mut cut: String = clean[..kept].iter().collect();
    cut.truncate(cut.trim_end().len());
    cut.push(ELLIPSIS);
    Cow::Owned(cut)
}

/// The text in lines of so many columns, broken between words; a word longer than a line is broken where the line ends.
/// Made drawable as [`fit`] does.
pub fn wrap(text: &str, columns: usize) -> Vec<String> {
    let columns = columns.max(1);
    let mut lines: Vec<String> = Vec::new();
    for word in fit(text, usize::MAX).split_whitespace() {
        let mut word: Vec<char> = word.chars().collect();
        if let Some(line) = lines.last_mut().filter(|line| line.chars().count() + 1 + word.len() <= columns) {
            line.push(' ');
            line.extend(word);
            continue;
        }
        while word.len() > columns {
            lines.push(word.drain(..columns).collect());
        }
        lines.push(word.into_iter().collect());
    }
    lines
}

/// How wide the text is when drawn, in pixels.
fn width(text: &str, face: Face) -> i32 {
    text.chars().count() as i32 * face.width() as i32
}

/// How many whole characters fit in so many pixels.
fn columns_in(pixels: i32, face: Face) -> usize {
    usize::try_from(pixels / face.width() as i32).unwrap_or(0)
}

/// Line ends and tabs become spaces, for they part words; other control characters say nothing on a panel.
fn readable(c: char) -> Option<char> {
    match c {
        '\t' | '\n' | '\r' => Some(' '),
        c if c.is_control() => None,
        c => Some(fonts::drawable(c)),
    }
}

fn draw(frame: &mut Frame, x: i32, y: i32, text: &str, face: Face) -> i32 {
    let (width, height) = (face.width() as i32, face.height() as i32);
    let mut left = x;
    for c in text.chars() {
        let glyph = Glyph::of(c, face);
        for row in 0..height {
            for column in (0..width).filter(|column| glyph.is_lit(*column, row)) {
                frame.set(left + column, y.saturating_add(row), true);
            }
        }
        left += width;
    }
    left
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{PanelSize, area};
    use embedded_graphics::prelude::*;
    use proptest::prelude::*;

    fn frame() -> Frame {
        Frame::new(PanelSize::W128H64)
    }

    #[test]
    fn a_line_of_the_small_face_looks_like_this() {
        let mut frame = frame();
        let end = text(&mut frame, 0, 0, "heron 41°C", Face::Small);
        assert_eq!(end, 60);
        assert_eq!(
            frame.to_text().lines().take(4).collect::<Vec<_>>().join("\n"),
            "\
█                                     ▄█   ▄█    ▄▀▄  ▄▀▀▀▄
█▄▀▀▄ ▄▀▀▀▄ █▄▀▀▄ ▄▀▀▀▄ █▄▀▀▄       ▄▀ █  ▀ █     ▀   █
█   █ █▀▀▀▀ █     █   █ █   █       ▀▀▀█▀   █         █   ▄
▀   ▀  ▀▀▀  ▀      ▀▀▀  ▀   ▀          ▀  ▀▀▀▀▀        ▀▀▀"
        );
    }

    #[test]
    fn a_text_too_long_ends_in_an_ellipsis_in_the_last_column() {
        assert_eq!(fit("recordings", 10), "recordings");
        assert_eq!(fit("recordings", 6), "recor…");
        assert_eq!(fit("two words", 5), "two…");
        assert_eq!(fit("recordings", 1), "…");
        assert_eq!(fit("recordings", 0), "");
        assert_eq!(fit("Vögel ächzen", 7), "Vögel…");
    }

    #[test]
    fn lines_break_between_words_and_only_long_words_break_inside() {
        assert_eq!(wrap("LEAVE IN 1 2 4 5", 10), ["LEAVE IN 1", "2 4 5"]);
        assert_eq!(wrap("check its plugs", 5), ["check", "its", "plugs"]);
        assert_eq!(wrap("/srv/recordings full", 6), ["/srv/r", "ecordi", "ngs", "full"]);
        assert_eq!(wrap(" \u{1b} ", 10), [""; 0]);
        assert_eq!(wrap("ab", 0), ["a", "b"]);
    }

    #[test]
    fn text_from_a_device_cannot_carry_control_characters_to_the_panel() {
        assert_eq!(fit("WD\u{1b}[31m\0 4T\nB\u{85}", 21), "WD[31m 4T B");
        assert_eq!(fit("鳥の歌", 21), "???");
    }

    #[test]
    fn text_at_the_right_ends_where_it_should() {
        let mut frame = frame();
        assert_eq!(text_right(&mut frame, 128, 0, "14:32", Face::Small), 98);
        assert!((98..128).any(|x| frame.is_lit(x, 0)));
        assert!(!(0..98).any(|x| (0..64).any(|y| frame.is_lit(x, y))));
    }

    proptest! {
        #[test]
        fn fitted_text_fits_and_fitting_again_changes_nothing(given in ".*", columns in 0..30usize) {
            let fitted = fit(&given, columns);
            prop_assert!(fitted.chars().count() <= columns);
            prop_assert!(!fitted.chars().any(char::is_control));
            prop_assert_eq!(fit(&fitted, columns), fitted.as_ref());
        }

        #[test]
        fn centred_text_stays_in_its_area(
            given in ".*", x in -10..128i32, y in -10..64i32, w in 0..130u32, h in 0..70u32, face in 0..3usize
        ) {
            let mut frame = frame();
            let room = area(x, y, w, h);
            text_centred(&mut frame, room, &given, [Face::Small, Face::Medium, Face::Large][face]);
            for point in frame.bounding_box().points().filter(|point| frame.is_lit(point.x, point.y)) {
                prop_assert!(room.contains(point));
            }
        }

        #[test]
        fn text_anywhere_draws_only_whole_characters_on_its_own_rows(given in ".*", x in any::<i32>(), y in -90..90i32) {
            let mut frame = frame();
            let x = x % 200;
            let end = text(&mut frame, x, y, &given, Face::Medium);
            prop_assert!(end == x || end <= 128);
            for point in frame.bounding_box().points().filter(|point| frame.is_lit(point.x, point.y)) {
                prop_assert!((x..end).contains(&point.x) && (y..y + 16).contains(&point.y));
            }
        }
    }
}
