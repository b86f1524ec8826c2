//! `survey`: what is found, what of it is limited, what is not found, and how to turn it on.

use super::look::one_look;
use super::shared::BoxFlags;
use super::terminal::print;
use std::io;
use std::process::ExitCode;
use traylight::clock::Clock;
use traylight::printout::Printout;
use traylight::sense::host::Host;
use traylight::serve::socket::{self, Answered};
use traylight::survey::{self, BusPurpose, I2cBus, SurveyInput};
use traylight::tell::words::phrases::{Language, Phrases};

/// Flags of `survey`.
#[derive(clap::Args)]
pub struct SurveyFlags {
    /// Look for a panel on this I2C bus, too, such as i2c-3; be sure that nothing but a panel is connected to it
    #[arg(long, value_name = "BUS", conflicts_with = "root")]
    bus: Vec<String>,
    /// Print the lists as JSON
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    place: BoxFlags,
}

/// Reads the box and prints the three lists.
pub fn command(flags: &SurveyFlags) -> io::Result<ExitCode> {
    let settings = flags.place.config.settings()?;
    let clock = Clock::of_this_machine();
    let host = Host::at(&flags.place.tree.root);
    let is_running = host.is_live() && !matches!(socket::ask(&flags.place.agent.run_dir, &clock), Answered::Nobody);
    let surroundings = survey::surroundings(&host, is_running);
    let named: Vec<String> = flags.bus.iter().map(|name| name.trim_start_matches("/dev/").to_owned()).collect();
    let language = settings.language;
    named.iter().try_for_each(|name| may_be_tried(name, &surroundings.buses, language)).map_err(io::Error::other)?;
    let checks = if host.is_live() { survey::address_checks(&surroundings.buses, &named) } else { Vec::new() };
    let (_, snapshot) = one_look(&settings, &flags.place.tree.root, &clock)?;
    let survey = survey::survey(&SurveyInput {
        snapshot: &snapshot,
        settings: &settings,
        config: &flags.place.config.config,
        surroundings: &surroundings,
        address_checks: &checks,
    });
    print(&if flags.json { Printout::json(&survey)? } else { survey::printed(&survey, language) })?;
    Ok(ExitCode::SUCCESS)
}

/// # Errors
/// When there is no such bus, it is a display's, on which nothing is ever sent, or it may not be used.
fn may_be_tried(name: &str, buses: &[I2cBus], language: Language) -> Result<(), String> {
    let Some(bus) = buses.iter().find(|bus| bus.device == name) else {
        let there: Vec<&str> = buses.iter().map(|bus| &*bus.device).collect();
        return Err(match there[..] {
            [] => language.say("survey.bus.none", &[("bus", &name)]),
            _ => language.say("survey.bus.unknown", &[("bus", &name), ("there", &there.join(", "))]),
        });
    };
    let say = |key| Err(language.say(key, &[("bus", &name), ("adapter", &bus.adapter)]));
    match bus.purpose {
        BusPurpose::Display => say("survey.bus.display"),
        _ if bus.access.is_err() => say("survey.bus.closed"),
        _ => Ok(()),
    }
}
