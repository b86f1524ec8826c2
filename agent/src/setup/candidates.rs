//! The drives that a tray can hold, and how each would be recognised.

use super::walk::Holds;
use crate::reading::{Bus, Snapshot};

/// A drive that may be in a tray.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Candidate {
    /// What it is known by, such as its serial.
    pub key: String,
    /// The kernel's name for it now.
    pub device: String,
    /// The maker's model name.
    pub model: Option<String>,
    /// Its serial, where no other drive has the same.
    pub serial: Option<String>,
    /// Where it is plugged.
    pub port: Option<String>,
    /// True behind a USB adapter, whose ports have no order.
    pub is_usb: bool,
    /// The pools that use it.
    pub pools: Vec<String>,
}

impl Candidate {
    /// How a tray recognises it: by its serial, else by its port; `None` where it has neither.
    pub fn holds(&self) -> Option<Holds> {
        let serial = self.serial.clone().map(Holds::Serial);
        serial.or_else(|| self.port.clone().map(Holds::Port))
    }

    /// True for the drive that a tray with this content means.
    pub fn is_in(&self, holds: &Holds) -> bool {
        match holds {
            Holds::Serial(serial) => self.serial.as_ref() == Some(serial),
            Holds::Port(port) => self.port.as_ref() == Some(port),
            Holds::Nothing => false,
        }
    }
}

/// The drives that trays can hold, in the order of their ports. Cards and other media that are meant to be taken away are
/// none of them.
pub fn candidates(snapshot: &Snapshot) -> Vec<Candidate> {
    let is_one =
        |serial: &String| snapshot.drives.iter().filter(|drive| drive.serial.as_ref() == Some(serial)).count() == 1;
    let in_trays = snapshot.drives.iter().filter(|drive| !drive.removable && drive.bus != Bus::Mmc);
    let mut found: Vec<Candidate> = in_trays
        .map(|drive| Candidate {
            key: drive.key.0.clone(),
            device: drive.device.clone(),
            model: drive.model.clone(),
            serial: drive.serial.clone().filter(is_one),
            port: drive.port.clone(),
            is_usb: drive.bus == Bus::Usb,
            pools: { snapshot.pools.iter() }
                .filter(|pool| pool.members.iter().any(|member| member.drive_device == drive.device))
                .map(|pool| pool.name.clone())
                .collect(),
        })
        .collect();
    found.sort_by_key(|drive| (drive.port.is_none(), natural(drive.port.as_deref().unwrap_or(&drive.device))));
    found
}

/// A text as pieces that sort as people count: `ata-2` before `ata-10`.
fn natural(text: &str) -> Vec<(String, u64)> {
    let mut pieces = Vec::new();
    let mut rest = text;
    while !rest.is_empty() {
        let (name, after) = rest.split_at(rest.find(|c: char| c.is_ascii_digit()).unwrap_or(rest.len()));
        let (number, after) = after.split_at(after.find(|c: char| !c.is_ascii_digit()).unwrap_or(after.len()));
        pieces.push((name.to_owned(), number.parse().unwrap_or(u64::MAX)));
        rest = after;
    }
    pieces
}
