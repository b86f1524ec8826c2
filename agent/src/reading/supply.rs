//! What the board can tell of its own supply. The 12 V of the drives is never in here unless a sensor says so.

use super::Reading;
use serde::{Deserialize, Serialize};

/// An under-voltage alarm, such as that of the input of a single-board computer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Undervoltage {
    /// Chip and channel.
    pub key: String,
    /// True while the input is too low, or was since the reading before (`inN_lcrit_alarm`,
    /// Documentation/hwmon/raspberrypi-hwmon.rst).
    pub low: Reading<bool>,
}
