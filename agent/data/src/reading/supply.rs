//! What the board can tell of its own supply. The 12 V of the drives is never in here unless a sensor says so.

use super::Reading;
use crate::units::Volts;
use serde::{Deserialize, Serialize};
use strum::IntoStaticStr;

/// A labelled voltage.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Rail {
    /// Chip and channel.
    pub key: String,
    /// The driver's label.
    pub label: String,
    /// Which rail of a supply it is, where the label says so.
    pub nominal: Option<Nominal>,
    /// The value.
    pub value: Reading<Volts>,
}

/// The rails of a supply.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, IntoStaticStr)]
#[strum(serialize_all = "kebab-case")]
pub enum Nominal {
    /// 12 V, for what turns.
    Twelve,
    /// 5 V, for boards and small drives.
    Five,
    /// 3.3 V, for chips.
    ThreePointThree,
}

impl Nominal {
    /// What it should be.
    pub fn volts(self) -> Volts {
        Volts(match self {
            Self::Twelve => 12.0,
            Self::Five => 5.0,
            Self::ThreePointThree => 3.3,
        })
    }
}

/// An under-voltage alarm, such as that of the input of a single-board computer.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Undervoltage {
    /// Chip and channel.
    pub key: String,
    /// True while the input is too low, or was since the reading before (`inN_lcrit_alarm`,
    /// Documentation/hwmon/raspberrypi-hwmon.rst).
    pub low: Reading<bool>,
}
