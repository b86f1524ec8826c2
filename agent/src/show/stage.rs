//! The panel in a terminal: the picture stays at the bottom, log lines scroll above it. Writes bytes, owns no state of
//! the terminal that it does not give back.

use crate::printout::Screen;
use std::io::{self, Write};
use std::os::fd::AsFd;
use traylight_display::{Frame, terminal};

const CLEAR_BELOW: &str = "\x1b[0J";
const CLEAR_ALL: &str = "\x1b[2J\x1b[H";
const HIDE_CURSOR: &str = "\x1b[?25l";
const SHOW_CURSOR: &str = "\x1b[?25h";

/// An output; where that is a terminal, with a picture at its bottom.
pub struct Stage<W: Write + AsFd> {
    out: W,
    is_terminal: bool,
    has_unicode: bool,
    /// The picture that stands there, and the size of the terminal it was drawn for.
    drawn: Option<(String, Size)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Size {
    columns: u16,
    rows: u16,
}

impl<W: Write + AsFd> Stage<W> {
    /// The stage on `out`. Where that is no terminal, lines are only passed on and pictures left out.
    #[allow(clippy::disallowed_methods, reason = "the environment says what can be shown")]
    pub fn on(out: W) -> Self {
        let is_terminal = rustix::termios::isatty(&out);
        let Screen { has_unicode, .. } = Screen::of(None, &|name| std::env::var(name).ok());
        Self { out, is_terminal, has_unicode, drawn: None }
    }

    /// Puts up a picture in place of the one before.
    pub fn draw(&mut self, frame: &Frame) -> io::Result<()> {
        if !self.is_terminal {
            return Ok(());
        }
        let size = self.size();
        let picture = picture(frame, size, self.has_unicode);
        let back = self.back_to_top(size);
        // In one piece: nothing here has a buffer.
        let whole = format!("{HIDE_CURSOR}{back}{picture}{CLEAR_BELOW}");
        self.drawn = Some((picture, size));
        self.out.write_all(whole.as_bytes())
    }

    /// Lets a log line scroll by above the picture.
    pub fn scroll(&mut self, line: &str) -> io::Result<()> {
        if !self.is_terminal {
            return self.out.write_all(line.as_bytes());
        }
        let size = self.size();
        let back = self.back_to_top(size);
        let picture = self.drawn.as_ref().map_or("", |(picture, _)| picture);
        let whole = format!("{back}{CLEAR_BELOW}{line}{picture}");
        self.out.write_all(whole.as_bytes())
    }

    /// Gives the terminal its cursor back.
    pub fn show_cursor(&mut self) {
        if self.is_terminal {
            // A terminal that is gone needs none.
            let _ = self.out.write_all(SHOW_CURSOR.as_bytes());
        }
    }

    /// The way back to the first line of the picture. A terminal that changed its size has moved the lines about:
    /// then only a clean sheet helps.
    fn back_to_top(&self, size: Size) -> String {
        match &self.drawn {
            Some((_, before)) if *before != size => CLEAR_ALL.to_owned(),
            Some((picture, _)) if !picture.is_empty() => format!("\r\x1b[{}A", picture.lines().count()),
            _ => String::new(),
        }
    }

    fn size(&self) -> Size {
        match rustix::termios::tcgetwinsize(&self.out) {
            Ok(size) if size.ws_col > 0 && size.ws_row > 0 => Size { columns: size.ws_col, rows: size.ws_row },
            _ => Size { columns: 80, rows: 24 },
        }
    }
}

impl<W: Write + AsFd> Drop for Stage<W> {
    fn drop(&mut self) {
        self.show_cursor();
    }
}

/// The largest picture that leaves a line for the log; a line of words where none fits.
fn picture(frame: &Frame, size: Size, has_unicode: bool) -> String {
    let fits = |picture: &String| {
        let wide = picture.lines().map(|line| line.chars().count()).max().unwrap_or(0);
        wide <= usize::from(size.columns) && picture.lines().count() < usize::from(size.rows)
    };
    let (pictures, needed) = if has_unicode {
        (vec![terminal::bordered(frame), terminal::compact(frame)], "66 columns and 19 lines")
    } else {
        (vec![terminal::plain(frame)], "128 columns and 33 lines")
    };
    pictures.into_iter().find(fits).unwrap_or_else(|| {
        let found = format!("The terminal has {} columns and {} lines", size.columns, size.rows);
        textwrap::fill(&format!("{found}, the panel needs {needed}."), usize::from(size.columns)) + "\n"
    })
}
