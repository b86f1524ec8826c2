//! Reads words off the pretend panel's picture, by looking for the shapes that a face gives to them.
//!
//! Not its job: whether the picture is laid out well.

use traylight_display::figure::{Stand, figure};
use traylight_display::{Face, Frame, PanelSize, area, text::text};

/// Whether these words stand somewhere in the picture (text of half blocks), in any face or as a figure of any size, lit or
/// inverted.
pub fn shows(picture: &str, words: &str) -> bool {
    let as_a_figure = |room| drawn(picture, &|frame| _ = figure(frame, room, words, Stand::Left));
    shows_in_a_face(picture, words)
        || (16..=64).any(|high| as_a_figure(area(0, 0, 128, high)))
        || (16..=128).any(|wide| as_a_figure(area(0, 0, wide, 64)))
}

/// The same for words that are no figure: quicker.
pub fn shows_in_a_face(picture: &str, words: &str) -> bool {
    let in_a_face = |face| drawn(picture, &|frame| _ = text(frame, 0, 0, words, face));
    [Face::Small, Face::Medium, Face::Large].into_iter().any(in_a_face)
}

fn drawn(picture: &str, draw: &dyn Fn(&mut Frame)) -> bool {
    let mut frame = Frame::new(PanelSize::W128H64);
    draw(&mut frame);
    Dots::of_text(picture).hold(&Dots::of_text(&frame.to_text()).trimmed())
}

/// A picture, row after row.
struct Dots(Vec<Vec<bool>>);

impl Dots {
    fn of_text(picture: &str) -> Self {
        let mut rows = Vec::new();
        for line in picture.lines() {
            rows.push(line.chars().map(|c| matches!(c, '▀' | '█')).collect());
            rows.push(line.chars().map(|c| matches!(c, '▄' | '█')).collect());
        }
        Self(rows)
    }

    fn lit(&self, x: usize, y: usize) -> bool {
        self.0.get(y).and_then(|row| row.get(x)).copied().unwrap_or(false)
    }

    fn width(&self) -> usize {
        self.0.iter().map(Vec::len).max().unwrap_or(0)
    }

    /// The smallest part that holds all that is lit.
    fn trimmed(&self) -> Self {
        let columns: Vec<usize> = (0..self.width()).filter(|&x| (0..self.0.len()).any(|y| self.lit(x, y))).collect();
        let rows: Vec<usize> = (0..self.0.len()).filter(|&y| self.0[y].contains(&true)).collect();
        let (Some(&left), Some(&right), Some(&top), Some(&bottom)) =
            (columns.first(), columns.last(), rows.first(), rows.last())
        else {
            return Self(Vec::new());
        };
        Self((top..=bottom).map(|y| (left..=right).map(|x| self.lit(x, y)).collect()).collect())
    }

    /// Whether the other picture is somewhere in this one, or its negative is. An empty one is nowhere.
    fn hold(&self, other: &Self) -> bool {
        let (width, height) = (other.width(), other.0.len());
        if width == 0 || width > self.width() || height > self.0.len() {
            return false;
        }
        let same_at = |left: usize, top: usize, inverted: bool| {
            (0..height).all(|y| (0..width).all(|x| self.lit(left + x, top + y) == (other.lit(x, y) != inverted)))
        };
        (0..=self.0.len() - height)
            .any(|top| (0..=self.width() - width).any(|left| same_at(left, top, false) || same_at(left, top, true)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    fn picture(words: &str, face: Face, inverted: bool) -> String {
        let mut frame = Frame::new(PanelSize::W128H64);
        text(&mut frame, 7, 19, words, face);
        if inverted {
            frame.invert(area(0, 0, 128, 64));
        }
        frame.to_text()
    }

    #[test]
    fn words_are_found_in_every_face_and_inverted() {
        for face in [Face::Small, Face::Medium] {
            assert!(shows(&picture("CRITICAL", face, false), "CRITICAL"));
            assert!(shows(&picture("CRITICAL", face, true), "CRITICAL"));
        }
    }

    #[test]
    fn figures_of_any_size_are_found() {
        for room in [area(3, 4, 80, 55), area(9, 9, 60, 40), area(0, 0, 64, 64)] {
            let mut frame = Frame::new(PanelSize::W128H64);
            figure(&mut frame, room, "OK", Stand::Middle);
            assert!(shows(&frame.to_text(), "OK"), "{room:?}");
            assert!(!shows(&frame.to_text(), "NO"), "{room:?}");
        }
    }

    #[test]
    fn other_words_and_nothing_are_not_found() {
        assert!(!shows(&picture("CRITICAL", Face::Small, false), "CRYTICAL"));
        assert!(!shows("", "OK"));
        assert!(!shows(&picture("OK", Face::Small, false), ""));
    }
}
