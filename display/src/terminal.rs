//! A frame for a terminal: half blocks in a plain border, dots of Braille where there is little room, or plain ASCII for what
//! knows no others, such as a log or a serial line.
//!
//! It makes text. It reads no environment, moves no cursor and colours nothing.

use crate::frame::Frame;

/// The frame as lines of text, each ended, two rows of pixels a line: 130 columns by 34 lines for 128 by 64 pixels.
pub fn bordered(frame: &Frame) -> String {
    let edge = "─".repeat(frame.panel_size().width() as usize);
    let mut text = format!("╭{edge}╮\n");
    for line in frame.half_block_lines() {
        text.push('│');
        text.push_str(&line);
        text.push_str("│\n");
    }
    text.push_str(&format!("╰{edge}╯\n"));
    text
}

/// The same in a quarter of the room, of dots: 66 columns by 18 lines for 128 by 64 pixels. Each Braille pattern holds two
/// columns of four pixels (Unicode Standard, block U+2800).
pub fn compact(frame: &Frame) -> String {
    let (width, height) = (frame.panel_size().width() as i32, frame.panel_size().height() as i32);
    let edge = "─".repeat(width as usize / 2);
    let mut text = format!("╭{edge}╮\n");
    for top in (0..height).step_by(4) {
        text.push('│');
        text.extend((0..width).step_by(2).map(|left| braille(frame, left, top)));
        text.push_str("│\n");
    }
    text.push_str(&format!("╰{edge}╯\n"));
    text
}

/// The same of the characters that every log and serial line can carry, two rows of pixels a line, without border and without
/// the blanks at the ends of lines.
pub fn plain(frame: &Frame) -> String {
    let ascii = |c| match c {
        '▀' => '\'',
        '▄' => '.',
        '█' => ':',
        _ => ' ',
    };
    let line = |blocks: String| blocks.chars().map(ascii).collect::<String>().trim_end().to_owned() + "\n";
    frame.half_block_lines().map(line).collect()
}

/// The frame for a place that is so many columns wide, `None` for any: of dots, or plain where only ASCII can be shown.
///
/// # Errors
/// The columns that it needs, where there are fewer.
pub fn fitting(frame: &Frame, columns: Option<usize>, has_unicode: bool) -> Result<String, usize> {
    let wide = frame.panel_size().width() as usize;
    let (picture, needed) = if has_unicode { (compact(frame), wide / 2 + 2) } else { (plain(frame), wide) };
    if columns.is_some_and(|columns| columns < needed) { Err(needed) } else { Ok(picture) }
}

fn braille(frame: &Frame, left: i32, top: i32) -> char {
    /// Column, row and bit of each dot, in the order that the standard numbers them.
    const DOTS: [(i32, i32, u32); 8] =
        [(0, 0, 1), (0, 1, 2), (0, 2, 4), (1, 0, 8), (1, 1, 16), (1, 2, 32), (0, 3, 64), (1, 3, 128)];
    let lit = DOTS.iter().filter(|(x, y, _)| frame.is_lit(left + x, top + y));
    char::from_u32(0x2800 + lit.map(|(.., bit)| bit).sum::<u32>()).unwrap_or(' ')
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::frame::PanelSize;

    #[test]
    fn every_line_is_equally_wide_and_the_picture_is_inside() {
        let mut frame = Frame::new(PanelSize::W128H64);
        frame.set(0, 0, true);
        frame.set(127, 63, true);
        let text = bordered(&frame);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len(), 34);
        assert!(lines.iter().all(|line| line.chars().count() == 130));
        assert!(lines[1].starts_with("│▀ "));
        assert!(lines[32].ends_with(" ▄│"));
    }

    #[test]
    fn plain_text_is_ascii_and_shows_each_pixel() {
        let mut frame = Frame::new(PanelSize::W128H64);
        for (x, y) in [(0, 0), (1, 1), (2, 0), (2, 1), (4, 3)] {
            frame.set(x, y, true);
        }
        let text = plain(&frame);
        assert!(text.is_ascii());
        assert_eq!(text.lines().take(3).collect::<Vec<_>>(), ["'.:", "    .", ""]);
        assert_eq!(text.lines().count(), 32);
    }

    #[test]
    fn what_does_not_fit_says_what_it_needs() {
        let frame = Frame::new(PanelSize::W128H64);
        assert_eq!(fitting(&frame, Some(66), true), Ok(compact(&frame)));
        assert_eq!(fitting(&frame, Some(65), true), Err(66));
        assert_eq!(fitting(&frame, Some(128), false), Ok(plain(&frame)));
        assert_eq!(fitting(&frame, Some(127), false), Err(128));
        assert_eq!(fitting(&frame, None, false), Ok(plain(&frame)), "a log has lines of any length");
    }

    #[test]
    fn in_little_room_each_character_holds_eight_pixels() {
        let mut frame = Frame::new(PanelSize::W128H64);
        for (x, y) in [(0, 0), (1, 3), (127, 63)] {
            frame.set(x, y, true);
        }
        let text = compact(&frame);
        let lines: Vec<&str> = text.lines().collect();
        assert_eq!(lines.len(), 18);
        assert!(lines.iter().all(|line| line.chars().count() == 66));
        assert!(lines[1].starts_with("│\u{2881}\u{2800}"), "dots 1 and 8");
        assert!(lines[16].ends_with("\u{2880}│"), "dot 8");
    }
}
