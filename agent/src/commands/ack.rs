//! `ack`: its owner knows of an incident.

use super::terminal::print_lines;
use super::{Shared, this_machine};
use std::io;
use std::process::ExitCode;
use traylight::serve::control::{self, Request};
use traylight::verdict::IncidentId;

/// Flags of `ack`.
#[derive(clap::Args)]
pub struct Flags {
    #[command(flatten)]
    shared: Shared,
    /// The incident's number, as `alerts` shows it
    #[arg(value_name = "ID")]
    id: u32,
}

/// Asks the running agent.
pub fn command(flags: &Flags) -> io::Result<ExitCode> {
    this_machine(&flags.shared)?;
    print_lines(&control::ask(&flags.shared.run_dir, &Request::Acknowledge { id: IncidentId(flags.id) })?)?;
    Ok(ExitCode::SUCCESS)
}
