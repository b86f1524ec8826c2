//! What was found where a panel was looked for, and how to get one where none was. Pure.

use super::buses::BusPurpose;
use super::input::SurveyInput;
use super::item::{Absence, BusName, FoundPart, Limitation, Survey, TriedAddress};
use super::panels::{AddressCheck, CheckResult};
use super::remedy::Remedy;
use super::surroundings::{I2cBus, KernelModule, Surroundings};
use crate::show::panel::is_bus;
use std::collections::BTreeMap;
use traylight_config::Settings;

/// Puts panels and buses into their lists.
pub(super) fn panels(input: &SurveyInput, survey: &mut Survey) {
    let buses = &input.surroundings.buses;
    input.address_checks.iter().for_each(|check| checked(input, check, survey));
    closed_buses(input.surroundings, survey);
    let may_be_panel = |check: &AddressCheck| matches!(check.result, CheckResult::Acknowledged | CheckResult::Taken);
    if input.address_checks.iter().any(may_be_panel) {
        return;
    }
    let was_tried = |bus: &I2cBus| input.address_checks.iter().any(|check| check.bus == bus.device);
    let may_be_named = |bus: &I2cBus| !matches!(bus.purpose, BusPurpose::Display | BusPurpose::Header);
    for bus in buses.iter().filter(|bus| may_be_named(bus) && !was_tried(bus)) {
        let (device, adapter) = (bus.device.clone(), bus.adapter.clone());
        let remedy = Remedy::TryBus { bus: device.clone(), as_root: bus.access.is_err() };
        survey.limit(Limitation::UntriedBus { bus: device, adapter }, Some(remedy));
    }
    if !input.address_checks.is_empty() {
        let tried = |check: &AddressCheck| TriedAddress { bus: check.bus.clone(), address: check.address };
        let tried = input.address_checks.iter().map(tried).collect();
        survey.lacks(Absence::Panel { tried }, Some(Remedy::CheckWires));
    } else if buses.iter().all(|bus| bus.purpose == BusPurpose::Display) {
        survey.lacks(Absence::PanelBus, Some(remedy_of_no_bus(input.surroundings)));
    }
}

fn checked(input: &SurveyInput, check: &AddressCheck, survey: &mut Survey) {
    let listed = input.surroundings.buses.iter().find(|bus| bus.device == check.bus);
    let adapter = listed.map(|bus| bus.adapter.clone()).unwrap_or_default();
    let (bus, address) = (check.bus.clone(), check.address);
    match &check.result {
        CheckResult::Acknowledged if is_configured(input.settings, &bus, &adapter, address) => {
            survey.found.push(FoundPart::Panel { bus, adapter, address });
        }
        CheckResult::Acknowledged => {
            let remedy = remedy_of_a_new_panel(input, &bus, &adapter, address);
            survey.limit(Limitation::UnusedPanel { bus, adapter, address }, Some(remedy));
        }
        CheckResult::Nothing => {}
        CheckResult::Taken => survey.limit(Limitation::TakenAddress { bus, address }, Some(Remedy::FreeAddress)),
        CheckResult::Failed(fault) => {
            let found = fault.to_string();
            survey.limit(Limitation::FailedBus { bus, address, found }, Some(Remedy::CheckWires));
        }
    }
}

/// The buses of pin headers alone: on others a group would get more than a panel's bus.
fn closed_buses(surroundings: &Surroundings, survey: &mut Survey) {
    let mut by_group: BTreeMap<Option<&String>, Vec<&I2cBus>> = BTreeMap::new();
    for bus in surroundings.buses.iter().filter(|bus| bus.purpose == BusPurpose::Header) {
        if let Err(group) = &bus.access {
            by_group.entry(group.as_ref()).or_default().push(bus);
        }
    }
    let user = surroundings.rights.as_ref().map(|rights| rights.user.clone()).unwrap_or_default();
    for (group, buses) in by_group {
        let user = user.clone();
        let remedy = match group {
            Some(group) => Remedy::JoinGroup { group: group.clone(), user },
            None => Remedy::OpenBuses { rules: buses.iter().map(|bus| matched(bus)).collect(), user },
        };
        let name = |bus: &&I2cBus| BusName { bus: bus.device.clone(), adapter: bus.adapter.clone() };
        survey.limit(Limitation::ClosedBuses { buses: buses.iter().map(name).collect() }, Some(remedy));
    }
}

/// What a udev rule matches the bus by: its adapter's name, or its number where the name has characters that mean something
/// in a rule or a shell.
fn matched(bus: &I2cBus) -> String {
    let is_plain = |c: char| c.is_ascii_alphanumeric() || " ()@.:-_".contains(c);
    match !bus.adapter.is_empty() && bus.adapter.chars().all(is_plain) {
        true => format!(r#"ATTR{{name}}=="{}""#, bus.adapter),
        false => format!(r#"KERNEL=="{}""#, bus.device),
    }
}

fn remedy_of_no_bus(surroundings: &Surroundings) -> Remedy {
    match (&surroundings.boot_file, surroundings.i2c_dev) {
        (_, KernelModule::Available) => Remedy::LoadModule { module: "i2c-dev" },
        (Some(file), _) => Remedy::EnableI2c { file: file.clone() },
        (None, _) => Remedy::UsbAdapter,
    }
}

fn is_configured(settings: &Settings, device: &str, adapter: &str, address: u8) -> bool {
    settings.panel.panels.iter().any(|panel| is_bus(&panel.bus, device, adapter) && panel.address == address)
}

/// Names the bus by its adapter where no other has that name: numbers of buses change between starts.
fn remedy_of_a_new_panel(input: &SurveyInput, device: &str, adapter: &str, address: u8) -> Remedy {
    let is_alone = input.surroundings.buses.iter().filter(|bus| bus.adapter == adapter).count() == 1;
    let bus = if is_alone && !adapter.is_empty() { adapter.to_owned() } else { format!("/dev/{device}") };
    let keys = [format!("bus = {}", toml_text(&bus)), format!("address = 0x{address:02X}")];
    let file = input.config.to_owned();
    match input.settings.panel.panels.is_empty() {
        true => Remedy::ConfigurePanel { file, lines: keys.into() },
        false => Remedy::AddPanel { file, lines: ["[[panel.more]]".to_owned()].into_iter().chain(keys).collect() },
    }
}

fn toml_text(text: &str) -> String {
    format!("\"{}\"", text.replace('\\', "\\\\").replace('"', "\\\""))
}
