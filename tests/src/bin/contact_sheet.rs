//! Writes all pictures of the panel on sheets, one a size of panel, to be looked at: `contact-sheet FOLDER`.

#![allow(clippy::disallowed_methods, reason = "pictures are kept in files")]

use std::path::Path;
use std::process::ExitCode;
use traylight_config::{Language, TemperatureUnit};
use traylight_display::{Frame, PanelSize, png};
use traylight_tests::scenes;

/// Pixels of a sheet for each of a panel, and about how many of a panel's a sheet is wide.
const SCALE: u8 = 2;
const WIDE: u32 = 560;

fn main() -> ExitCode {
    let Some(folder) = std::env::args().nth(1) else {
        eprintln!("expected the name of a folder to write PNG files into, found no argument");
        return ExitCode::from(2);
    };
    match write_all(Path::new(&folder)) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("{folder}: {error}");
            ExitCode::from(1)
        }
    }
}

fn write_all(folder: &Path) -> std::io::Result<()> {
    std::fs::create_dir_all(folder)?;
    let write = |name: &str, pictures: &[(String, Frame)], panel: PanelSize| {
        let columns = WIDE / (panel.width() + 6);
        std::fs::write(folder.join(format!("{name}.png")), png::sheet(pictures, columns as usize, SCALE)?)
    };
    let fahrenheit = Language { temperatures: TemperatureUnit::Fahrenheit, ..Language::ENGLISH };
    write("story", &scenes::pictures(), PanelSize::W128H64)?;
    for panel in PanelSize::ALL {
        let size = format!("{}x{}", panel.width(), panel.height());
        write(&format!("pages-{size}"), &scenes::pages_on(panel, Language::ENGLISH), panel)?;
        write(&format!("fahrenheit-{size}"), &scenes::pages_on(panel, fahrenheit), panel)?;
        write(&format!("german-{size}"), &scenes::pages_on(panel, Language::GERMAN), panel)?;
        write(&format!("shelves-{size}"), &scenes::shelves_on(panel), panel)?;
    }
    Ok(())
}
