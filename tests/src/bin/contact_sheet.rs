//! Writes all pictures of the panel on one sheet, to be looked at: `contact-sheet FILE.png`.

#![allow(clippy::disallowed_methods, reason = "pictures are kept in files")]

use std::process::ExitCode;

fn main() -> ExitCode {
    let Some(file) = std::env::args().nth(1) else {
        eprintln!("found no argument, wanted the name of a PNG file to write");
        return ExitCode::from(2);
    };
    let sheet = traylight_display::png::sheet(&traylight_tests::scenes::pictures(), 4, 2);
    match sheet.and_then(|bytes| std::fs::write(&file, bytes)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{file}: {error}");
            ExitCode::from(1)
        }
    }
}
