//! `panel`: the pages for the box as it stands, in the terminal or as PNG files; or the last picture on the panels.

use super::look::one_look;
use super::shared::{ConfigFlag, TreeFlag};
use super::terminal::{complain, print_lines};
use std::io;
use std::path::PathBuf;
use std::process::ExitCode;
use traylight::clock::Clock;
use traylight::show::care::Picture;
use traylight::show::outlet::Scenery;
use traylight::show::pages::{Page, stopped};
use traylight::show::panel::{picture_size, show_once};
use traylight_config::Settings;
use traylight_display::{Brightness, Frame, PanelSize, terminal};

/// Pixels of a PNG for each pixel of the panel.
const SCALE: u8 = 4;

/// Flags of `panel`.
#[derive(clap::Args)]
pub struct PanelFlags {
    /// Write each page as a PNG file into this folder
    #[arg(long, value_name = "DIR")]
    png: Option<PathBuf>,
    /// Draw in plain ASCII, for a log or a serial line
    #[arg(long, conflicts_with = "png")]
    plain: bool,
    /// Instead of pages, show on the real panels that nobody is watching: the service does this after a crash
    #[arg(long, conflicts_with = "png")]
    stopped: bool,
    #[command(flatten)]
    config: ConfigFlag,
    #[command(flatten)]
    tree: TreeFlag,
}

/// Draws every page that is worth showing now, for the first panel of the configuration.
pub fn command(flags: &PanelFlags) -> io::Result<ExitCode> {
    let settings = flags.config.settings()?;
    let clock = Clock::of_this_machine();
    if flags.stopped {
        return show_stopped(&settings, &clock);
    }
    let (verdict, snapshot) = one_look(&settings, &flags.tree.root, &clock)?;
    let wall = clock.wall();
    let (verdict, snapshot) = (&verdict, Some(&snapshot));
    let scenery = Scenery { verdict, snapshot, settings: &settings, channels: &[], wall: &wall, rehearsed: None };
    let size = settings.panel.panels.first().map_or(Ok(PanelSize::W128H64), picture_size);
    let size = size.map_err(|fault| io::Error::other(fault.to_string()))?;
    let draw = |page: Page| (name(&page), scenery.drawing(page, wall.minute()).frame(size));
    let drawn: Vec<(String, Frame)> = scenery.pages().into_iter().map(draw).collect();
    match &flags.png {
        Some(folder) => write_png(folder, &drawn)?,
        None => {
            for (name, frame) in &drawn {
                let picture = if flags.plain { terminal::plain(frame) } else { terminal::compact(frame) };
                print_lines(&format!("{name}\n{picture}"))?;
            }
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// The last picture on every configured panel. One that does not answer keeps no other from it.
fn show_stopped(settings: &Settings, clock: &Clock) -> io::Result<ExitCode> {
    let minute = clock.wall().minute();
    let mut code = ExitCode::SUCCESS;
    for panel in &settings.panel.panels {
        if let Err(fault) = show_once(panel, |size| Picture {
            frame: stopped(&minute, size, settings.language),
            brightness: Brightness::Dim,
        }) {
            complain(fault);
            code = ExitCode::FAILURE;
        }
    }
    Ok(code)
}

#[allow(clippy::disallowed_methods, reason = "the owner names the folder for the pictures")]
fn write_png(folder: &std::path::Path, drawn: &[(String, Frame)]) -> io::Result<()> {
    let at = |error: io::Error| io::Error::new(error.kind(), format!("{}: {error}", folder.display()));
    std::fs::create_dir_all(folder).map_err(at)?;
    for (name, frame) in drawn {
        let file = folder.join(format!("{name}.png"));
        std::fs::write(&file, traylight_display::png::png(frame, SCALE)?).map_err(at)?;
        print_lines(&file.display().to_string())?;
    }
    Ok(())
}

/// The page's name as a file name.
fn name(page: &Page) -> String {
    let name = match page {
        Page::Named(page) => page.word().to_owned(),
        Page::Alarm(id) => format!("alarm {id}"),
        Page::Incident(id) => format!("incident {id}"),
    };
    name.to_lowercase().chars().map(|c| if c.is_ascii_alphanumeric() { c } else { '-' }).collect()
}
