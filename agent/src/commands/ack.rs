//! `ack`: stops the reminders of an incident, or accepts what is missing.

use super::shared::AgentFlag;
use super::terminal::print_lines;
use std::io;
use std::process::ExitCode;
use traylight::serve::control::{self, ControlRequest};
use traylight::verdict::IncidentId;

/// Flags of `ack`.
#[derive(clap::Args)]
pub struct AckFlags {
    /// The incident's number, as `alerts` shows it
    #[arg(value_name = "ID")]
    id: u32,
    /// Accept what is missing or changed: it is not expected from now on
    ///
    /// For a drive, pool or controller that you removed for good, a fan or port no longer in use, a slower port that you put in, and a sensor that can no longer be read. Anything still read as wrong stays open.
    #[arg(long)]
    accept: bool,
    #[command(flatten)]
    agent: AgentFlag,
}

/// Asks the running agent.
pub fn command(flags: &AckFlags) -> io::Result<ExitCode> {
    let id = IncidentId(flags.id);
    let request = if flags.accept { ControlRequest::Accept { id } } else { ControlRequest::Acknowledge { id } };
    print_lines(&control::ask(&flags.agent.run_dir, &request)?)?;
    Ok(ExitCode::SUCCESS)
}
