//! A picture in memory: one bit a pixel, laid out as the panel's controller keeps it.
//!
//! Drawing here cannot fail. Sending is not its job.

use std::convert::Infallible;
use std::fmt;

use embedded_graphics::{pixelcolor::BinaryColor, prelude::*, primitives::Rectangle};

/// One picture for one size of panel. All pixels of a new frame are dark.
///
/// Coordinates are pixels from the top left corner. What lies outside the picture is dropped when drawn and dark when
/// asked, on all four sides.
#[derive(Clone, PartialEq, Eq)]
pub struct Frame {
    size: PanelSize,
    bytes: Vec<u8>,
}

/// The sizes of picture that there is a panel for: those of the modules as they lie, and those of modules that are built in
/// on their side.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Hash)]
pub enum PanelSize {
    /// 128 columns, 64 rows: the usual module.
    W128H64,
    /// 128 columns, 32 rows: half as high.
    W128H32,
    /// 72 columns, 40 rows: the smallest that is common.
    W72H40,
    /// 64 columns, 48 rows.
    W64H48,
    /// 64 columns, 128 rows: the usual module on its side.
    W64H128,
    /// 32 columns, 128 rows.
    W32H128,
    /// 40 columns, 72 rows.
    W40H72,
    /// 48 columns, 64 rows.
    W48H64,
}

/// The rectangle with its top left corner at (`x`, `y`), `width` by `height` pixels.
pub const fn area(x: i32, y: i32, width: u32, height: u32) -> Rectangle {
    Rectangle::new(Point::new(x, y), Size::new(width, height))
}

impl PanelSize {
    /// Every size.
    pub const ALL: [PanelSize; 8] = [
        PanelSize::W128H64,
        PanelSize::W128H32,
        PanelSize::W72H40,
        PanelSize::W64H48,
        PanelSize::W64H128,
        PanelSize::W32H128,
        PanelSize::W40H72,
        PanelSize::W48H64,
    ];

    /// Columns of pixels.
    pub const fn width(self) -> u32 {
        self.dimensions().0
    }

    /// Rows of pixels, always a multiple of 8.
    pub const fn height(self) -> u32 {
        self.dimensions().1
    }

    /// The same panel turned by a quarter: width and height change places.
    pub const fn turned(self) -> PanelSize {
        match self {
            PanelSize::W128H64 => PanelSize::W64H128,
            PanelSize::W128H32 => PanelSize::W32H128,
            PanelSize::W72H40 => PanelSize::W40H72,
            PanelSize::W64H48 => PanelSize::W48H64,
            PanelSize::W64H128 => PanelSize::W128H64,
            PanelSize::W32H128 => PanelSize::W128H32,
            PanelSize::W40H72 => PanelSize::W72H40,
            PanelSize::W48H64 => PanelSize::W64H48,
        }
    }

    const fn dimensions(self) -> (u32, u32) {
        match self {
            PanelSize::W128H64 => (128, 64),
            PanelSize::W128H32 => (128, 32),
            PanelSize::W72H40 => (72, 40),
            PanelSize::W64H48 => (64, 48),
            PanelSize::W64H128 => (64, 128),
            PanelSize::W32H128 => (32, 128),
            PanelSize::W40H72 => (40, 72),
            PanelSize::W48H64 => (48, 64),
        }
    }
}

impl Frame {
    /// A dark picture.
    pub fn new(size: PanelSize) -> Frame {
        let bytes = vec![0; (size.width() * size.height() / 8) as usize];
        Frame { size, bytes }
    }

    /// The panel this picture is for.
    pub fn panel_size(&self) -> PanelSize {
        self.size
    }

    /// The bytes as the controller's memory holds them (SSD1306 datasheet, section 8.7): a byte is eight pixels of one
    /// column, its lowest bit on top; as many bytes as there are columns make a page of eight rows; pages run from top to
    /// bottom.
    pub fn bytes(&self) -> &[u8] {
        &self.bytes
    }

    /// Whether the pixel is lit.
    pub fn is_lit(&self, x: i32, y: i32) -> bool {
        self.place(x, y).is_some_and(|(byte, mask)| self.bytes[byte] & mask != 0)
    }

    /// Lights the pixel, or makes it dark.
    pub fn set(&mut self, x: i32, y: i32, lit: bool) {
        if let Some((byte, mask)) = self.place(x, y) {
            if lit {
                self.bytes[byte] |= mask;
            } else {
                self.bytes[byte] &= !mask;
            }
        }
    }

    /// How many pixels are lit: the light, and the wear, of this picture.
    pub fn lit_count(&self) -> u32 {
        self.bytes.iter().map(|byte| byte.count_ones()).sum()
    }

    /// The smallest area that holds all that is lit; `None` when nothing is.
    pub fn lit_area(&self) -> Option<Rectangle> {
        let width = self.size.width() as usize;
        let rows = |byte: usize| self.bytes.iter().skip(byte).step_by(width).any(|bits| *bits != 0);
        let left = (0..width).find(|column| rows(*column))?;
        let right = (0..width).rfind(|column| rows(*column))?;
        let page_bits = |page: &[u8]| page.iter().fold(0, |all, bits| all | bits);
        let mut pages = self.bytes.chunks(width).map(page_bits).enumerate().filter(|(_, bits)| *bits != 0);
        let (first, first_bits) = pages.next()?;
        let (last, last_bits) = pages.next_back().unwrap_or((first, first_bits));
        let top = first as u32 * 8 + first_bits.trailing_zeros();
        let bottom = last as u32 * 8 + 7 - last_bits.leading_zeros();
        Some(area(left as i32, top as i32, (right - left) as u32 + 1, bottom - top + 1))
    }

    /// Swaps lit and dark inside the area.
    pub fn invert(&mut self, area: Rectangle) {
        for Point { x, y } in area.intersection(&self.bounding_box()).points() {
            self.set(x, y, !self.is_lit(x, y));
        }
    }

    /// The whole picture moved by `dx` to the right and `dy` down. What is pushed over an edge is lost, what comes in is
    /// dark. A picture that is moved a little now and then wears the panel evenly.
    pub fn shifted(&self, dx: i32, dy: i32) -> Frame {
        let mut moved = Frame::new(self.size);
        for Point { x, y } in self.bounding_box().points() {
            moved.set(x, y, self.is_lit(x.saturating_sub(dx), y.saturating_sub(dy)));
        }
        moved
    }

    /// The whole picture turned by a quarter, clockwise: what was at the top is at the right.
    pub fn quarter_turned(&self) -> Frame {
        let mut turned = Frame::new(self.size.turned());
        let bottom = self.size.height() as i32 - 1;
        for Point { x, y } in self.bounding_box().points() {
            turned.set(bottom - y, x, self.is_lit(x, y));
        }
        turned
    }

    /// The picture as text, two rows of pixels a line, without the blanks at the ends of lines.
    pub fn to_text(&self) -> String {
        let mut text = String::new();
        for line in self.half_block_lines() {
            text.push_str(line.trim_end());
            text.push('\n');
        }
        text
    }

    /// The picture as lines of half blocks, two rows of pixels a line, all lines equally long.
    pub(crate) fn half_block_lines(&self) -> impl Iterator<Item = String> {
        let (width, height) = (self.size.width() as i32, self.size.height() as i32);
        (0..height).step_by(2).map(move |y| {
            (0..width)
                .map(|x| match (self.is_lit(x, y), self.is_lit(x, y + 1)) {
                    (false, false) => ' ',
                    (true, false) => '▀',
                    (false, true) => '▄',
                    (true, true) => '█',
                })
                .collect()
        })
    }

    /// The byte and the bit of a pixel. Both coordinates are checked: the byte index alone would let a column past the
    /// right edge light a pixel of the next page.
    fn place(&self, x: i32, y: i32) -> Option<(usize, u8)> {
        let (x, y) = (u32::try_from(x).ok()?, u32::try_from(y).ok()?);
        (x < self.size.width() && y < self.size.height())
            .then(|| ((y / 8 * self.size.width() + x) as usize, 1 << (y % 8)))
    }
}

/// Shows the picture, so that a failed comparison of frames can be judged by eye.
impl fmt::Debug for Frame {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{:?}\n{}", self.size, self.to_text())
    }
}

impl OriginDimensions for Frame {
    fn size(&self) -> Size {
        Size::new(self.size.width(), self.size.height())
    }
}

impl DrawTarget for Frame {
    type Color = BinaryColor;
    type Error = Infallible;

    fn draw_iter<I: IntoIterator<Item = Pixel<BinaryColor>>>(&mut self, pixels: I) -> Result<(), Infallible> {
        for Pixel(point, colour) in pixels {
            self.set(point.x, point.y, colour.is_on());
        }
        Ok(())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn frame() -> Frame {
        Frame::new(PanelSize::W128H64)
    }

    #[test]
    fn bytes_are_laid_out_as_the_controller_keeps_them() {
        // SSD1306 datasheet revision 1.1, section 8.7, figures 8-13 and 8-14 (from memory): D0 is the top row of a page.
        let mut frame = frame();
        frame.set(0, 0, true);
        frame.set(127, 0, true);
        frame.set(5, 9, true);
        frame.set(127, 63, true);
        let lit: Vec<(usize, u8)> = frame.bytes().iter().copied().enumerate().filter(|(_, byte)| *byte != 0).collect();
        assert_eq!(lit, [(0, 0x01), (127, 0x01), (128 + 5, 0x02), (1023, 0x80)]);
        assert_eq!(frame.bytes().len(), 1024);
        assert_eq!(frame.lit_count(), 4);
    }

    #[test]
    fn a_pixel_past_any_edge_is_dropped() {
        let mut frame = frame();
        for (x, y) in [(128, 0), (130, 0), (-1, 1), (0, 64), (0, -1), (i32::MAX, i32::MIN), (-128, 8)] {
            frame.set(x, y, true);
            assert!(!frame.is_lit(x, y));
        }
        assert_eq!(frame.lit_count(), 0);
    }

    #[test]
    fn inverting_an_area_twice_changes_nothing_and_stays_inside() {
        let mut frame = frame();
        frame.set(3, 3, true);
        let before = frame.clone();
        frame.invert(area(2, 2, 4, 4));
        assert!(!frame.is_lit(3, 3));
        assert_eq!(frame.lit_count(), 15);
        frame.invert(area(2, 2, 4, 4));
        assert_eq!(frame, before);
        frame.invert(area(-100, 60, 1000, 1000));
        assert_eq!(frame.lit_count(), 1 + 4 * 128);
    }

    #[test]
    fn the_lit_area_is_the_smallest_that_holds_all_light() {
        assert_eq!(frame().lit_area(), None);
        let mut frame = frame();
        frame.set(5, 9, true);
        assert_eq!(frame.lit_area(), Some(area(5, 9, 1, 1)));
        frame.set(127, 63, true);
        assert_eq!(frame.lit_area(), Some(area(5, 9, 123, 55)));
        frame.set(0, 0, true);
        assert_eq!(frame.lit_area(), Some(area(0, 0, 128, 64)));
    }

    #[test]
    fn the_text_of_a_picture_has_two_rows_a_line() {
        let mut frame = frame();
        for (x, y) in [(0, 0), (1, 1), (2, 0), (2, 1), (4, 3)] {
            frame.set(x, y, true);
        }
        let text = frame.to_text();
        assert_eq!(text.lines().take(3).collect::<Vec<_>>(), ["▀▄█", "    ▄", ""]);
        assert_eq!(text.lines().count(), 32);
    }

    #[test]
    fn every_size_is_whole_pages_and_has_one_that_lies_on_its_side() {
        for size in PanelSize::ALL {
            assert_eq!(size.height() % 8, 0, "{size:?}");
            assert_eq!((size.turned().width(), size.turned().height()), (size.height(), size.width()), "{size:?}");
            assert_eq!(size.turned().turned(), size);
            assert_eq!(Frame::new(size).bytes().len() as u32 * 8, size.width() * size.height());
            assert_eq!(format!("{size:?}"), format!("W{}H{}", size.width(), size.height()));
        }
    }

    #[test]
    fn a_quarter_turn_takes_the_top_left_corner_to_the_top_right_and_four_turns_come_home() {
        let mut frame = Frame::new(PanelSize::W72H40);
        frame.set(0, 0, true);
        frame.set(71, 3, true);
        let turned = frame.quarter_turned();
        assert_eq!((turned.panel_size(), turned.lit_count()), (PanelSize::W40H72, 2));
        assert!(turned.is_lit(39, 0) && turned.is_lit(36, 71));
        assert_eq!(turned.quarter_turned().quarter_turned().quarter_turned(), frame);
    }

    proptest! {
        #[test]
        fn a_shifted_picture_is_the_same_picture_elsewhere(
            lit in proptest::collection::vec((0..128i32, 0..64i32), 0..50), dx in -140..140i32, dy in -70..70i32
        ) {
            let mut frame = frame();
            lit.iter().for_each(|(x, y)| frame.set(*x, *y, true));
            let shifted = frame.shifted(dx, dy);
            for y in 0..64 {
                for x in 0..128 {
                    prop_assert_eq!(shifted.is_lit(x, y), frame.is_lit(x - dx, y - dy));
                }
            }
        }
    }
}
