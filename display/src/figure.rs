//! Figures: a short text drawn as large as its room allows, for what is read from across a room.
//!
//! The letters are those of the faces, enlarged; between their pixels the edge is drawn where an even slope from lit to
//! dark has its middle, so that curves stay curves.

use embedded_graphics::primitives::Rectangle;

use crate::fonts::{Face, Glyph};
use crate::frame::Frame;
use crate::text::fit;

/// Where in its room a figure stands when it does not fill it.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Stand {
    /// At the left edge, on the ground.
    Left,
    /// In the middle, both ways.
    Middle,
}

/// Draws a text as large as the area allows, never outside it. It is cut only where not even the smallest face has room
/// for all of it; an area lower than that face shows nothing. Returns where it ended: the `x` for what comes next.
pub fn figure(frame: &mut Frame, area: Rectangle, text: &str, stand: Stand) -> i32 {
    let (width, height) = (area.size.width as f32, area.size.height as f32);
    let fits = |face: &Face| Ink::of(text, *face).filter(|ink| ink.scale_in(width, height) >= 1.0);
    let cut = || Ink::of(&fit(text, (area.size.width / Face::Small.width()) as usize), Face::Small);
    let found = [Face::Large, Face::Medium, Face::Small].iter().find_map(fits).or_else(cut);
    let Some(ink) = found.filter(|ink| ink.scale_in(width, height) >= 1.0) else { return area.top_left.x };
    let scale = pleasing(ink.scale_in(width, height), ink.face);
    let (wide, high) = ((ink.width as f32 * scale) as i32, (ink.height as f32 * scale) as i32);
    let (spare_x, spare_y) = (area.size.width as i32 - wide, area.size.height as i32 - high);
    let corner = area.top_left;
    let (left, top) = match stand {
        Stand::Left => (corner.x, corner.y + spare_y),
        Stand::Middle => (corner.x + spare_x / 2, corner.y + spare_y / 2),
    };
    for y in 0..high {
        for x in 0..wide {
            if ink.is_lit_at((x as f32 + 0.5) / scale, (y as f32 + 0.5) / scale) {
                frame.set(left + x, top + y, true);
            }
        }
    }
    left + wide
}

/// Strokes of one pixel would come out unevenly thick but at whole steps, and those of two below one and a half times the
/// size.
fn pleasing(scale: f32, face: Face) -> f32 {
    match face {
        Face::Small if scale < 3.0 => scale.floor(),
        _ if scale < 1.5 => (scale * 4.0).floor() / 4.0,
        _ => scale,
    }
}

/// The lit pixels of a text in its own face, without the dark columns at both ends.
struct Ink {
    face: Face,
    width: i32,
    height: i32,
    /// Row after row.
    lit: Vec<bool>,
}

impl Ink {
    /// `None` for a text without a lit pixel.
    fn of(text: &str, face: Face) -> Option<Ink> {
        let glyphs: Vec<Glyph> = text.chars().map(|c| Glyph::of(c, face)).collect();
        let cell = face.width() as i32;
        let is_lit = |x: i32, y: i32| glyphs[(x / cell) as usize].is_lit(x % cell, y);
        let (width, height) = (glyphs.len() as i32 * cell, face.height() as i32);
        let lowest = |x: i32| (0..height).rev().find(|&y| is_lit(x, y));
        let ground = (0..height).rev().find(|&y| (0..cell).any(|x| Glyph::of('H', face).is_lit(x, y)))?;
        let lit: Vec<(i32, i32)> = (0..width).filter_map(|x| Some((x, lowest(x)?))).collect();
        let (left, right) = (lit.first()?.0, lit.last()?.0);
        // The gaps of the large face would grow with its letters to holes between them.
        let is_dark = |x: i32| lit.binary_search_by_key(&x, |(x, _)| *x).is_err();
        let is_space = |x: i32| text.chars().nth((x / cell) as usize) == Some(' ');
        let is_hole = |x: i32| face == Face::Large && !is_space(x) && (x - 2..=x).all(is_dark);
        let columns: Vec<i32> = (left..=right).filter(|&x| !is_hole(x)).collect();
        // Capitals and figures stand on the same line whatever they are next to; only a tail needs more.
        let height = 1 + lit.iter().map(|(_, y)| *y).max()?.max(ground);
        let rows = (0..height).flat_map(|y| columns.iter().map(move |&x| (x, y)));
        Some(Ink { face, width: columns.len() as i32, height, lit: rows.map(|(x, y)| is_lit(x, y)).collect() })
    }

    fn scale_in(&self, width: f32, height: f32) -> f32 {
        (width / self.width as f32).min(height / self.height as f32)
    }

    fn is_lit(&self, x: i32, y: i32) -> bool {
        (0..self.width).contains(&x) && (0..self.height).contains(&y) && self.lit[(y * self.width + x) as usize]
    }

    /// Whether the ink covers this place, in pixels of its face: the four nearest pixels decide, each by its nearness.
    fn is_lit_at(&self, x: f32, y: f32) -> bool {
        let (x, y) = (x - 0.5, y - 0.5);
        let (column, row) = (x.floor(), y.floor());
        let (right, down) = (x - column, y - row);
        let light = |dx: i32, dy: i32, share: f32| {
            if self.is_lit(column as i32 + dx, row as i32 + dy) { share } else { 0.0 }
        };
        let sum = light(0, 0, (1.0 - right) * (1.0 - down))
            + light(1, 0, right * (1.0 - down))
            + light(0, 1, (1.0 - right) * down)
            + light(1, 1, right * down);
        sum >= 0.5
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::{PanelSize, area};
    use embedded_graphics::prelude::*;
    use proptest::prelude::*;

    fn lit_rows(frame: &Frame) -> Vec<i32> {
        (0..64).filter(|&y| (0..128).any(|x| frame.is_lit(x, y))).collect()
    }

    #[test]
    fn a_single_figure_fills_its_height() {
        let mut frame = Frame::new(PanelSize::W128H64);
        figure(&mut frame, area(0, 8, 44, 55), "3", Stand::Middle);
        let rows = lit_rows(&frame);
        assert_eq!((rows.first(), rows.last(), rows.len()), (Some(&8), Some(&62), 55));
    }

    #[test]
    fn at_its_own_size_a_letter_is_that_of_the_face() {
        let (mut large, mut plain) = (Frame::new(PanelSize::W128H64), Frame::new(PanelSize::W128H64));
        figure(&mut large, area(0, 0, 24, 7), "TRAY", Stand::Left);
        crate::text::text(&mut plain, 0, 0, "TRAY", Face::Small);
        assert_eq!(large, plain);
    }

    #[test]
    fn what_has_no_room_in_the_smallest_face_is_cut_and_no_room_is_nothing() {
        let mut frame = Frame::new(PanelSize::W128H64);
        figure(&mut frame, area(0, 0, 24, 20), "recordings", Stand::Left);
        let mut cut = Frame::new(PanelSize::W128H64);
        figure(&mut cut, area(0, 0, 24, 20), "rec…", Stand::Left);
        assert_eq!(frame, cut);
        let mut dark = Frame::new(PanelSize::W128H64);
        figure(&mut dark, area(0, 0, 100, 6), "3", Stand::Left);
        figure(&mut dark, area(0, 0, 0, 64), "3", Stand::Left);
        figure(&mut dark, area(0, 0, 64, 64), "  ", Stand::Left);
        assert_eq!(dark.lit_count(), 0);
    }

    proptest! {
        #[test]
        fn a_figure_stays_in_its_area(
            text in ".{0,12}", x in -10..128i32, y in -10..64i32, w in 0..130u32, h in 0..70u32, left: bool,
        ) {
            let mut frame = Frame::new(PanelSize::W128H64);
            let room = area(x, y, w, h);
            figure(&mut frame, room, &text, if left { Stand::Left } else { Stand::Middle });
            for point in frame.bounding_box().points().filter(|point| frame.is_lit(point.x, point.y)) {
                prop_assert!(room.contains(point));
            }
        }
    }
}
