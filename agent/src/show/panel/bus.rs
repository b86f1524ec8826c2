//! The way to a panel: finds its bus among those of this machine, opens it, and says what is wrong with it.

#![allow(clippy::disallowed_methods, reason = "the panel's bus is this thread's own edge")]

use linux_embedded_hal::i2cdev::linux::LinuxI2CError;
use linux_embedded_hal::{I2CError, I2cdev};
use std::io::Read as _;
use std::path::{Path, PathBuf};
use traylight_config as config;
use traylight_display::embedded_hal::i2c::I2c as _;
use traylight_display::{Module, OledPanel, PanelAddress, PanelChip, PanelFault, PanelSize, Rotation};

/// The panel as the owner has described it. Nothing is sent yet.
pub(super) fn open(panel: &config::PanelWiring) -> Result<OledPanel<I2cdev>, PanelFault> {
    let path = match &panel.bus {
        config::Bus::Path(path) => PathBuf::from(path),
        // Numbers of buses change between starts, names of adapters do not.
        config::Bus::AdapterName(name) => {
            let found =
                listed_buses(Path::new(BUSES)).into_iter().find(|bus| is_bus(&panel.bus, &bus.device, &bus.adapter));
            let bus = found.ok_or_else(|| not_found(&format!("\"{name}\"")))?;
            Path::new("/dev").join(bus.device)
        }
    };
    let bus = I2cdev::new(&path).map_err(|error| match explained(&error) {
        PanelFault::NoBuses => not_found(&path.display().to_string()),
        fault => fault,
    })?;
    let address = if panel.address == 0x3D { PanelAddress::X3D } else { PanelAddress::X3C };
    let explain = |error: &I2CError| explained(error.inner());
    Ok(OledPanel::new(bus, address, module(panel)?, rotation(panel), explain))
}

/// Whether something acknowledges an address of the bus with this device. Sends one byte that changes nothing: a control byte
/// that announces commands and is followed by none (SSD1306 data sheet, 8.1.5.2). For most other chips it does no more
/// than choose a register.
///
/// # Errors
/// When nothing does, or the bus fails.
pub fn acknowledges(device: &Path, address: u8) -> Result<(), PanelFault> {
    const NOTHING_FOLLOWS: [u8; 1] = [0x00];

    let mut bus = I2cdev::new(device).map_err(|error| explained(&error))?;
    bus.write(address, &NOTHING_FOLLOWS).map_err(|error| explained(error.inner()))
}

/// The module that the settings describe.
///
/// # Errors
/// When there is none such; the configuration has made sure that there is.
pub(super) fn module(panel: &config::PanelWiring) -> Result<Module, PanelFault> {
    let controller = match panel.controller {
        config::PanelController::Ssd1306 => PanelChip::Ssd1306,
        config::PanelController::Ssd1309 => PanelChip::Ssd1309,
        config::PanelController::Sh1106 => PanelChip::Sh1106,
    };
    let size = PanelSize::ALL.into_iter().find(|size| (size.width(), size.height()) == panel.size);
    size.and_then(|size| Module::new(controller, size))
        .ok_or_else(|| PanelFault::Other(format!("there is no {controller:?} with {:?} pixels", panel.size)))
}

/// The size of the pictures that the panel takes, as it is built in.
pub fn picture_size(panel: &config::PanelWiring) -> Result<PanelSize, PanelFault> {
    let size = module(panel)?.size();
    Ok(match rotation(panel) {
        Rotation::Upright | Rotation::Half => size,
        Rotation::Quarter | Rotation::ThreeQuarters => size.turned(),
    })
}

fn rotation(panel: &config::PanelWiring) -> Rotation {
    match panel.rotation_degrees {
        90 => Rotation::Quarter,
        180 => Rotation::Half,
        270 => Rotation::ThreeQuarters,
        _ => Rotation::Upright,
    }
}

fn explained(error: &LinuxI2CError) -> PanelFault {
    match error {
        LinuxI2CError::Errno(number) => PanelFault::from_io(&std::io::Error::from_raw_os_error(*number)),
        LinuxI2CError::Io(error) => PanelFault::from_io(error),
    }
}

/// Whether the configuration means this bus: by its device, or by its adapter's name.
pub fn is_bus(wanted: &config::Bus, device: &str, adapter: &str) -> bool {
    match wanted {
        config::Bus::Path(path) => *path == Path::new("/dev").join(device),
        config::Bus::AdapterName(name) => name == adapter,
    }
}

fn not_found(wanted: &str) -> PanelFault {
    let found: Vec<String> =
        listed_buses(Path::new(BUSES)).iter().map(|bus| format!("/dev/{} (\"{}\")", bus.device, bus.adapter)).collect();
    if found.is_empty() { PanelFault::NoBuses } else { PanelFault::NoSuchBus { wanted: wanted.to_owned(), found } }
}

/// Where the kernel lists the buses that programs may use (drivers/i2c/i2c-dev.c).
const BUSES: &str = "/sys/class/i2c-dev";

/// An attribute of a device is one page at most.
const PAGE: u64 = 4096;

/// A bus that programs may use.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ListedBus {
    /// Its device, such as `i2c-1`. The number may be another after the next start.
    pub device: String,
    /// Its adapter's name.
    pub adapter: String,
}

/// The buses in this folder, in the order of their numbers.
pub fn listed_buses(folder: &Path) -> Vec<ListedBus> {
    let Ok(entries) = std::fs::read_dir(folder) else { return Vec::new() };
    let bus = |folder: PathBuf| {
        let mut adapter = String::new();
        let name = std::fs::File::open(folder.join("name"));
        // A bus without a name is one all the same.
        let _ = name.and_then(|name| name.take(PAGE).read_to_string(&mut adapter));
        Some(ListedBus { device: folder.file_name()?.to_str()?.to_owned(), adapter: adapter.trim().to_owned() })
    };
    let mut buses: Vec<ListedBus> = entries.filter_map(|entry| bus(entry.ok()?.path())).collect();
    buses.sort_by_key(|bus| bus.device.trim_start_matches("i2c-").parse::<u32>().ok());
    buses
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn every_panel_that_the_configuration_allows_is_one_that_can_be_driven() {
        let mut driven = 0;
        for (word, controller) in [
            ("ssd1306", config::PanelController::Ssd1306),
            ("ssd1309", config::PanelController::Ssd1309),
            ("sh1106", config::PanelController::Sh1106),
        ] {
            for (width, height) in controller.sizes() {
                for degrees in [0, 90, 180, 270] {
                    let text = format!(
                        "[panel]\nbus = 'b'\ncontroller = '{word}'\nsize = '{width}x{height}'\nrotation = {degrees}\n"
                    );
                    let settings = config::settle(&text, "f").expect("such a panel may be");
                    let panel = &settings.panel.panels[0];
                    let found = picture_size(panel).expect("such a panel can be driven");
                    let wanted = if degrees % 180 == 0 { (*width, *height) } else { (*height, *width) };
                    assert_eq!((found.width(), found.height()), wanted);
                    driven += 1;
                }
            }
        }
        assert_eq!(driven, Module::ALL.len() * 4, "the configuration knows as many as the driver");
    }

    #[test]
    fn a_bus_that_is_not_there_is_told_with_those_that_are() {
        let fault = not_found("/dev/i2c-77");
        match listed_buses(Path::new(BUSES)).first() {
            None => assert_eq!(fault, PanelFault::NoBuses),
            Some(bus) => assert!(fault.to_string().contains(&bus.device), "{fault}"),
        }
        let fault = PanelFault::NoSuchBus { wanted: "/dev/i2c-7".into(), found: vec!["/dev/i2c-1 (\"a\")".into()] };
        assert_eq!(fault.to_string(), "there is no I2C bus /dev/i2c-7: this machine has /dev/i2c-1 (\"a\")");
    }
}
