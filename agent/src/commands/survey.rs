//! `survey`: what is here and works, what gives less than it could, what is not found, and how to turn it on.

use super::look::one_look;
use super::shared::BoxFlags;
use super::terminal::print;
use std::io;
use std::process::ExitCode;
use traylight::clock::Clock;
use traylight::printout::Printout;
use traylight::sense::host::Host;
use traylight::serve::socket::{self, Answered};
use traylight::survey::{self, BusUse, Found, I2cBus};

/// Flags of `survey`.
#[derive(clap::Args)]
pub struct SurveyFlags {
    /// Look for a panel on this I2C bus, too, such as i2c-3; be sure that nothing but a panel is connected to it
    #[arg(long, value_name = "BUS")]
    bus: Vec<String>,
    /// Print the lists as JSON
    #[arg(long)]
    json: bool,
    #[command(flatten)]
    place: BoxFlags,
}

/// Looks around and prints the three lists.
pub fn command(flags: &SurveyFlags) -> io::Result<ExitCode> {
    let settings = flags.place.config.settings()?;
    let clock = Clock::of_this_machine();
    let host = Host::at(&flags.place.tree.root);
    let is_running = host.is_live() && !matches!(socket::ask(&flags.place.agent.run_dir, &clock), Answered::Nobody);
    let surroundings = survey::surroundings(&host, is_running);
    flags.bus.iter().try_for_each(|name| may_be_named(name, &surroundings.buses))?;
    let trials = if host.is_live() { survey::trials(&surroundings.buses, &flags.bus) } else { Vec::new() };
    let (_, snapshot) = one_look(&settings, &flags.place.tree.root, &clock)?;
    let found = Found { snapshot: &snapshot, settings: &settings, surroundings: &surroundings, trials: &trials };
    let survey = survey::survey(&found);
    print(&if flags.json { Printout::json(&survey)? } else { survey::printed(&survey, settings.language) })?;
    Ok(ExitCode::SUCCESS)
}

/// # Errors
/// When there is no such bus, or it is a display's, on which nothing is ever sent.
fn may_be_named(name: &str, buses: &[I2cBus]) -> io::Result<()> {
    let known: Vec<&str> = buses.iter().map(|bus| &*bus.device).collect();
    match buses.iter().find(|bus| bus.device == name) {
        Some(bus) if bus.leads_to == BusUse::Display => Err(io::Error::other(format!(
            "expected a bus that a panel can be wired to, found {name}, which belongs to a display ({})",
            bus.adapter
        ))),
        Some(_) => Ok(()),
        None => Err(io::Error::other(format!("expected one of the buses {}, found {name}", known.join(", ")))),
    }
}
