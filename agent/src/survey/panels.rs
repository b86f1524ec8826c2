//! Looks for panels: tries the two addresses that panels have, on the buses where that is safe.

use super::buses::BusPurpose;
use super::surroundings::{I2cBus, PANEL_ADDRESSES};
use crate::show::panel::acknowledges;
use std::path::Path;
use traylight_display::PanelFault;

/// One address that was looked at.
#[derive(Debug, Clone, PartialEq)]
pub struct AddressCheck {
    /// The bus's device, such as `i2c-1`.
    pub bus: String,
    /// The address in seven bits.
    pub address: u8,
    /// What came of it.
    pub result: CheckResult,
}

/// What is at an address.
#[derive(Debug, Clone, PartialEq)]
pub enum CheckResult {
    /// Something acknowledged it, so it may be a panel.
    Acknowledged,
    /// Nothing is there.
    Nothing,
    /// A kernel driver uses it, so it was not tried.
    Taken,
    /// The bus failed; how.
    Failed(PanelFault),
}

/// Tries the buses of headers, and those that the owner has named; never a display's.
pub fn address_checks(buses: &[I2cBus], named: &[String]) -> Vec<AddressCheck> {
    let tried = buses.iter().filter(|bus| bus.access.is_ok() && is_tried(bus, named));
    let each = tried.flat_map(|bus| PANEL_ADDRESSES.map(|address| (bus, address)));
    each.map(|(bus, address)| AddressCheck { bus: bus.device.clone(), address, result: check(bus, address) }).collect()
}

/// Whether a panel is looked for on this bus.
pub fn is_tried(bus: &I2cBus, named: &[String]) -> bool {
    match bus.purpose {
        BusPurpose::Header => true,
        BusPurpose::Display => false,
        BusPurpose::Mainboard | BusPurpose::Unknown => named.contains(&bus.device),
    }
}

fn check(bus: &I2cBus, address: u8) -> CheckResult {
    if bus.taken.contains(&address) {
        return CheckResult::Taken;
    }
    match acknowledges(&Path::new("/dev").join(&bus.device), address) {
        Ok(()) => CheckResult::Acknowledged,
        Err(PanelFault::NotAnswering) => CheckResult::Nothing,
        Err(PanelFault::Busy) => CheckResult::Taken,
        Err(fault) => CheckResult::Failed(fault),
    }
}
