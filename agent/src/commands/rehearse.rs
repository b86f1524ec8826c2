//! `rehearse`: plays a fault as if it happened, marked as a test and touching nothing.

use super::look::one_look;
use super::panel::drawn_here;
use super::shared::{BoxFlags, up_to};
use super::terminal::{is_there, print, print_drawing, print_lines, screen};
use std::io::{self, Write};
use std::process::ExitCode;
use std::time::Duration;
use traylight::clock::{Clock, Wall};
use traylight::judge::Memory;
use traylight::printout::Printout;
use traylight::rehearse::{Played, PlayedLook, RehearsedFault, play};
use traylight::send::log::{Form, Log};
use traylight::serve::control::{self, ControlRequest, LONGEST_REHEARSAL};
use traylight::show::outlet::Scenery;
use traylight::show::pages::test_mark;
use traylight::tell::incident_log;
use traylight::tell::words::phrases::{Language, Phrases};
use traylight_config::Settings;
use traylight_display::PanelSize;

/// Flags of `rehearse`.
#[derive(clap::Args)]
pub struct RehearseFlags {
    /// What happens: a condition, such as drive-gone, or a cause, such as supply
    #[arg(value_name = "FAULT", required_unless_present_any = ["list", "end"])]
    fault: Option<String>,
    /// To which drive: the label of its tray, or the last four or more characters of its serial
    #[arg(value_name = "TRAY")]
    tray: Option<String>,
    /// For how long the running agent shows it, such as 45s or "5 min"
    #[arg(long = "for", value_name = "DURATION", default_value = "60s", value_parser = up_to(LONGEST_REHEARSAL))]
    for_time: Duration,
    /// List the faults, each with what happens
    #[arg(long, conflicts_with_all = ["fault", "tray"])]
    list: bool,
    /// End the rehearsal that is running
    #[arg(long, conflicts_with_all = ["fault", "tray", "list"])]
    end: bool,
    #[command(flatten)]
    place: BoxFlags,
}

/// Plays it on the running agent if there is one, else here.
pub fn command(flags: &RehearseFlags) -> io::Result<ExitCode> {
    if flags.end {
        print_lines(&control::ask(&flags.place.agent.run_dir, &ControlRequest::EndRehearsal)?)?;
        return Ok(ExitCode::SUCCESS);
    }
    let settings = flags.place.config.settings()?;
    let Some(name) = &flags.fault else { return list(settings.language) };
    let fault = RehearsedFault::named(name, settings.language).map_err(io::Error::other)?;
    // The agent watches this machine, not a recorded tree.
    if flags.place.is_this_machine() {
        let (drive, for_s) = (flags.tray.clone(), flags.for_time.as_secs());
        match control::ask(&flags.place.agent.run_dir, &ControlRequest::Rehearse { fault: name.clone(), drive, for_s })
        {
            Err(error) if control::nobody_there(&error) => {}
            answer => {
                print_lines(&answer?)?;
                return Ok(ExitCode::SUCCESS);
            }
        }
    }
    let clock = Clock::of_this_machine();
    let (_, snapshot) = one_look(&settings, &flags.place.tree.root, &clock)?;
    let played =
        play(&settings, &Memory::default(), &snapshot, fault, flags.tray.as_deref()).map_err(io::Error::other)?;
    show(&settings, &played, &clock.wall())?;
    Ok(ExitCode::SUCCESS)
}

/// What the agent would log, and the picture that would lead.
fn show(settings: &Settings, played: &Played, wall: &Wall) -> io::Result<()> {
    let (screen, language) = (screen(), settings.language);
    let log = Log::open(if is_there() { Form::Short } else { Form::Text })?;
    for pretended in &played.pretended {
        print_lines(&settings.language.say("rehearsal.simulated", &[("what", pretended)]))?;
    }
    // Nothing is dated before the command: the first line is of now, the others follow.
    let first = played.told.first().map_or(played.verdict.at, |told| told.verdict.at);
    let mut tell = |told: &PlayedLook| {
        let at = told.verdict.at;
        let wall = wall.after(at.since(first));
        for entry in incident_log::entries(&told.verdict, &told.changes, at, &wall, language) {
            #[allow(clippy::disallowed_methods, reason = "the log cleans its lines")]
            let out = |lines: &str| io::stdout().write_all(lines.as_bytes());
            let _ = log.write(&entry.as_test(language), &wall, &screen, out);
        }
    };
    played.told.iter().for_each(&mut tell);
    let (verdict, snapshot) = (&played.verdict, Some(&played.snapshot));
    let scenery = Scenery { verdict, snapshot, settings, channels: &[], wall, rehearsed: Some(&[]) };
    if let Some(page) = scenery.pages().into_iter().next() {
        let drawing = scenery.drawing(page, test_mark(language).to_owned());
        match drawn_here(&drawing.frame(PanelSize::W128H64), false, language) {
            Ok(picture) => print_drawing(&picture)?,
            Err(why) => print_lines(&why)?,
        }
    }
    tell(&played.end());
    Ok(())
}

fn list(language: Language) -> io::Result<ExitCode> {
    let named = |is_kind: bool| {
        let faults = RehearsedFault::all().filter(|fault| matches!(fault, RehearsedFault::Kind(_)) == is_kind);
        faults.map(|fault| (fault.to_string(), fault.description(language).to_owned())).collect()
    };
    let mut out = Printout::default();
    out.line(language.plain("rehearse.conditions"));
    out.glossary(named(true));
    out.heading(language.plain("rehearse.causes"));
    out.glossary(named(false));
    print(&out).map(|()| ExitCode::SUCCESS)
}
