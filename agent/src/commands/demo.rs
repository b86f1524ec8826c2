//! `demo`: the pretend box plays its story.

use super::terminal::log_form;
use std::io;
use std::process::ExitCode;

/// Flags of `demo`.
#[derive(clap::Args)]
pub struct DemoFlags {
    /// How many times faster than real time
    #[arg(long, value_name = "TIMES", default_value_t = 30, value_parser = clap::value_parser!(u32).range(1..=1000))]
    speed: u32,
}

/// Plays the story to its end.
pub fn command(flags: &DemoFlags) -> io::Result<ExitCode> {
    traylight::demo::play(flags.speed, log_form()).map(|()| ExitCode::SUCCESS)
}
