//! What the commands share: flags, the settings that these name, and lengths of time.

use clap::Args;
use rustix::fs::OFlags;
use std::fs::{Metadata, OpenOptions};
use std::io::{self, Read};
use std::os::unix::fs::{FileTypeExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;
use traylight::send::log::Form;
use traylight_config::{Settings, settle};

/// Where the configuration is unless said otherwise.
const CONFIG: &str = "/etc/traylight/traylight.toml";
/// A configuration file is small; anything larger is another kind of file.
const LONGEST_CONFIG: u64 = 256 << 10;

/// Flags that all commands share.
#[derive(Args, Clone)]
pub struct SharedFlags {
    /// The configuration file; without one, the defaults hold
    #[arg(long, value_name = "FILE", default_value = CONFIG)]
    pub config: PathBuf,
    /// A recorded tree to read in place of the running machine
    #[arg(long, value_name = "DIR", default_value = "/")]
    pub root: PathBuf,
    /// Where a running agent serves its state
    #[arg(long, value_name = "DIR", default_value = "/run/traylight")]
    pub run_dir: PathBuf,
    /// Where a running agent keeps what it must know after a restart
    #[arg(long, value_name = "DIR", default_value = "/var/lib/traylight")]
    pub state_dir: PathBuf,
    /// How log lines are written [default: journal under systemd, else text]
    #[arg(long, value_name = "FORM")]
    pub log: Option<Form>,
}

/// The flag of the commands that `run` starts.
#[derive(Args)]
pub struct TreeFlags {
    /// The root of the host's files
    #[arg(long, value_name = "DIR", default_value = "/")]
    pub root: PathBuf,
}

impl SharedFlags {
    /// The settings of the configuration file, or the defaults where the default file does not exist.
    pub fn settings(&self) -> io::Result<Settings> {
        read_settings(&self.config).map_err(io::Error::other)
    }

    /// False for a recorded tree, which has no agent and no drive to ask.
    pub fn is_this_machine(&self) -> bool {
        self.root == Path::new("/")
    }
}

/// Only the machine itself has an agent to ask for something.
pub fn this_machine(shared: &SharedFlags) -> io::Result<()> {
    match shared.is_this_machine() {
        true => Ok(()),
        false => Err(io::Error::other("a recorded tree has no agent to ask; leave --root out")),
    }
}

/// A length of time with its unit.
pub fn duration(text: &str) -> Result<Duration, String> {
    let parsed = jiff::fmt::friendly::SpanParser::new().parse_unsigned_duration(text);
    parsed.map_err(|_| "wanted a time with its unit, such as 45s, \"30 min\" or 2h".to_owned())
}

/// Reads a configuration file; every problem of it is in the error.
pub fn read_settings(file: &Path) -> Result<Settings, String> {
    match config_text(file) {
        Ok(Some(text)) => settle(&text, &file.display().to_string()).map_err(|problems| problems.to_string()),
        Ok(None) => Ok(Settings::default()),
        Err(error) => Err(error.to_string()),
    }
}

/// The text of the configuration file; `None` when the default file is not there, which is not a mistake. What is no
/// plain file is not even opened: a pipe would hold up whoever opens it, and a device may act on it.
#[allow(clippy::disallowed_methods, reason = "the configuration file is read where arguments are")]
pub fn config_text(file: &Path) -> io::Result<Option<String>> {
    let at = |error: io::Error| io::Error::new(error.kind(), format!("{}: {error}", file.display()));
    let no_config = |found: &str| at(io::Error::other(format!("found {found}, wanted a configuration")));
    let plain = |found: &Metadata| match kind(found) {
        None if found.len() > LONGEST_CONFIG => Err(no_config(&format!("more than {LONGEST_CONFIG} bytes"))),
        None => Ok(()),
        Some(kind) => Err(no_config(kind)),
    };
    match std::fs::metadata(file) {
        Err(error) if error.kind() == io::ErrorKind::NotFound && file == Path::new(CONFIG) => return Ok(None),
        found => plain(&found.map_err(at)?)?,
    }
    // Another file may have come in its place since.
    let flags = (OFlags::NONBLOCK | OFlags::NOCTTY).bits() as i32;
    let opened = OpenOptions::new().read(true).custom_flags(flags).open(file).map_err(at)?;
    plain(&opened.metadata().map_err(at)?)?;
    let mut bytes = Vec::new();
    opened.take(LONGEST_CONFIG + 1).read_to_end(&mut bytes).map_err(at)?;
    if bytes.len() as u64 > LONGEST_CONFIG {
        return Err(no_config(&format!("more than {LONGEST_CONFIG} bytes")));
    }
    String::from_utf8(bytes).map(Some).map_err(|error| {
        let found = format!("found bytes that are not UTF-8 at byte {}, wanted text", error.utf8_error().valid_up_to());
        at(io::Error::other(found))
    })
}

/// What a file is that is no plain one.
fn kind(found: &Metadata) -> Option<&'static str> {
    let kind = found.file_type();
    match kind {
        _ if kind.is_file() => None,
        _ if kind.is_dir() => Some("a folder"),
        _ if kind.is_fifo() => Some("a named pipe"),
        _ if kind.is_socket() => Some("a socket"),
        _ => Some("a device"),
    }
}
