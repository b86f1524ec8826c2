//! The panel in a terminal: the picture stays at the bottom, log lines scroll above it. Writes bytes, owns no state of
//! the terminal that it does not give back.

use crate::printout::{Printout, Screen};
use crate::tell::words::phrases::{Language, Phrases, Places};
use std::io::{self, Write};
use std::os::fd::AsFd;
use traylight_display::{Frame, terminal};

const CLEAR_BELOW: &str = "\x1b[0J";
const CLEAR_ALL: &str = "\x1b[2J\x1b[H";
const HIDE_CURSOR: &str = "\x1b[?25l";
const SHOW_CURSOR: &str = "\x1b[?25h";

/// An output; where that is a terminal that moves its cursor, with a picture at its bottom.
pub struct Stage<W: Write + AsFd> {
    out: W,
    screen: Screen,
    language: Language,
    /// The picture that stands there, and the size of the terminal it was drawn for.
    drawn: Option<(String, Size)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Size {
    columns: u16,
    rows: u16,
}

impl<W: Write + AsFd> Stage<W> {
    /// The stage on `out`. Where that has no cursor to move, lines are only passed on and pictures left out.
    #[allow(clippy::disallowed_methods, reason = "the environment says what can be shown")]
    pub fn on(out: W, language: Language) -> Self {
        let columns = rustix::termios::isatty(&out).then(|| size(&out).columns);
        let screen = Screen::of(columns, &|name| std::env::var(name).ok());
        Self { out, screen, language, drawn: None }
    }

    /// What lines are shown on, as wide as it is now.
    pub fn screen(&self) -> Screen {
        Screen { columns: self.screen.columns.map(|_| usize::from(size(&self.out).columns)), ..self.screen }
    }

    /// Puts up a picture in place of the one before.
    pub fn draw(&mut self, frame: &Frame) -> io::Result<()> {
        if !self.screen.has_cursor {
            return Ok(());
        }
        let size = size(&self.out);
        let picture = picture(frame, size, &self.screen, self.language);
        let back = self.back_to_top(size);
        // In one piece: nothing here has a buffer.
        let whole = format!("{HIDE_CURSOR}{back}{picture}{CLEAR_BELOW}");
        self.drawn = Some((picture, size));
        self.out.write_all(whole.as_bytes())
    }

    /// Lets log lines scroll by above the picture.
    pub fn scroll(&mut self, lines: &str) -> io::Result<()> {
        if !self.screen.has_cursor {
            return self.out.write_all(lines.as_bytes());
        }
        let size = size(&self.out);
        let back = self.back_to_top(size);
        let picture = self.drawn.as_ref().map_or("", |(picture, _)| picture);
        let whole = format!("{back}{CLEAR_BELOW}{lines}{picture}");
        self.out.write_all(whole.as_bytes())
    }

    /// Gives the terminal its cursor back.
    pub fn show_cursor(&mut self) {
        if self.screen.has_cursor {
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
}

fn size(out: impl AsFd) -> Size {
    match rustix::termios::tcgetwinsize(out) {
        Ok(size) if size.ws_col > 0 && size.ws_row > 0 => Size { columns: size.ws_col, rows: size.ws_row },
        _ => Size { columns: 80, rows: 24 },
    }
}

impl<W: Write + AsFd> Drop for Stage<W> {
    fn drop(&mut self) {
        self.show_cursor();
    }
}

/// The largest picture that leaves a line for the log; a line of words where none fits.
fn picture(frame: &Frame, size: Size, screen: &Screen, language: Language) -> String {
    let fits = |picture: &String| {
        let wide = picture.lines().map(|line| line.chars().count()).max().unwrap_or(0);
        wide <= usize::from(size.columns) && picture.lines().count() < usize::from(size.rows)
    };
    let (pictures, needed) = if screen.has_unicode {
        (vec![terminal::bordered(frame), terminal::compact(frame)], (66, 19))
    } else {
        (vec![terminal::plain(frame)], (128, 33))
    };
    pictures.into_iter().find(fits).unwrap_or_else(|| {
        let mut out = Printout::default();
        let (wide, high) = needed;
        let places: Places =
            &[("columns", &size.columns), ("rows", &size.rows), ("columns-needed", &wide), ("rows-needed", &high)];
        out.line(language.say("run.too-small", places));
        out.on(&Screen { columns: Some(usize::from(size.columns)), ..*screen })
    })
}
