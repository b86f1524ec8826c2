//! `check`: every mistake of the configuration at once.

use super::shared::{SharedFlags, config_text};
use super::terminal::{complain, print_lines};
use std::io;
use std::process::ExitCode;
use traylight_config::settle;

/// Checks the file; exit code 1 when it has mistakes.
pub fn command(shared: &SharedFlags) -> io::Result<ExitCode> {
    let name = shared.config.display().to_string();
    let Some(text) = config_text(&shared.config)? else {
        print_lines(&format!("{name} does not exist: all defaults hold"))?;
        return Ok(ExitCode::SUCCESS);
    };
    match settle(&text, &name) {
        Ok(settings) => {
            let trays: usize = settings.shelves.iter().map(|shelf| shelf.trays.len()).sum();
            let shelves = settings.shelves.len();
            print_lines(&format!("{name} is good: {shelves} shelves, {trays} trays named"))?;
            Ok(ExitCode::SUCCESS)
        }
        Err(problems) => {
            complain(problems);
            Ok(ExitCode::from(1))
        }
    }
}
