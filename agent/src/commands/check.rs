//! `check`: every mistake of the configuration at once.

use super::{Shared, config_text};
use std::io;
use std::process::ExitCode;
use traylight_config::settle;

/// Checks the file; exit code 1 when it has mistakes.
pub fn command(shared: &Shared) -> io::Result<ExitCode> {
    let name = shared.config.display().to_string();
    let Some(text) = config_text(&shared.config)? else {
        println!("{name} does not exist: all defaults hold");
        return Ok(ExitCode::SUCCESS);
    };
    match settle(&text, &name) {
        Ok(settings) => {
            let trays: usize = settings.shelves.iter().map(|shelf| shelf.trays.len()).sum();
            println!("{name} is good: {} shelves, {trays} trays named", settings.shelves.len());
            Ok(ExitCode::SUCCESS)
        }
        Err(problems) => {
            eprintln!("{problems}");
            Ok(ExitCode::from(1))
        }
    }
}
