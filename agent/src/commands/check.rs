//! `check`: every mistake of the configuration at once.

use super::shared::{CONFIG, PLACES, config_text};
use super::terminal::{complain, print_lines};
use std::io;
use std::path::PathBuf;
use std::process::ExitCode;
use traylight::tell::words::phrases::Phrases;
use traylight_config::settle;

/// Flags of `check`.
#[derive(clap::Args)]
pub struct CheckFlags {
    /// The configuration file to check
    #[arg(value_name = "FILE", default_value = CONFIG)]
    file: PathBuf,
    /// The configuration file; same as [FILE]
    #[arg(long, value_name = "FILE", conflicts_with = "file", help_heading = PLACES)]
    config: Option<PathBuf>,
}

/// Checks the file; exit code 1 when it has mistakes.
pub fn command(flags: &CheckFlags) -> io::Result<ExitCode> {
    let file = flags.config.as_ref().unwrap_or(&flags.file);
    let name = file.display().to_string();
    let Some(text) = config_text(file)? else {
        print_lines(&format!("{name} does not exist, so the defaults apply"))?;
        return Ok(ExitCode::SUCCESS);
    };
    match settle(&text, &name) {
        Ok(settings) => {
            let trays: usize = settings.shelves.iter().map(|shelf| shelf.trays.len()).sum();
            let language = settings.language;
            let shelves = language.count("check.shelves", settings.shelves.len() as u64);
            let trays = language.count("check.trays", trays as u64);
            print_lines(&language.say("check.good", &[("file", &name), ("shelves", &shelves), ("trays", &trays)]))?;
            Ok(ExitCode::SUCCESS)
        }
        Err(problems) => {
            complain(problems);
            Ok(ExitCode::from(1))
        }
    }
}
