//! What several readings together point to, and how surely.

use serde::{Deserialize, Serialize};
use strum::{IntoStaticStr, VariantArray};

/// A cause.
#[derive(
    Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize, IntoStaticStr, VariantArray,
)]
#[strum(serialize_all = "kebab-case")]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Cause {
    /// The 12 V supply or its wiring.
    Supply,
    /// The power contact of one tray.
    TrayPower,
    /// The connection of one tray, or its drive: not yet known which.
    TrayConnection,
    /// The data cable of one tray.
    DataCable,
    /// The errors stayed with the port when drives changed places.
    PortOrCable,
    /// The errors moved with the drive when drives changed places.
    DriveConnector,
    /// The drive itself.
    DriveFails,
    /// A controller has stopped working.
    ControllerStopped,
    /// A controller has stopped working while warm, and worked again once it had cooled.
    ControllerHot,
    /// The PCIe link to a controller.
    PcieLink,
    /// A USB bridge.
    UsbBridge,
    /// The 5 V of a USB host or hub.
    UsbPower,
    /// A part that several drives share: a card, its cable, a port multiplier or expander, their power supply.
    SharedPath,
    /// The fan or the airflow.
    Airflow,
    /// The airflow or the room: all fans are turning.
    AirBlocked,
    /// The airflow to one tray.
    TrayAir,
    /// The room is warmer.
    WarmRoom,
    /// One drive does not respond.
    DriveHangs,
    /// No drive of one controller responds.
    PathHangs,
    /// Something that came with another kernel.
    KernelUpdate,
    /// Memory, a card or the power supply: data is corrupted in transfer, and no drive is at fault.
    DataPath,
    /// A drive was slow to wake up.
    SlowToWake,
    /// The machine restarted by itself after losing power.
    RestartPower,
    /// The machine restarted by itself because of heat.
    RestartHeat,
    /// The machine restarted by itself, and the cause is not known.
    RestartUnexplained,
    /// A link lost while it saved power.
    LinkPowerSaving,
    /// The drive was taken out on purpose.
    TakenOut,
    /// A healthy drive was removed while another was missing, most likely by mistake.
    WrongTray,
    /// Not enough is known.
    Unknown,
    /// The condition has no other cause.
    SelfEvident,
}

impl Cause {
    /// False where the conditions themselves say all that there is to say.
    pub fn is_named(self) -> bool {
        !matches!(self, Self::Unknown | Self::SelfEvident)
    }

    /// All causes.
    pub const ALL: &[Self] = Self::VARIANTS;

    /// The name in logs, documents and commands. It never changes.
    pub fn id(self) -> &'static str {
        self.into()
    }

    /// True for what is worth no more than a notice, however bad its parts look.
    pub fn is_harmless(self) -> bool {
        matches!(self, Self::SlowToWake | Self::TakenOut)
    }
}

/// Confidence in a cause.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Confidence {
    /// One sign points to it.
    Possible,
    /// Two independent signs point to it.
    Likely,
    /// It was measured directly.
    Certain,
}

impl Confidence {
    /// In a word.
    pub fn word(self) -> &'static str {
        match self {
            Self::Possible => "possible",
            Self::Likely => "likely",
            Self::Certain => "certain",
        }
    }
}

/// What would help to decide and is not measured here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Unmeasured {
    /// No sensor is on the 12 V of the drives.
    TwelveVolts,
    /// Controllers have no thermometer.
    ControllerTemperature,
    /// Whether the drives lost power: their power-cycle counts were not read since.
    PowerCycles,
    /// No fan has a reliable tachometer.
    FanSpeed,
    /// The room's temperature.
    RoomTemperature,
    /// The kernel's log cannot be read.
    KernelLog,
    /// Errors on the PCIe link are not counted.
    BusErrors,
}
