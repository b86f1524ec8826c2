//! `dossier`: one text file about the box for somebody who helps, with pseudonyms for what identifies it and its owner.

use super::dossier_file::DossierFile;
use super::look::{agents_document, one_look};
use super::shared::{BoxFlags, config_text};
use super::terminal::{print_drawing, print_lines};
use std::io;
use std::path::PathBuf;
use std::process::ExitCode;
use traylight::clock::Clock;
use traylight::dossier::{Contents, dossier};
use traylight::pseudonyms::{Known, Pseudonyms, known_to_host};
use traylight::reading::Snapshot;
use traylight::sense::host::Host;
use traylight::sense::kmsg::KernelLog;
use traylight::serve::document::Document;
use traylight::survey::{self, Survey, SurveyInput};
use traylight::tell::words::phrases::Phrases;
use traylight_config::{Language, Settings, without_secrets};

/// So many lines of the kernel's log, the newest.
const KERNEL_LINES: usize = 300;

/// Flags of `dossier`.
#[derive(clap::Args)]
pub struct DossierFlags {
    /// The file to write, readable only by you; `-` prints it
    #[arg(value_name = "FILE", default_value = "traylight-dossier.txt")]
    file: PathBuf,
    #[command(flatten)]
    place: BoxFlags,
}

/// Collects what can be had and writes it.
pub fn command(flags: &DossierFlags) -> io::Result<ExitCode> {
    // A configuration with mistakes is one of the reasons to ask somebody.
    let settings = flags.place.config.settings().ok();
    let language = settings.as_ref().map_or(Language::ENGLISH, |settings| settings.language);
    let file = match flags.file.as_os_str() == "-" {
        true => None,
        false => Some(DossierFile::at(&flags.file, language)?),
    };
    let configuration = configuration(flags, settings.is_some());
    let text = collected(flags, &settings.unwrap_or_default(), configuration)?;
    match file {
        Some(file) => {
            file.write(&text)?;
            print_lines(&language.say("dossier.written", &[("file", &flags.file.display())]))?;
        }
        None => print_drawing(&text)?,
    }
    Ok(ExitCode::SUCCESS)
}

fn collected(flags: &DossierFlags, settings: &Settings, configuration: Result<String, String>) -> io::Result<String> {
    let clock = Clock::of_this_machine();
    let host = Host::at(&flags.place.tree.root);
    let mut known = Known::default();
    known.add_settings(settings);
    known_to_host(&host, &mut known);

    // A log that hands out each line once, as in a recorded tree, has none left after the look.
    let kernel_lines = kernel_lines(&host, &clock);
    let look = one_look(settings, &flags.place.tree.root, &clock).map_err(|error| error.to_string());
    let (document, no_agent) = match agents_document(&flags.place, &clock, Language::ENGLISH) {
        Ok(document) => (Ok(document), None),
        Err(why) => {
            let of_look =
                |(verdict, snapshot)| Document::new(settings, verdict, snapshot, &clock.wall()).without_history();
            let document = look.as_ref().map(|(verdict, snapshot)| of_look((verdict, snapshot)));
            let nobody = || Language::ENGLISH.plain("dossier.no-agent").to_owned();
            (document.map_err(Clone::clone), Some(why.unwrap_or_else(nobody)))
        }
    };
    if let Ok((_, snapshot)) = &look {
        known.add_snapshot(snapshot);
    }
    if let Ok(document) = &document {
        known.add_document(document);
    }
    let survey = look.map(|(_, snapshot)| surveyed(&host, &flags.place, settings, no_agent.is_none(), &snapshot));
    let contents = Contents { survey, document, no_agent, kernel_lines, configuration, wall: clock.wall() };
    Ok(dossier(contents, &mut Pseudonyms::new(&known).map_err(io::Error::other)?))
}

fn surveyed(host: &Host, place: &BoxFlags, settings: &Settings, is_running: bool, snapshot: &Snapshot) -> Survey {
    let surroundings = &survey::surroundings(host, is_running);
    // Nothing is sent to a bus for this.
    survey::survey(&SurveyInput { snapshot, settings, config: &place.config.config, surroundings, address_checks: &[] })
}

/// The lines that this program knows: those about drives, pools, controllers and the board.
fn kernel_lines(host: &Host, clock: &Clock) -> Result<Vec<String>, String> {
    let missing = |why| Language::ENGLISH.missing(&why);
    let none = || Language::ENGLISH.plain("dossier.no-kernel-log").to_owned();
    let mut log = KernelLog::open(host).map_err(missing)?.ok_or_else(none)?;
    let events = log.take(clock.now(), clock.suspended()).map_err(missing)?.events;
    let lines = events.iter().map(|event| format!("[{:>6} s] {}", event.at.since_boot().as_secs(), event.line));
    Ok(lines.skip(events.len().saturating_sub(KERNEL_LINES)).collect())
}

/// Names in a file with mistakes are not known, so its text stays here.
fn configuration(flags: &DossierFlags, is_good: bool) -> Result<String, String> {
    let file = &flags.place.config.config;
    let english = |key| Language::ENGLISH.say(key, &[("file", &file.display())]);
    match config_text(file) {
        Ok(Some(text)) if is_good => Ok(without_secrets(&text)),
        Ok(Some(_)) => Err(english("dossier.configuration-with-mistakes")),
        Ok(None) => Err(english("dossier.no-configuration")),
        Err(error) => Err(error.to_string()),
    }
}
