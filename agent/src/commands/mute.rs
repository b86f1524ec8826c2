//! `mute`: holds messages back while you work on the box.

use super::shared::{AgentFlag, up_to};
use super::terminal::print_lines;
use std::io;
use std::process::ExitCode;
use std::time::Duration;
use traylight::serve::control::{self, ControlRequest, LONGEST_MUTE};

/// Flags of `mute`.
#[derive(clap::Args)]
pub struct MuteFlags {
    /// For how long, such as "30 min" or 2h; at most 8 h
    #[arg(value_name = "DURATION", default_value = "1h", value_parser = up_to(LONGEST_MUTE))]
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
