//! `ack`: its owner knows of an incident, or agrees with what it misses.

use super::shared::{SharedFlags, this_machine};
use super::terminal::print_lines;
use std::io;
use std::process::ExitCode;
use traylight::serve::control::{self, ControlRequest};
use traylight::verdict::IncidentId;

/// Flags of `ack`.
#[derive(clap::Args)]
pub struct AckFlags {
    #[command(flatten)]
    shared: SharedFlags,
    /// The incident's number, as `alerts` shows it
    #[arg(value_name = "ID")]
    id: u32,
    /// What it misses was taken away for good, or is meant to be as it is: no longer expect it
    ///
    /// For a drive, pool or controller that was removed, a fan or network port that is no longer used, a slower one that was put in, and for what can no longer be read. What is still read as wrong stays open.
    #[arg(long)]
    accept: bool,
}

/// Asks the running agent.
pub fn command(flags: &AckFlags) -> io::Result<ExitCode> {
    this_machine(&flags.shared)?;
    let id = IncidentId(flags.id);
    let request = if flags.accept { ControlRequest::Accept { id } } else { ControlRequest::Acknowledge { id } };
    print_lines(&control::ask(&flags.shared.run_dir, &request)?)?;
    Ok(ExitCode::SUCCESS)
}
