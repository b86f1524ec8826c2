//! `mute`: holds messages back while you work on the box.

use super::shared::{AgentFlag, duration};
use super::terminal::print_lines;
use std::io;
use std::process::ExitCode;
use std::time::Duration;
use traylight::serve::control::{self, ControlRequest};

/// Flags of `mute`.
#[derive(clap::Args)]
pub struct MuteFlags {
    /// For how long, such as "30 min" or 2h; at most 8 h
    #[arg(value_name = "DURATION", default_value = "1h", value_parser = duration)]
    for_time: Duration,
    /// Stop holding messages back
    #[arg(long, conflicts_with = "for_time")]
    end: bool,
    #[command(flatten)]
    agent: AgentFlag,
}

/// Asks the running agent.
pub fn command(flags: &MuteFlags) -> io::Result<ExitCode> {
    let request =
        if flags.end { ControlRequest::Unmute } else { ControlRequest::Mute { for_s: flags.for_time.as_secs() } };
    print_lines(&control::ask(&flags.agent.run_dir, &request)?)?;
    Ok(ExitCode::SUCCESS)
}
