//! The commands, one file each, and what they share: flags, settings, exit codes.

mod ack;
mod alerts;
mod check;
mod demo;
mod launcher;
mod look;
mod mute;
mod panel;
mod probe;
mod rehearse;
mod run;
mod self_test;
mod spare;
mod terminal;

use clap::{Args, Parser, Subcommand};
use rustix::fs::OFlags;
use std::fs::{Metadata, OpenOptions};
use std::io::{self, Read};
use std::os::unix::fs::{FileTypeExt, OpenOptionsExt};
use std::path::{Path, PathBuf};
use std::process::ExitCode;
use std::time::Duration;
use traylight::send::log::Form;
use traylight_config::{Settings, settle};

/// Where the configuration is unless said otherwise.
const CONFIG: &str = "/etc/traylight/traylight.toml";
/// A configuration file is small; anything larger is another kind of file.
const LONGEST_CONFIG: u64 = 256 << 10;

/// Watches a self-built storage box: its drives, pools, room, fans and links. Says what is wrong, in which tray, and what to do.
///
/// It only reads: it never wakes a sleeping drive, never writes to one, and changes nothing on the box. Drives test themselves only when their owner says so.
#[derive(Parser)]
#[command(name = "traylight", version, arg_required_else_help = true, max_term_width = 100)]
struct Arguments {
    #[command(subcommand)]
    command: Command,
}

#[derive(Subcommand)]
enum Command {
    /// Watch the box until stopped: judge, log what changes, draw the panel
    ///
    /// Works without any configuration. In a terminal the panel is drawn there, with the log above it. Send SIGHUP to read the configuration again.
    Run(Shared),
    /// Look at the box once and say how it stands
    ///
    /// Asks the running agent if there is one, else reads the box itself, which takes a second. Exit code: 0 nothing wrong, 3 the system is still starting, 10 a warning is open or the box is silent, 20 a critical condition is open. Without an agent, what it finds counts immediately; a drive or file system that is not there counts after the grace period of a start. With --self-test it lets one drive test itself and follows that; exit code: 0 passed, 20 failed, 10 came to no result.
    Look(look::Flags),
    /// Say what is open, and with --why everything about one incident
    ///
    /// Asks the running agent if there is one, else looks at the box once. Exit code: 0 nothing wrong, 3 the system is still starting, 10 a warning is open or the box is silent, 20 a critical condition is open.
    Alerts(alerts::Flags),
    /// Say that you know of an incident: no more reminders of it, until it gets worse
    Ack(ack::Flags),
    /// Hold messages back for a time, while you work on the box; the log and the panel go on
    Mute(mute::Flags),
    /// Play a fault as if it happened, marked TEST: on the panel, in the log and in messages; touches nothing
    ///
    /// Asks the running agent if there is one, else plays it in the terminal. --list names all faults.
    Rehearse(rehearse::Flags),
    /// Check the configuration and name every mistake
    Check(Shared),
    /// Draw the pages for the box as it stands, in the terminal or as PNG files
    Panel(panel::Flags),
    /// Play a story on a pretend box: no hardware needed
    Demo(demo::Flags),
    /// The half of `run` that touches the hardware; `run` starts it
    #[command(hide = true)]
    Probe(Tree),
    /// Starts probes for `run`; `run` starts it
    #[command(hide = true)]
    Launcher(Tree),
}

/// Flags that all commands share.
#[derive(Args, Clone)]
struct Shared {
    /// The configuration file; without one, the defaults hold
    #[arg(long, value_name = "FILE", default_value = CONFIG)]
    config: PathBuf,
    /// A recorded tree to read in place of the running machine
    #[arg(long, value_name = "DIR", default_value = "/")]
    root: PathBuf,
    /// Where a running agent serves its state
    #[arg(long, value_name = "DIR", default_value = "/run/traylight")]
    run_dir: PathBuf,
    /// Where a running agent keeps what it must know after a restart
    #[arg(long, value_name = "DIR", default_value = "/var/lib/traylight")]
    state_dir: PathBuf,
    /// How log lines are written [default: journal under systemd, else text]
    #[arg(long, value_name = "FORM")]
    log: Option<Form>,
}

/// The flag of the commands that `run` starts.
#[derive(Args)]
struct Tree {
    /// The root of the host's files
    #[arg(long, value_name = "DIR", default_value = "/")]
    root: PathBuf,
}

/// Runs the command that was asked for.
pub fn run() -> ExitCode {
    let command = Arguments::parse().command;
    let done = spare::descriptors().and_then(|()| command.run());
    match done {
        Ok(code) => code,
        // Whoever read our output has read enough.
        Err(error) if error.kind() == io::ErrorKind::BrokenPipe => ExitCode::SUCCESS,
        Err(error) => {
            terminal::complain(error);
            ExitCode::from(1)
        }
    }
}

impl Command {
    fn run(self) -> io::Result<ExitCode> {
        match self {
            Self::Run(shared) => run::command(shared),
            Self::Look(flags) => look::command(&flags),
            Self::Alerts(flags) => alerts::command(&flags),
            Self::Ack(flags) => ack::command(&flags),
            Self::Mute(flags) => mute::command(&flags),
            Self::Rehearse(flags) => rehearse::command(&flags),
            Self::Check(shared) => check::command(&shared),
            Self::Panel(flags) => panel::command(&flags),
            Self::Demo(flags) => demo::command(&flags),
            Self::Probe(tree) => probe::command(tree),
            Self::Launcher(tree) => launcher::command(&tree),
        }
    }
}

impl Shared {
    /// The settings of the configuration file, or the defaults where the default file does not exist.
    fn settings(&self) -> io::Result<Settings> {
        read_settings(&self.config).map_err(io::Error::other)
    }

    /// False for a recorded tree, which has no agent and no drive to ask.
    fn is_this_machine(&self) -> bool {
        self.root == Path::new("/")
    }
}

/// Only the machine itself has an agent to ask for something.
fn this_machine(shared: &Shared) -> io::Result<()> {
    match shared.is_this_machine() {
        true => Ok(()),
        false => Err(io::Error::other("a recorded tree has no agent to ask; leave --root out")),
    }
}

/// A length of time with its unit.
fn duration(text: &str) -> Result<Duration, String> {
    let parsed = jiff::fmt::friendly::SpanParser::new().parse_unsigned_duration(text);
    parsed.map_err(|_| "wanted a time with its unit, such as 45s, \"30 min\" or 2h".to_owned())
}

/// Reads a configuration file; every problem of it is in the error.
fn read_settings(file: &Path) -> Result<Settings, String> {
    match config_text(file) {
        Ok(Some(text)) => settle(&text, &file.display().to_string()).map_err(|problems| problems.to_string()),
        Ok(None) => Ok(Settings::default()),
        Err(error) => Err(error.to_string()),
    }
}

/// The text of the configuration file; `None` when the default file is not there, which is not a mistake. What is no
/// plain file is not even opened: a pipe would hold up whoever opens it, and a device may act on it.
#[allow(clippy::disallowed_methods, reason = "the configuration file is read where arguments are")]
fn config_text(file: &Path) -> io::Result<Option<String>> {
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
