//! What commands share: flags, the settings that these name, and lengths of time.

use clap::Args;
use rustix::fs::OFlags;
use std::fs::{Metadata, OpenOptions};
use std::io::{self, Read};
use std::os::unix::fs::{FileTypeExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::time::Duration;
use traylight_config::{Settings, duration, settle};

/// Where the configuration is unless said otherwise.
pub const CONFIG: &str = "/etc/traylight/traylight.toml";
/// A configuration file is small; anything larger is another kind of file.
const LONGEST_CONFIG: u64 = 256 << 10;

/// Under which heading help shows the flags that are the same for many commands, after a command's own.
pub const PLACES: &str = "Files and folders";

/// Where the configuration is.
#[derive(Args, Clone)]
pub struct ConfigFlag {
    /// The configuration file; the defaults apply if it does not exist
    #[arg(long, value_name = "FILE", default_value = CONFIG, help_heading = PLACES)]
    pub config: PathBuf,
}

/// Where a running agent is.
#[derive(Args, Clone)]
pub struct AgentFlag {
    /// The folder of the running agent's sockets
    #[arg(long, value_name = "DIR", default_value = "/run/traylight", help_heading = PLACES)]
    pub run_dir: PathBuf,
}

/// What a command needs that asks the agent, or reads the box itself.
#[derive(Args, Clone)]
pub struct BoxFlags {
    #[command(flatten)]
    pub config: ConfigFlag,
    #[command(flatten)]
    pub agent: AgentFlag,
    #[command(flatten)]
    pub tree: TreeFlag,
}

/// What is read.
#[derive(Args, Clone)]
pub struct TreeFlag {
    /// A recorded tree to read instead of this machine
    #[arg(long, value_name = "DIR", default_value = "/", help_heading = PLACES)]
    pub root: PathBuf,
}

impl ConfigFlag {
    /// The settings of the configuration file, or the defaults where the default file does not exist.
    pub fn settings(&self) -> io::Result<Settings> {
        read_settings(&self.config).map_err(io::Error::other)
    }
}

impl BoxFlags {
    /// False for a recorded tree, which has no agent to ask.
    pub fn is_this_machine(&self) -> bool {
        self.tree.root == Path::new("/")
    }
}

/// Reads a length of time from a second up to this.
pub fn up_to(most: Duration) -> impl Fn(&str) -> Result<Duration, String> + Clone {
    move |text| duration(text, &(Duration::from_secs(1)..=most)).map_err(|expected| format!("expected {expected}"))
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
    let no_config = |found: &str| at(io::Error::other(format!("expected a configuration file, found {found}")));
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
        let found = format!("expected UTF-8 text, found other bytes at byte {}", error.utf8_error().valid_up_to());
        at(io::Error::other(found))
    })
}

/// What kind of file it is, unless it is a plain one.
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
