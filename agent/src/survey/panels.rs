//! Looks for panels: asks the two addresses that panels have, on the buses where that is safe.

use super::buses::BusUse;
use super::surroundings::{I2cBus, PANEL_ADDRESSES};
use crate::show::panel::acknowledges;
use std::path::Path;
use traylight_display::PanelFault;

/// One address that was looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct Trial {
    /// The bus's device, such as `i2c-1`.
    pub bus: String,
    /// The address in seven bits.
    pub address: u8,
    /// What came of it.
    pub answer: Answer,
}

/// What an address answered.
#[derive(Debug, Clone, PartialEq)]
pub enum Answer {
    /// Something acknowledged it.
    Acknowledged,
    /// Nothing is there.
    Nothing,
    /// A driver of the kernel has taken it, so nothing was sent.
    Taken,
    /// The bus failed; how.
    Failed(PanelFault),
}

/// Asks the buses of headers, and those that the owner has named; never a display's.
pub fn trials(buses: &[I2cBus], named: &[String]) -> Vec<Trial> {
    let tried = buses.iter().filter(|bus| bus.access.is_ok() && is_tried(bus, named));
    let each = tried.flat_map(|bus| PANEL_ADDRESSES.map(|address| (bus, address)));
    each.map(|(bus, address)| Trial { bus: bus.device.clone(), address, answer: answer(bus, address) }).collect()
}

/// Whether a panel is looked for on this bus.
pub fn is_tried(bus: &I2cBus, named: &[String]) -> bool {
    match bus.leads_to {
        BusUse::Header => true,
        BusUse::Display => false,
        BusUse::Mainboard | BusUse::Unknown => named.contains(&bus.device),
    }
}

fn answer(bus: &I2cBus, address: u8) -> Answer {
    if bus.taken.contains(&address) {
        return Answer::Taken;
    }
    match acknowledges(&Path::new("/dev").join(&bus.device), address) {
        Ok(()) => Answer::Acknowledged,
        Err(PanelFault::NotAnswering) => Answer::Nothing,
        Err(PanelFault::Busy) => Answer::Taken,
        Err(fault) => Answer::Failed(fault),
    }
}
