//! How the kernel gets on with a drive. All of it is in the kernel's memory: reading it asks the drive nothing.

use super::Reading;
use crate::units::MegabitsPerSecond;
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// How the kernel gets on with a drive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Attachment {
    /// The speed that its link has settled on: of SATA (`sata_spd`, Documentation/ABI/testing/sysfs-ata) or of the USB device
    /// that it is part of (`speed`, Documentation/ABI/stable/sysfs-bus-usb).
    pub speed: Reading<MegabitsPerSecond>,
    /// How many commands the kernel gave up waiting for since the drive appeared (`iotmo_cnt`); those that a SATA drive failed
    /// with an answer are among them.
    pub timeouts: Reading<u64>,
    /// How long the kernel waits for a command before it begins to reset things (`timeout`).
    pub patience: Reading<Duration>,
}

/// How long a drive may try to read or write a place before it says that it cannot.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum RecoveryLimit {
    /// As long as it likes, which may be minutes.
    Off,
    /// So long at most: the longer of its limits for reading and for writing.
    After(Duration),
}

impl RecoveryLimit {
    /// The longer of two.
    pub fn longer(self, other: Self) -> Self {
        match (self, other) {
            (Self::After(one), Self::After(another)) => Self::After(one.max(another)),
            _ => Self::Off,
        }
    }
}
