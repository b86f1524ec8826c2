//! Frames as PNG files: lit is white, one pixel of the panel is a square of pixels.
//!
//! Where the file goes is not decided here.

use std::io;

use crate::fonts::Face;
use crate::frame::{Frame, PanelSize};
use crate::text::text;

/// Dark pixels of the panel around a picture, so that text does not touch the edge.
const MARGIN: usize = 4;

/// The frame as a PNG file of one bit a pixel, with a dark margin of 4 panel pixels. `scale` is the width of a panel pixel;
/// 0 counts as 1.
pub fn png(frame: &Frame, scale: u8) -> io::Result<Vec<u8>> {
    let (width, height) = dimensions(frame.panel_size());
    let mut canvas = Canvas::new(width + 2 * MARGIN, height + 2 * MARGIN);
    canvas.paste(frame, MARGIN, MARGIN, height);
    canvas.encode(scale)
}

/// Several frames on one sheet, in rows of `columns` (0 counts as 1), each with its caption above and a line around it.
pub fn sheet(frames: &[(String, Frame)], columns: usize, scale: u8) -> io::Result<Vec<u8>> {
    // A tile is a caption, a line around the picture, and a margin at its left and top.
    const CAPTION: usize = Face::Small.height() as usize + 2;
    let columns = columns.clamp(1, frames.len().max(1));
    let rows = frames.len().div_ceil(columns);
    let size = |frame: &Frame| dimensions(frame.panel_size());
    let (width, height) =
        frames.iter().map(|(_, frame)| size(frame)).fold((0, 0), |(w, h), (x, y)| (w.max(x), h.max(y)));
    let (tile_width, tile_height) = (MARGIN + width + 2, MARGIN + CAPTION + height + 2);

    let mut canvas = Canvas::new(columns * tile_width + MARGIN, rows * tile_height + MARGIN);
    for (i, (caption, frame)) in frames.iter().enumerate() {
        let (left, top) = (MARGIN + i % columns * tile_width, MARGIN + i / columns * tile_height);
        let mut line = Frame::new(frame.panel_size());
        text(&mut line, 0, 0, caption, Face::Small);
        canvas.paste(&line, left + 1, top, CAPTION);
        let (width, height) = size(frame);
        canvas.outline(left, top + CAPTION, width + 2, height + 2);
        canvas.paste(frame, left + 1, top + CAPTION + 1, height);
    }
    canvas.encode(scale)
}

fn dimensions(size: PanelSize) -> (usize, usize) {
    (size.width() as usize, size.height() as usize)
}

/// Panel pixels, more of them than one panel has.
struct Canvas {
    width: usize,
    rows: Vec<Vec<bool>>,
}

impl Canvas {
    fn new(width: usize, height: usize) -> Canvas {
        Canvas { width, rows: vec![vec![false; width]; height] }
    }

    /// Copies the upper `height` rows of the frame.
    fn paste(&mut self, frame: &Frame, left: usize, top: usize, height: usize) {
        let width = frame.panel_size().width() as usize;
        for (y, row) in (0..).zip(self.rows.iter_mut().skip(top).take(height)) {
            for (x, pixel) in (0..).zip(row.iter_mut().skip(left).take(width)) {
                *pixel = frame.is_lit(x, y);
            }
        }
    }

    fn outline(&mut self, left: usize, top: usize, width: usize, height: usize) {
        for (y, row) in self.rows.iter_mut().skip(top).take(height).enumerate() {
            for (x, pixel) in row.iter_mut().skip(left).take(width).enumerate() {
                *pixel |= x == 0 || y == 0 || x == width - 1 || y == height - 1;
            }
        }
    }

    fn encode(&self, scale: u8) -> io::Result<Vec<u8>> {
        let scale = usize::from(scale.max(1));
        let packed: Vec<u8> = self.rows.iter().flat_map(|row| packed(row, scale).repeat(scale)).collect();
        let too_large = |_| io::Error::new(io::ErrorKind::InvalidInput, "the picture is too large for a PNG file");
        let width = u32::try_from(self.width * scale).map_err(too_large)?;
        let height = u32::try_from(self.rows.len() * scale).map_err(too_large)?;

        let mut file = Vec::new();
        let mut encoder = png::Encoder::new(&mut file, width, height);
        encoder.set_color(png::ColorType::Grayscale);
        encoder.set_depth(png::BitDepth::One);
        let mut writer = encoder.write_header()?;
        writer.write_image_data(&packed)?;
        writer.finish()?;
        Ok(file)
    }
}

/// One row of the file: each pixel `scale` times, eight to a byte, the leftmost in the highest bit (PNG specification,
/// section 7.2).
fn packed(row: &[bool], scale: usize) -> Vec<u8> {
    let wide: Vec<bool> = row.iter().flat_map(|lit| std::iter::repeat_n(*lit, scale)).collect();
    wide.chunks(8).map(|eight| (0..).zip(eight).fold(0, |byte, (i, lit)| byte | (u8::from(*lit) << (7 - i)))).collect()
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used)]
    use super::*;

    /// Reads a PNG file back: its width and its pixels, row by row.
    fn decoded(file: &[u8]) -> Vec<Vec<bool>> {
        let mut reader = png::Decoder::new(io::Cursor::new(file)).read_info().unwrap();
        let mut bytes = vec![0; reader.output_buffer_size().unwrap()];
        let info = reader.next_frame(&mut bytes).unwrap();
        assert_eq!((info.color_type, info.bit_depth), (png::ColorType::Grayscale, png::BitDepth::One));
        bytes
            .chunks(info.line_size)
            .map(|line| (0..info.width as usize).map(|x| line[x / 8] >> (7 - x % 8) & 1 == 1).collect())
            .collect()
    }

    fn greeting() -> Frame {
        let mut frame = Frame::new(PanelSize::W128H64);
        text(&mut frame, 0, 0, "heron", Face::Large);
        text(&mut frame, 2, 56, "12 recordings", Face::Small);
        frame.set(127, 63, true);
        frame
    }

    #[test]
    fn a_file_decodes_back_to_the_same_pixels() {
        let frame = greeting();
        for scale in [1, 3] {
            let pixels = decoded(&png(&frame, scale).unwrap());
            let scale = usize::from(scale);
            assert_eq!((pixels[0].len(), pixels.len()), (136 * scale, 72 * scale));
            for (y, row) in pixels.iter().enumerate() {
                for (x, lit) in row.iter().enumerate() {
                    let (x, y) = ((x / scale) as i32 - 4, (y / scale) as i32 - 4);
                    assert_eq!(*lit, frame.is_lit(x, y), "{x} {y}");
                }
            }
        }
        assert_eq!(png(&frame, 0).unwrap(), png(&frame, 1).unwrap());
    }

    #[test]
    fn a_sheet_holds_every_frame_below_its_caption() {
        let frames = ["first", "second", "third"].map(|caption| (caption.to_owned(), greeting()));
        let pixels = decoded(&sheet(&frames, 2, 1).unwrap());
        assert_eq!((pixels[0].len(), pixels.len()), (2 * 134 + 4, 2 * 80 + 4));
        for (left, top) in [(5, 15), (139, 15), (5, 95)] {
            let shown = |x: i32, y: i32| pixels[top + y as usize][left + x as usize];
            assert!((0..64).all(|y| (0..128).all(|x| shown(x, y) == frames[0].1.is_lit(x, y))), "{left} {top}");
            assert!((0..8).any(|y| (0..128).any(|x| pixels[top - 11 + y][left + x])), "a caption at {left} {top}");
        }
        assert!(!sheet(&[], 0, 0).unwrap().is_empty());
    }
}
