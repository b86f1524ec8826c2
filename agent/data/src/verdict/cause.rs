//! What several readings together point to, and how surely.

use serde::{Deserialize, Serialize};
use strum::{IntoStaticStr, VariantArray};

/// The causes that are told apart.
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
    /// One tray's connection, or its drive: nothing tells them apart yet.
    TrayConnection,
    /// The data cable of one tray.
    DataCable,
    /// The errors stayed with the port when drives changed places.
    PortOrCable,
    /// The errors moved with the drive when drives changed places.
    DriveConnector,
    /// The drive itself.
    DriveFails,
    /// A SATA or other controller stopped working.
    ControllerStopped,
    /// The same, and it was warm, and it worked again once it had cooled.
    ControllerHot,
    /// The PCIe link to a controller.
    Lane,
    /// A USB bridge.
    UsbBridge,
    /// The 5 V of a USB host or hub.
    UsbPower,
    /// What several drives share: a card, its ribbon, a multiplier or expander, their supply.
    SharedPath,
    /// The fan, or the way of the air.
    Airflow,
    /// The way of the air, or the room: all fans turn.
    AirBlocked,
    /// The air to one tray.
    TrayAir,
    /// The room is warmer.
    WarmRoom,
    /// One drive hangs.
    DriveHangs,
    /// All drives of one controller hang.
    PathHangs,
    /// Something that came with another kernel.
    KernelUpdate,
    /// Memory, a card or the supply: data changes on its way, and no drive is at fault.
    DataPath,
    /// A drive took its time to wake.
    SlowToWake,
    /// The machine started again by itself, for want of power.
    RestartPower,
    /// The same, from heat.
    RestartHeat,
    /// The same, and nothing says why.
    RestartUnclear,
    /// A link lost while it saved power.
    LinkPowerSaving,
    /// Its owner took the drive out.
    TakenOut,
    /// A good drive left while another was missing: a mistaken hand, most likely.
    WrongTray,
    /// Not enough is known.
    Unclear,
    /// Nothing lies behind it: the condition says it all.
    AsItSays,
}

impl Cause {
    /// False where the conditions themselves say all that there is to say.
    pub fn is_named(self) -> bool {
        !matches!(self, Self::Unclear | Self::AsItSays)
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

/// How surely a cause is named.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Confidence {
    /// One sign points there.
    Possible,
    /// Two signs that do not depend on each other point there.
    Likely,
    /// It was measured itself.
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
    /// Whether the drives lost power: they have not yet told how often they started since.
    PowerCycles,
    /// No fan has a tachometer that can be trusted.
    FanSpeed,
    /// The room's temperature.
    RoomTemperature,
    /// The kernel's log is not heard.
    KernelLog,
    /// Errors on the PCIe link are not counted.
    BusErrors,
}
