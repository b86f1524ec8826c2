//! Where the commands print: lines for a person on standard output, complaints on standard error. The only file of the
//! commands that may write there.

#![allow(clippy::disallowed_methods, reason = "all that is printed here is a printout")]

use std::fmt::Display;
use std::io::{self, IsTerminal, Stdout, Write};
use traylight::printout::Printout;
use traylight::text::one_line;

/// Prints a printout.
pub fn print(printout: &Printout) -> io::Result<()> {
    io::stdout().write_all(printout.as_str().as_bytes())
}

/// Prints a text of several lines.
pub fn print_lines(text: &str) -> io::Result<()> {
    let mut out = Printout::default();
    out.lines(text);
    print(&out)
}

/// Says what went wrong, line by line.
pub fn complain(what: impl Display) {
    let mut out = Printout::default();
    out.lines(&format!("traylight: {what}"));
    // Nobody may be listening, and then there is nobody to tell.
    let _ = io::stderr().write_all(out.as_str().as_bytes());
}

/// A place for lines that follow each other while something goes on, of which the last can be replaced.
pub struct Lines<W> {
    to: W,
    /// True where a line can be replaced.
    pub in_place: bool,
}

impl Lines<Stdout> {
    /// Lines on standard output.
    pub fn of_this_terminal() -> Self {
        let to = io::stdout();
        Self { in_place: to.is_terminal(), to }
    }
}

impl<W: Write> Lines<W> {
    /// One line.
    pub fn line(&mut self, line: impl Display) -> io::Result<()> {
        writeln!(self.to, "{}", one_line(&line.to_string()))
    }

    /// A line that the next one replaces: back to its start, and the rest of it cleared (ECMA-48, 8.3.15 and 8.3.41).
    pub fn replace(&mut self, line: impl Display) -> io::Result<()> {
        write!(self.to, "\r{}\x1b[K", one_line(&line.to_string()))?;
        self.to.flush()
    }

    /// The beginning of a line, to be answered on the rest of it.
    pub fn ask(&mut self, question: impl Display) -> io::Result<()> {
        write!(self.to, "{}", one_line(&question.to_string()))?;
        self.to.flush()
    }
}

#[cfg(test)]
impl Lines<Vec<u8>> {
    /// Lines that are kept.
    pub fn kept(in_place: bool) -> Self {
        Self { to: Vec::new(), in_place }
    }

    /// What was printed.
    pub fn text(self) -> String {
        String::from_utf8(self.to).expect("lines are text")
    }
}
