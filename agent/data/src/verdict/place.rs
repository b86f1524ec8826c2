//! What a drive and a controller are called by: where they are plugged, and what is printed on them.

use crate::reading::ControllerKind;
use serde::{Deserialize, Serialize};

/// Where a drive sits, as its owner would point at it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
pub struct Place {
    /// The label of its tray, if the configuration names one.
    pub tray: Option<String>,
    /// The serial, if the drive has one.
    pub serial: Option<String>,
    /// Where it is plugged.
    pub port: Option<String>,
}

impl Place {
    /// The last four characters of the serial, as on the label of the drive.
    pub fn serial_tail(&self) -> Option<String> {
        self.serial.as_deref().map(tail)
    }

    /// The shortest name to point with: the tray's label, else the end of the serial, else of the port.
    pub fn label(&self) -> String {
        self.tray
            .clone()
            .or_else(|| self.serial_tail())
            .or_else(|| self.port.as_deref().map(tail))
            .unwrap_or_else(|| "?".to_owned())
    }
}

fn tail(text: &str) -> String {
    let count = text.chars().count();
    text.chars().skip(count.saturating_sub(4)).collect()
}

/// What a controller is known by.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct ControllerName {
    /// Where it is plugged.
    pub key: String,
    /// What it is; `None` for a USB bridge, which is known by the chain of its ports.
    pub kind: Option<ControllerKind>,
    /// Vendor and device by their numbers; empty for a USB bridge.
    pub id: String,
}
