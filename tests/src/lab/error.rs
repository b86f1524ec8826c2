//! What can go wrong in the lab, in words that say what was waited for or wanted, and what was found.

use std::fmt;
use std::io;
use std::path::{Path, PathBuf};

/// Why a step of the lab failed.
#[derive(Debug)]
pub enum LabError {
    /// Debian packages that this computer lacks.
    MissingPackages(Vec<&'static str>),
    /// A file or folder could not be used.
    File {
        /// What was to be done with it, such as "write".
        doing: &'static str,
        /// Which.
        path: PathBuf,
        /// What the system said.
        error: io::Error,
    },
    /// A program of this computer could not be started, or ended badly.
    Program {
        /// Its command line.
        command: String,
        /// What it said, or why it did not start.
        found: String,
    },
    /// Something did not happen in time.
    TimedOut {
        /// What.
        waited_for: String,
        /// How long, in seconds.
        seconds: u64,
        /// What there was instead at the end.
        found: String,
    },
    /// The emulator ended while something was waited for.
    MachineEnded {
        /// What.
        waited_for: String,
        /// How it ended.
        status: String,
    },
    /// The emulator's monitor refused a command, or did not speak its language.
    Monitor {
        /// The command.
        command: String,
        /// What came back.
        found: String,
    },
    /// A check found something else than was wanted.
    Unexpected {
        /// Where.
        place: String,
        /// What should be there.
        wanted: String,
        /// What is there.
        found: String,
    },
    /// Any of the above in a running machine, with the last lines of its console.
    InMachine {
        /// What went wrong.
        error: Box<LabError>,
        /// The end of what the guest's kernel and its first programs printed.
        console: String,
    },
}

impl LabError {
    /// For `map_err` on a file operation.
    pub fn file(doing: &'static str, path: &Path) -> impl FnOnce(io::Error) -> Self {
        let path = path.to_path_buf();
        move |error| Self::File { doing, path, error }
    }

    /// A check that found something else.
    pub fn unexpected(place: impl Into<String>, wanted: impl Into<String>, found: impl Into<String>) -> Self {
        Self::Unexpected { place: place.into(), wanted: wanted.into(), found: found.into() }
    }
}

impl fmt::Display for LabError {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::MissingPackages(packages) => {
                write!(f, "this computer lacks what the Debian packages {} hold", packages.join(" "))
            }
            Self::File { doing, path, error } => write!(f, "cannot {doing} {}: {error}", path.display()),
            Self::Program { command, found } => write!(f, "{command} failed: {found}"),
            Self::TimedOut { waited_for, seconds, found } => {
                write!(f, "waited {seconds} s for {waited_for} in vain; there was {found}")
            }
            Self::MachineEnded { waited_for, status } => {
                write!(f, "the machine ended ({status}) while waiting for {waited_for}")
            }
            Self::Monitor { command, found } => write!(f, "the monitor answered {command} with {found}"),
            Self::Unexpected { place, wanted, found } => write!(f, "{place}: wanted {wanted}, found {found}"),
            Self::InMachine { error, console } => {
                write!(f, "{error}\nthe console's last lines:")?;
                console.lines().try_for_each(|line| write!(f, "\n  | {line}"))
            }
        }
    }
}

impl std::error::Error for LabError {}
