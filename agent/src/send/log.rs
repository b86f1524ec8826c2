//! Writes log entries: as short lines for a person, as lines of text or JSON, or natively to the journal.

use crate::clock::Wall;
use crate::printout::Screen;
use crate::tell::log::{LogEntry, journal_entry, json_line, text_line};
use std::io;
use std::os::unix::net::UnixDatagram;

/// Where the journal takes entries.
const JOURNAL: &str = "/run/systemd/journal/socket";

/// How lines are written.
#[derive(Debug, Clone, Copy, PartialEq, Eq, clap::ValueEnum)]
pub enum Form {
    /// A short line for a person
    Short,
    /// `key=value` pairs, with the message last
    Text,
    /// One JSON object a line
    Json,
    /// Entries of the systemd journal
    Journal,
}

/// Writes entries.
pub struct Log {
    form: Form,
    journal: Option<UnixDatagram>,
}

impl Log {
    /// A log of this form.
    ///
    /// # Errors
    /// When the journal was asked for and does not answer.
    pub fn open(form: Form) -> io::Result<Self> {
        let journal = match form {
            Form::Journal => {
                let socket = UnixDatagram::unbound()?;
                socket.connect(JOURNAL).map_err(|error| io::Error::new(error.kind(), format!("{JOURNAL}: {error}")))?;
                Some(socket)
            }
            Form::Short | Form::Text | Form::Json => None,
        };
        Ok(Self { form, journal })
    }

    /// Writes one entry to the journal or, as lines with their ends that fit the screen, to `out`. Waits for whoever reads it.
    pub fn write(
        &self,
        entry: &LogEntry,
        wall: &Wall,
        screen: &Screen,
        out: impl FnOnce(&str) -> io::Result<()>,
    ) -> io::Result<()> {
        match (&self.journal, self.form) {
            (Some(journal), _) => send(journal, &journal_entry(entry)),
            (None, Form::Short) => entry.short.as_ref().map_or(Ok(()), |short| out(&short.at(wall).on(screen))),
            (None, Form::Json) => out(&(json_line(entry, wall) + "\n")),
            (None, _) => out(&(text_line(entry, wall) + "\n")),
        }
    }
}

/// A journal that was started anew is another socket under the same name.
fn send(journal: &UnixDatagram, entry: &[u8]) -> io::Result<()> {
    let sent = journal.send(entry).or_else(|_| journal.connect(JOURNAL).and_then(|()| journal.send(entry)));
    sent.map(drop).map_err(|error| io::Error::new(error.kind(), format!("{JOURNAL}: {error}")))
}
