//! What drives and USB bridges are plugged into, as the kernel keeps it. Reading it asks no drive.

use super::Reading;
use serde::{Deserialize, Serialize};
use std::fmt;

/// A controller with drives behind it, or made for drives.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Controller {
    /// The chain of slots that leads to it, as at the start of [`super::Drive::port`], such as `0000/01.0/00.0`.
    pub key: String,
    /// What it is.
    pub kind: ControllerKind,
    /// Vendor and device by their numbers, such as `197b:0585`.
    pub id: String,
    /// The driver that is bound to it; none when no driver would start it.
    pub driver: Option<String>,
    /// False when its configuration space reads as all ones: it is on the list and no longer there.
    pub answers: Reading<bool>,
    /// Its PCIe link now.
    pub pcie_link: Reading<PcieLink>,
    /// Errors on its PCIe link since the start of the machine, its own and those of the port above it
    /// (Documentation/ABI/testing/sysfs-bus-pci-devices-aer_stats).
    pub bus_errors: Reading<BusErrors>,
    /// How links may save power, of its SATA ports (`link_power_management_policy`), where all agree.
    pub link_power: Option<String>,
}

impl Controller {
    /// True when it has a driver and nothing says that it is no longer there.
    pub fn works(&self) -> bool {
        self.driver.is_some() && self.answers.get() != Some(&false)
    }
}

/// Kinds of controller.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum ControllerKind {
    /// PCI class 0106 and the like: SATA, SAS, RAID.
    Storage,
    /// PCI class 0108.
    Nvme,
    /// PCI class 0c03.
    UsbHost,
}

/// A PCIe link.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct PcieLink {
    /// Transfers per second and lane, in thousands of millions (`current_link_speed`).
    pub gigatransfers: f64,
    /// Lanes in use (`current_link_width`).
    pub width: u32,
}

impl fmt::Display for PcieLink {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "{} GT/s x{}", self.gigatransfers, self.width)
    }
}

/// Errors counted on a PCIe link.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct BusErrors {
    /// Corrected ones (`TOTAL_ERR_COR`).
    pub corrected: u64,
    /// Uncorrected ones that did no lasting harm, and those that did (`TOTAL_ERR_NONFATAL`, `TOTAL_ERR_FATAL`).
    pub uncorrected: u64,
}
