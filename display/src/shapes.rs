//! The drawing pieces beside text: level bars, cells and small histories.
//!
//! They draw what they are given, inside their area. What a level means is not their business.

use embedded_graphics::{pixelcolor::BinaryColor, prelude::*, primitives::Rectangle};

use crate::fonts::Face;
use crate::frame::Frame;
use crate::text::text_centred;

/// Draws a level bar, over whatever was there: an outline, filled from the left by `share` (0 to 1; more counts as 1, less as 0).
///
/// `marks` are shares too: thin lines that stay visible in the filled and in the empty part. A level just above 0 fills at
/// least one column, and a level just below 1 leaves at least one empty, so that empty and full are true when shown.
/// A level that is missing (`None`, or not a number) is a dotted outline: never an empty bar.
pub fn bar(frame: &mut Frame, area: Rectangle, share: Option<f32>, marks: &[f32]) {
    let Some(share) = share.filter(|share| !share.is_nan()) else {
        return dotted_outline(frame, area);
    };
    outline(frame, area);
    let inner = inset(area);
    let mut filled = inner;
    filled.size.width = filled_columns(share, inner.size.width);
    fill(frame, filled, true);
    for mark in marks.iter().filter(|mark| (0.0..=1.0).contains(*mark)) {
        let steps = inner.size.width.saturating_sub(1) as f32;
        let column = inner.top_left + Point::new((mark * steps).round() as i32, 0);
        frame.invert(Rectangle::new(column, Size::new(1, inner.size.height)).intersection(&inner));
    }
}

/// How a cell looks.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum CellLook {
    /// Text only.
    Plain,
    /// Text in an outline.
    Framed,
    /// Dark text on a lit ground.
    Inverted,
}

/// Draws a cell: one short text in the middle of an area, over whatever was there.
pub fn cell(frame: &mut Frame, area: Rectangle, text: &str, face: Face, look: CellLook) {
    fill(frame, area, false);
    match look {
        CellLook::Plain => text_centred(frame, area, text, face),
        CellLook::Framed => {
            outline(frame, area);
            text_centred(frame, inset(area), text, face);
        }
        CellLook::Inverted => {
            text_centred(frame, area, text, face);
            frame.invert(area);
        }
    }
}

/// Draws a small history: one column a value, the newest at the right edge, as high as its share of `max`.
///
/// A value of 0 is one pixel high; a value that is missing (`None`, or not a finite number) leaves its column dark: the two
/// never look alike. Values that do not fit are the oldest ones.
pub fn sparkline(frame: &mut Frame, area: Rectangle, values: &[Option<f32>], max: f32) {
    let steps = area.size.height.saturating_sub(1) as f32;
    let columns = area.columns().rev();
    for (x, value) in columns.zip(values.iter().rev()) {
        let Some(value) = value.filter(|value| value.is_finite()) else { continue };
        let share = if max > 0.0 { (value / max).clamp(0.0, 1.0) } else { 0.0 };
        let height = (share * steps).round() as i32;
        for y in area.rows().rev().take(height as usize + 1) {
            frame.set(x, y, true);
        }
    }
}

fn filled_columns(share: f32, width: u32) -> u32 {
    let nearest = (share.clamp(0.0, 1.0) * width as f32).round() as u32;
    match share {
        share if share <= 0.0 => 0,
        share if share >= 1.0 => width,
        _ if width < 2 => nearest,
        _ => nearest.clamp(1, width - 1),
    }
}

/// A line of one pixel around a dark ground.
fn outline(frame: &mut Frame, area: Rectangle) {
    fill(frame, area, true);
    fill(frame, inset(area), false);
}

/// Every second pixel of the line around a dark ground.
fn dotted_outline(frame: &mut Frame, area: Rectangle) {
    fill(frame, area, false);
    let inner = inset(area);
    for point in area.points().filter(|point| !inner.contains(*point) && (point.x + point.y) % 2 == 0) {
        frame.set(point.x, point.y, true);
    }
}

fn fill(frame: &mut Frame, area: Rectangle, lit: bool) {
    let Ok(()) = frame.fill_solid(&area, BinaryColor::from(lit));
}

/// The area without its outermost ring of pixels.
fn inset(area: Rectangle) -> Rectangle {
    let Size { width, height } = area.size;
    Rectangle::new(area.top_left + Point::new(1, 1), Size::new(width.saturating_sub(2), height.saturating_sub(2)))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{PanelSize, area};
    use proptest::prelude::*;

    /// The rows of an area as text, `#` for lit.
    fn rows(frame: &Frame, of: Rectangle) -> Vec<String> {
        of.rows().map(|y| of.columns().map(|x| if frame.is_lit(x, y) { '#' } else { '.' }).collect()).collect()
    }

    fn drawn(of: Rectangle, draw: impl Fn(&mut Frame)) -> Vec<String> {
        let mut frame = Frame::new(PanelSize::W128H64);
        draw(&mut frame);
        rows(&frame, of)
    }

    const PLACE: Rectangle = area(4, 4, 12, 4);

    #[test]
    fn a_bar_is_filled_from_the_left() {
        let half = drawn(PLACE, |frame| bar(frame, PLACE, Some(0.5), &[]));
        assert_eq!(half, ["############", "######.....#", "######.....#", "############"]);
    }

    #[test]
    fn marks_show_in_the_filled_and_in_the_empty_part() {
        let marked = drawn(PLACE, |frame| bar(frame, PLACE, Some(0.5), &[0.2, 0.8, 7.0, f32::NAN]));
        assert_eq!(marked[1], "###.##..#..#");
    }

    #[test]
    fn almost_empty_is_not_empty_and_almost_full_is_not_full() {
        let inner_row = |share| drawn(PLACE, |frame| bar(frame, PLACE, Some(share), &[])).swap_remove(1);
        assert_eq!(inner_row(0.0), "#..........#");
        assert_eq!(inner_row(0.001), "##.........#");
        assert_eq!(inner_row(0.999), "##########.#");
        assert_eq!(inner_row(1.0), "############");
        assert_eq!(inner_row(f32::INFINITY), "############");
        assert_eq!(inner_row(-3.0), "#..........#");
    }

    #[test]
    fn a_missing_level_does_not_look_empty() {
        let missing = drawn(PLACE, |frame| bar(frame, PLACE, None, &[0.5]));
        assert_eq!(missing, ["#.#.#.#.#.#.", "...........#", "#...........", ".#.#.#.#.#.#"]);
        assert_eq!(missing, drawn(PLACE, |frame| bar(frame, PLACE, Some(f32::NAN), &[])));
    }

    #[test]
    fn a_history_shows_zero_and_missing_apart() {
        let values = [Some(9.0), Some(0.0), None, Some(1.0), Some(3.0), Some(99.0), Some(f32::NAN)];
        let place = area(0, 0, 6, 4);
        let history = drawn(place, |frame| sparkline(frame, place, &values, 3.0));
        assert_eq!(history, ["...##.", "...##.", "..###.", "#.###."]);
        let still = drawn(place, |frame| sparkline(frame, place, &[Some(0.0)], 0.0));
        assert_eq!(still, ["......", "......", "......", ".....#"]);
    }

    #[test]
    fn an_inverted_cell_is_the_plain_one_with_light_and_dark_swapped() {
        let place = area(10, 10, 24, 10);
        let plain = drawn(place, |frame| cell(frame, place, "34", Face::Small, CellLook::Plain));
        let inverted = drawn(place, |frame| cell(frame, place, "34", Face::Small, CellLook::Inverted));
        let swapped: Vec<String> =
            plain.iter().map(|row| row.chars().map(|c| if c == '#' { '.' } else { '#' }).collect()).collect();
        assert_eq!(inverted, swapped);
        assert!(plain.concat().contains('#'));
    }

    #[test]
    fn what_is_drawn_again_hides_what_was_there() {
        let place = area(10, 10, 24, 10);
        for look in [CellLook::Plain, CellLook::Framed, CellLook::Inverted] {
            let again = drawn(place, |frame| {
                cell(frame, place, "GONE", Face::Small, CellLook::Plain);
                cell(frame, place, "34", Face::Small, look);
            });
            assert_eq!(again, drawn(place, |frame| cell(frame, place, "34", Face::Small, look)), "{look:?}");
        }
        for share in [Some(0.2), None] {
            let again = drawn(PLACE, |frame| {
                bar(frame, PLACE, Some(0.9), &[]);
                bar(frame, PLACE, share, &[0.7]);
            });
            assert_eq!(again, drawn(PLACE, |frame| bar(frame, PLACE, share, &[0.7])), "{share:?}");
        }
    }

    proptest! {
        #[test]
        fn every_shape_stays_in_its_area(
            x in -20..140i32, y in -20..80i32, w in 0..40u32, h in 0..40u32,
            share in any::<f32>(), marks in proptest::collection::vec(-0.5..1.5f32, 1..4), max in any::<f32>()
        ) {
            let place = area(x, y, w, h);
            let mut frame = Frame::new(PanelSize::W128H64);
            bar(&mut frame, place, Some(share), &marks);
            bar(&mut frame, place, None, &marks);
            sparkline(&mut frame, place, &marks.iter().copied().map(Some).collect::<Vec<_>>(), max);
            for look in [CellLook::Plain, CellLook::Framed, CellLook::Inverted] {
                cell(&mut frame, place, "GONE away", Face::Small, look);
                for point in frame.bounding_box().points().filter(|point| frame.is_lit(point.x, point.y)) {
                    prop_assert!(place.contains(point));
                }
            }
        }
    }
}
