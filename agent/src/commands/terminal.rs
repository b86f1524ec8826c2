//! Where the commands print: lines for a person on standard output, complaints on standard error. The only file of the
//! commands that may write there.

#![allow(clippy::disallowed_methods, reason = "all that is printed here is a printout")]

use std::fmt::Display;
use std::io::{self, IsTerminal, Stdout, Write};
use std::os::fd::AsFd;
use std::process::ExitCode;
use traylight::printout::{Printout, Screen};
use traylight::send::log::Form;
use traylight::text::one_line;

/// The form of log lines for standard output: entries where the journal reads it (systemd.exec(5), `$JOURNAL_STREAM`), short
/// lines on a terminal, else text.
pub fn log_form() -> Form {
    let out = io::stdout();
    let ours = rustix::fs::fstat(&out).map(|stat| format!("{}:{}", stat.st_dev, stat.st_ino));
    match (std::env::var("JOURNAL_STREAM"), ours) {
        (Ok(journal), Ok(ours)) if journal == ours => Form::Journal,
        _ if out.is_terminal() => Form::Short,
        _ => Form::Text,
    }
}

/// True for a command that a terminal started, whatever its output goes to: it ends with that terminal.
pub fn has_terminal() -> bool {
    io::stdin().is_terminal() || io::stdout().is_terminal()
}

/// Prints a printout as the terminal or pipe can show it. A reader that has closed our output has all that it wanted: the
/// exit code still reports the state of the box.
pub fn print(printout: &Printout) -> io::Result<()> {
    match io::stdout().write_all(printout.on(&screen()).as_bytes()) {
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => Ok(()),
        done => done,
    }
}

/// True when standard output is a terminal.
pub fn is_there() -> bool {
    io::stdout().is_terminal()
}

/// True where questions can be asked: a terminal to read from and to draw on.
pub fn can_ask() -> bool {
    io::stdin().is_terminal() && screen().has_cursor
}

/// Asks a question; true only for an answer that is the whole word.
pub fn confirmed(question: impl Display, yes: &str) -> io::Result<bool> {
    Lines::of_this_terminal().ask(question)?;
    let mut answer = String::new();
    io::stdin().read_line(&mut answer)?;
    Ok(answer.trim() == yes)
}

/// What standard output can show.
pub fn screen() -> Screen {
    screen_of(io::stdout())
}

#[allow(clippy::disallowed_methods, reason = "the environment says what can be shown")]
fn screen_of(stream: impl AsFd + IsTerminal) -> Screen {
    let columns = stream.is_terminal().then(|| size(stream).0);
    Screen::of(columns, &|name| std::env::var(name).ok())
}

/// Columns and rows of a terminal; those of old where it gives none.
fn size(terminal: impl AsFd) -> (u16, u16) {
    match rustix::termios::tcgetwinsize(terminal) {
        Ok(size) if size.ws_col > 0 && size.ws_row > 0 => (size.ws_col, size.ws_row),
        _ => (80, 24),
    }
}

/// What is shown again and again: in place on the whole terminal, which gets its former contents back at the end, or one
/// below the other where a terminal has no cursor to move.
pub struct Watched {
    out: Stdout,
    in_place: bool,
}

impl Watched {
    /// Clears the terminal, and hides the cursor (xterm control sequences, DECSET 1049 and 25).
    pub fn new() -> io::Result<Self> {
        let mut watched = Self { out: io::stdout(), in_place: screen().has_cursor };
        if watched.in_place {
            watched.out.write_all(b"\x1b[?1049h\x1b[?25l")?;
        }
        Ok(watched)
    }

    /// Shows it as it is now. What has no room in place is left out at the end, which says so.
    pub fn show(&mut self, printout: &Printout) -> io::Result<()> {
        let (screen, rows) = (screen(), usize::from(size(io::stdout()).1));
        let text = printout.on(&screen);
        if self.in_place {
            let mut lines: Vec<&str> = text.lines().collect();
            if lines.len() > rows {
                lines.truncate(rows.saturating_sub(1));
                lines.push(screen.ellipsis());
            }
            write!(self.out, "\x1b[H{}\x1b[K\x1b[J", lines.join("\x1b[K\r\n"))?;
        } else {
            writeln!(self.out, "{text}")?;
        }
        self.out.flush()
    }
}

impl Drop for Watched {
    fn drop(&mut self) {
        if self.in_place {
            // Nobody is left to read of a failure.
            let _ = self.out.write_all(b"\x1b[?25h\x1b[?1049l");
            let _ = self.out.flush();
        }
    }
}

/// Prints a text, each of its lines broken where it does not fit.
pub fn print_lines(text: &str) -> io::Result<()> {
    print(&lines(text))
}

/// Prints help, or what is wrong with the arguments.
pub fn print_usage(usage: &clap::Error) -> io::Result<ExitCode> {
    let out = lines(&usage.to_string());
    if usage.use_stderr() {
        print_complaint(&out)
    } else {
        print(&out)?
    }
    Ok(u8::try_from(usage.exit_code()).map_or(ExitCode::FAILURE, ExitCode::from))
}

/// Prints a picture drawn with characters.
pub fn print_drawing(drawing: &str) -> io::Result<()> {
    let mut out = Printout::default();
    out.drawing(drawing);
    print(&out)
}

fn lines(text: &str) -> Printout {
    let mut out = Printout::default();
    text.lines().for_each(|line| out.line(line));
    out
}

/// Says what went wrong, line by line.
pub fn complain(what: impl Display) {
    print_complaint(&lines(&format!("traylight: {what}")));
}

fn print_complaint(out: &Printout) {
    let screen = Screen { has_colours: false, ..screen_of(io::stderr()) };
    // Nobody may be listening, and then there is nobody to tell.
    let _ = io::stderr().write_all(out.on(&screen).as_bytes());
}

/// Every line that is replaced fits into so many columns: one of two lines could not be replaced.
const REPLACEABLE: usize = 80;

/// A place for lines that follow each other while something goes on, of which the last can be replaced.
pub struct Lines<W> {
    to: W,
    screen: Screen,
    /// True where a line can be replaced.
    pub in_place: bool,
}

impl Lines<Stdout> {
    /// Lines on standard output.
    pub fn of_this_terminal() -> Self {
        let screen = screen();
        let in_place = screen.has_cursor && screen.columns >= Some(REPLACEABLE);
        Self { to: io::stdout(), screen, in_place }
    }
}

impl<W: Write> Lines<W> {
    /// One line.
    pub fn line(&mut self, line: impl Display) -> io::Result<()> {
        let mut out = Printout::default();
        out.line(line);
        write!(self.to, "{}", out.on(&self.screen))
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
        Self { to: Vec::new(), screen: Screen::PIPE, in_place }
    }

    /// What was printed.
    pub fn text(self) -> String {
        String::from_utf8(self.to).expect("lines are text")
    }
}
