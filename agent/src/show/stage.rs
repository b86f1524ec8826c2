//! The panel in a terminal: the picture stays at the bottom, log lines scroll above it. Writes bytes, owns no state of
//! the terminal that it does not give back.

use std::io::{self, Write};
use std::os::fd::AsFd;
use traylight_display::{Frame, terminal};

const CLEAR_BELOW: &str = "\x1b[0J";
const CLEAR_ALL: &str = "\x1b[2J\x1b[H";
const HIDE_CURSOR: &str = "\x1b[?25l";
const SHOW_CURSOR: &str = "\x1b[?25h";

/// A terminal with a picture at its bottom.
pub struct Stage<W: Write + AsFd> {
    out: W,
    /// The picture that stands there, and the size of the terminal it was drawn for.
    drawn: Option<(String, Size)>,
}

#[derive(Debug, Clone, Copy, PartialEq, Eq)]
struct Size {
    columns: u16,
    rows: u16,
}

impl<W: Write + AsFd> Stage<W> {
    /// The stage on `out`; `None` when it is no terminal.
    pub fn on(out: W) -> Option<Self> {
        rustix::termios::isatty(&out).then(|| Self { out, drawn: None })
    }

    /// Puts up a picture in place of the one before.
    ///
    /// # Errors
    /// When the terminal is gone.
    pub fn draw(&mut self, frame: &Frame) -> io::Result<()> {
        let size = self.size();
        let picture = picture(frame, size);
        let back = self.back_to_top(size);
        write!(self.out, "{HIDE_CURSOR}{back}{picture}{CLEAR_BELOW}")?;
        self.drawn = Some((picture, size));
        self.out.flush()
    }

    /// Lets a log line scroll by above the picture.
    ///
    /// # Errors
    /// When the terminal is gone.
    pub fn scroll(&mut self, line: &[u8]) -> io::Result<()> {
        let size = self.size();
        let back = self.back_to_top(size);
        write!(self.out, "{back}{CLEAR_BELOW}")?;
        self.out.write_all(line)?;
        if let Some((picture, _)) = &self.drawn {
            self.out.write_all(picture.as_bytes())?;
        }
        self.out.flush()
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
        let _ = write!(self.out, "{SHOW_CURSOR}");
        let _ = self.out.flush();
    }
}

/// The largest picture that leaves a line for the log; a line of words where none fits.
fn picture(frame: &Frame, size: Size) -> String {
    let fits = |picture: &String| {
        let wide = picture.lines().map(|line| line.chars().count()).max().unwrap_or(0);
        wide <= usize::from(size.columns) && picture.lines().count() < usize::from(size.rows)
    };
    [terminal::bordered(frame), terminal::compact(frame)]
        .into_iter()
        .find(fits)
        .unwrap_or_else(|| "terminal too small for the panel: wanted 66 columns and 19 lines\n".to_owned())
}
