//! `panel`: the pages for the box as it is now, drawn in the terminal, in words, or as PNG files; or the last picture on the
//! panels.

use super::look::one_look;
use super::shared::{ConfigFlag, TreeFlag};
use super::terminal::{complain, print, print_drawing, print_lines, screen};
use std::io;
use std::path::PathBuf;
use std::process::ExitCode;
use traylight::clock::Clock;
use traylight::printout::{Printout, Screen};
use traylight::show::care::Picture;
use traylight::show::outlet::Scenery;
use traylight::show::pages::{Page, stopped};
use traylight::show::panel::{picture_size, show_once};
use traylight::tell::words::phrases::{Language, Phrases};
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
    /// Write each page as a line of words, for a serial line, a braille display or a screen reader
    #[arg(long, conflicts_with_all = ["png", "plain"])]
    text: bool,
    /// Instead of pages, show on the real panels that the box is not monitored: the service does this after a crash
    #[arg(long, conflicts_with_all = ["png", "plain", "text"])]
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
    let drawings = scenery.pages().into_iter().map(|page| scenery.drawing(page, wall.minute()));
    if flags.text {
        let mut out = Printout::default();
        drawings.for_each(|drawing| out.line(in_a_line(&drawing.sentences())));
        return print(&out).map(|()| ExitCode::SUCCESS);
    }
    let drawn: Vec<(String, Frame)> = drawings.map(|drawing| (name(&drawing.page), drawing.frame(size))).collect();
    match &flags.png {
        Some(folder) => write_png(folder, &drawn)?,
        None => {
            for (name, frame) in &drawn {
                let picture = drawn_here(frame, flags.plain, settings.language).map_err(io::Error::other)?;
                print_drawing(&format!("{name}\n{picture}"))?;
            }
        }
    }
    Ok(ExitCode::SUCCESS)
}

/// The frame as this terminal can show it.
///
/// # Errors
/// What to do where it is too narrow.
pub fn drawn_here(frame: &Frame, is_plain: bool, language: Language) -> Result<String, String> {
    let Screen { columns, has_unicode, .. } = screen();
    terminal::fitting(frame, columns, has_unicode && !is_plain).map_err(|needed| {
        language.say("run.too-narrow", &[("columns", &columns.unwrap_or_default()), ("columns-needed", &needed)])
    })
}

/// Sentences in one line, each with its full stop.
fn in_a_line(sentences: &[String]) -> String {
    let ended = sentences.iter().map(|sentence| format!("{}.", sentence.trim_end_matches('.')));
    ended.collect::<Vec<_>>().join(" ")
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
        print_lines(&format!("wrote {}", file.display()))?;
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
