//! What judge hands on: what holds, how bad it is, and whether the box is still heard from. Typed facts, no words for
//! people: those are in `tell/wording.rs`.

use crate::clock::Moment;
use crate::reading::{ActivityKind, DriveKey};
use crate::units::{Bytes, Celsius, MegabitsPerSecond, Percent, Rpm};
use serde::{Deserialize, Serialize};
use std::fmt;
use std::time::Duration;

/// The box as judged at one moment.
#[derive(Debug, Clone, PartialEq)]
pub struct Verdict {
    /// When it was judged.
    pub at: Moment,
    /// Whether the box is still heard from: a separate fact from how bad it is.
    pub heard: Heard,
    /// What holds, worst first, then oldest first.
    pub conditions: Vec<Condition>,
    /// The shelves as they stand, top first; drives without a named tray are on a last shelf without a name.
    pub shelves: Vec<Shelf>,
    /// Fans that are known to turn or to have turned, by key; other channels have no fan.
    pub fans: Vec<String>,
    /// What is worth one line and is no condition.
    pub remarks: Vec<Remark>,
}

impl Verdict {
    /// The worst of what holds.
    pub fn worst(&self) -> Option<Severity> {
        self.conditions.iter().map(|condition| condition.severity).max()
    }

    /// True only when nothing worse than a notice holds and everything is fresh: the one state that may be called fine.
    pub fn is_fine(&self) -> bool {
        self.heard == Heard::Fresh && self.worst() < Some(Severity::Warning)
    }
}

/// Something worth one line that is no condition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Remark {
    /// A counter of a drive fell: it counts from a new baseline.
    NewBaseline {
        /// Whose.
        drive: Place,
        /// Which.
        counter: String,
        /// What it said before.
        before: i64,
        /// What it says now.
        now: i64,
    },
}

/// Whether the box is heard from.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Heard {
    /// Nothing was read yet.
    NotYet,
    /// All readings are as fresh as they should be.
    Fresh,
    /// Some of the box could not be looked at; what, in words.
    InPart(Vec<String>),
    /// Nothing was heard since.
    SilentSince(Moment),
}

/// How bad a condition is.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum Severity {
    /// Worth knowing, nothing to do.
    Notice,
    /// To be looked at soon.
    Warning,
    /// To be looked at now.
    Critical,
}

impl fmt::Display for Severity {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Notice => "notice",
            Self::Warning => "warning",
            Self::Critical => "critical",
        })
    }
}

/// The kinds of condition.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Kind {
    /// An expected drive is not there.
    DriveGone,
    /// A drive is warmer than it should be.
    DriveHot,
    /// A pool has lost members.
    PoolDegraded,
    /// A pool does not serve its data.
    PoolDown,
    /// A pool rebuilds, checks or changes.
    PoolBusy,
    /// A volume is nearly full.
    SpaceLow,
    /// A fan that should turn does not.
    FanStopped,
    /// A network port is down, slow or unsteady.
    LinkTrouble,
    /// A drive predicts that it will fail.
    DriveSaysFailing,
    /// A drive has places that it cannot read.
    PendingOrUncorrectable,
    /// A drive replaces more and more bad places.
    ReallocatedGrowth,
    /// Transfers to a drive are damaged on their way.
    SataCrcGrowth,
    /// A drive lost its power while the board did not.
    DriveLostPower,
    /// A flash drive nears the end of its writes.
    SsdWorn,
    /// A drive has work and finishes none.
    DriveNotAnswering,
    /// A drive comes and goes.
    DriveFlapping,
    /// A drive is warmer than the others of its kind.
    DriveHotterThanPeers,
    /// Several drives get warm together, and fast.
    DrivesHeatingTogether,
    /// A drive is too cold.
    DriveCold,
    /// A drive that told its temperature tells it no more.
    TemperatureLost,
}

impl Kind {
    /// All kinds.
    pub const ALL: [Self; 20] = [
        Self::DriveGone,
        Self::DriveHot,
        Self::PoolDegraded,
        Self::PoolDown,
        Self::PoolBusy,
        Self::SpaceLow,
        Self::FanStopped,
        Self::LinkTrouble,
        Self::DriveSaysFailing,
        Self::PendingOrUncorrectable,
        Self::ReallocatedGrowth,
        Self::SataCrcGrowth,
        Self::DriveLostPower,
        Self::SsdWorn,
        Self::DriveNotAnswering,
        Self::DriveFlapping,
        Self::DriveHotterThanPeers,
        Self::DrivesHeatingTogether,
        Self::DriveCold,
        Self::TemperatureLost,
    ];

    /// The kind's name in logs and documents. It never changes.
    pub fn id(self) -> &'static str {
        match self {
            Self::DriveGone => "drive-gone",
            Self::DriveHot => "drive-hot",
            Self::PoolDegraded => "pool-degraded",
            Self::PoolDown => "pool-down",
            Self::PoolBusy => "pool-busy",
            Self::SpaceLow => "space-low",
            Self::FanStopped => "fan-stopped",
            Self::LinkTrouble => "link-trouble",
            Self::DriveSaysFailing => "drive-says-failing",
            Self::PendingOrUncorrectable => "pending-or-uncorrectable",
            Self::ReallocatedGrowth => "reallocated-growth",
            Self::SataCrcGrowth => "sata-crc-growth",
            Self::DriveLostPower => "drive-lost-power",
            Self::SsdWorn => "ssd-worn",
            Self::DriveNotAnswering => "drive-not-answering",
            Self::DriveFlapping => "drive-flapping",
            Self::DriveHotterThanPeers => "drive-hotter-than-peers",
            Self::DrivesHeatingTogether => "drives-heating-together",
            Self::DriveCold => "drive-cold",
            Self::TemperatureLost => "temperature-lost",
        }
    }
}

/// What a condition is about. Two parts of the box never share one.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
pub enum Subject {
    /// A drive, by its key.
    Drive(DriveKey),
    /// A pool, by its key.
    Pool(String),
    /// A volume, by its mount point.
    Volume(String),
    /// A fan, by its key.
    Fan(String),
    /// A network port and which side of it: `down`, `slow` or `unsteady`.
    Link(String, &'static str),
    /// All drives together.
    AllDrives,
}

impl fmt::Display for Subject {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        match self {
            Self::Drive(key) => write!(f, "drive {}", key.0),
            Self::Pool(key) => write!(f, "pool {key}"),
            Self::Volume(mount) => write!(f, "volume {mount}"),
            Self::Fan(key) => write!(f, "fan {key}"),
            Self::Link(name, side) => write!(f, "link {name} {side}"),
            Self::AllDrives => f.write_str("all drives"),
        }
    }
}

/// Something judged to hold.
#[derive(Debug, Clone, PartialEq)]
pub struct Condition {
    /// What is about.
    pub subject: Subject,
    /// How bad it is.
    pub severity: Severity,
    /// Since when it holds.
    pub since: Moment,
    /// The facts.
    pub finding: Finding,
}

impl Condition {
    /// The kind of condition.
    pub fn kind(&self) -> Kind {
        self.finding.kind()
    }
}

/// The facts of a condition, by kind.
#[derive(Debug, Clone, PartialEq)]
pub enum Finding {
    /// An expected drive is not there.
    DriveGone {
        /// Which.
        drive: Place,
        /// The pool that needs it, if one does.
        pool: Option<String>,
        /// Labels of the drives that the pool cannot lose as well; empty when it could lose another.
        leave_in: Vec<String>,
    },
    /// A drive is warmer than it should be.
    DriveHot {
        /// Which.
        drive: Place,
        /// How warm.
        now: Celsius,
        /// The limit that was passed.
        limit: Celsius,
        /// True when the limit comes from the drive itself.
        own_limit: bool,
        /// The coolest and warmest of the other drives of its kind, if there are any.
        others: Option<(Celsius, Celsius)>,
    },
    /// A pool has lost members.
    PoolDegraded {
        /// The pool's name.
        pool: String,
        /// Its layout.
        level: String,
        /// How many members are missing.
        missing: u32,
        /// How many a whole pool has.
        of: u32,
        /// How many more it can lose for certain.
        spare: u32,
        /// Where the missing members are or were, as far as known.
        lost: Vec<Place>,
        /// Labels of the drives that must stay in.
        leave_in: Vec<String>,
        /// A member is being filled.
        rebuilding: bool,
    },
    /// A pool does not serve its data.
    PoolDown {
        /// The pool's name.
        pool: String,
        /// Why.
        why: Down,
        /// How many of its members are there.
        present: u32,
        /// How many a whole pool has; 0 when the kernel does not say.
        of: u32,
    },
    /// A pool rebuilds, checks or changes.
    PoolBusy {
        /// The pool's name.
        pool: String,
        /// With what.
        activity: ActivityKind,
        /// How far.
        done: Option<Percent>,
        /// How long at the present speed.
        left: Option<Duration>,
    },
    /// A volume is nearly full.
    SpaceLow {
        /// Where it is mounted.
        mount: String,
        /// Room left.
        free: Bytes,
        /// Room in all.
        size: Bytes,
        /// The same as a share.
        share: Percent,
        /// The limits that were passed.
        limit: SpaceLimit,
    },
    /// A fan that should turn does not.
    FanStopped {
        /// What the driver calls it.
        fan: String,
        /// What the tachometer says.
        speed: Option<Rpm>,
        /// True when the chip's own fault line says so.
        by_fault_line: bool,
        /// True when drives are too warm as well.
        with_heat: bool,
    },
    /// A network port is down, slow or unsteady.
    LinkTrouble {
        /// The port.
        link: String,
        /// What is wrong.
        what: LinkFault,
    },
    /// A drive predicts that it will fail.
    DriveSaysFailing {
        /// Which.
        drive: Place,
    },
    /// A counter of a drive grew, or stands where it should not.
    Counted {
        /// Which.
        drive: Place,
        /// What was counted.
        what: Counted,
        /// What it says now.
        total: i64,
        /// How much it grew, and within which span of watched time.
        grown: i64,
        /// The span.
        within: Duration,
    },
    /// A flash drive nears the end of its writes.
    SsdWorn {
        /// Which.
        drive: Place,
        /// How much of its life is used, by its maker's reckoning; may pass 100.
        used: Percent,
    },
    /// A drive has work and finishes none.
    DriveNotAnswering {
        /// Which.
        drive: Place,
        /// For how long.
        stalled: Duration,
    },
    /// A drive comes and goes.
    DriveFlapping {
        /// Which.
        drive: Place,
        /// How often it was lost.
        losses: u32,
        /// Within which span.
        within: Duration,
    },
    /// A drive is warmer than the others of its kind.
    DriveHotterThanPeers {
        /// Which.
        drive: Place,
        /// How warm.
        now: Celsius,
        /// The middle of the others.
        median: Celsius,
    },
    /// Several drives get warm together, and fast.
    DrivesHeatingTogether {
        /// Which.
        drives: Vec<Place>,
        /// The least rise among them, in degrees within ten minutes.
        rise: f64,
    },
    /// A drive is too cold.
    DriveCold {
        /// Which.
        drive: Place,
        /// How cold.
        now: Celsius,
    },
    /// A drive that told its temperature tells it no more.
    TemperatureLost {
        /// Which.
        drive: Place,
        /// Why.
        why: String,
        /// True when no drive tells it any more.
        all: bool,
    },
}

impl Finding {
    /// The kind of condition these facts belong to.
    pub fn kind(&self) -> Kind {
        match self {
            Self::DriveGone { .. } => Kind::DriveGone,
            Self::DriveHot { .. } => Kind::DriveHot,
            Self::PoolDegraded { .. } => Kind::PoolDegraded,
            Self::PoolDown { .. } => Kind::PoolDown,
            Self::PoolBusy { .. } => Kind::PoolBusy,
            Self::SpaceLow { .. } => Kind::SpaceLow,
            Self::FanStopped { .. } => Kind::FanStopped,
            Self::LinkTrouble { .. } => Kind::LinkTrouble,
            Self::DriveSaysFailing { .. } => Kind::DriveSaysFailing,
            Self::Counted { what, .. } => what.kind(),
            Self::SsdWorn { .. } => Kind::SsdWorn,
            Self::DriveNotAnswering { .. } => Kind::DriveNotAnswering,
            Self::DriveFlapping { .. } => Kind::DriveFlapping,
            Self::DriveHotterThanPeers { .. } => Kind::DriveHotterThanPeers,
            Self::DrivesHeatingTogether { .. } => Kind::DrivesHeatingTogether,
            Self::DriveCold { .. } => Kind::DriveCold,
            Self::TemperatureLost { .. } => Kind::TemperatureLost,
        }
    }
}

impl Finding {
    /// The drive that these facts are about, if they are about one.
    pub fn drive(&self) -> Option<&Place> {
        match self {
            Self::DriveGone { drive, .. }
            | Self::DriveHot { drive, .. }
            | Self::DriveSaysFailing { drive }
            | Self::Counted { drive, .. }
            | Self::SsdWorn { drive, .. }
            | Self::DriveNotAnswering { drive, .. }
            | Self::DriveFlapping { drive, .. }
            | Self::DriveHotterThanPeers { drive, .. }
            | Self::DriveCold { drive, .. }
            | Self::TemperatureLost { drive, .. } => Some(drive),
            Self::PoolDegraded { .. }
            | Self::PoolDown { .. }
            | Self::PoolBusy { .. }
            | Self::SpaceLow { .. }
            | Self::FanStopped { .. }
            | Self::LinkTrouble { .. }
            | Self::DrivesHeatingTogether { .. } => None,
        }
    }
}

/// What of a drive was counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Counted {
    /// Places it cannot read, now or at all.
    Unreadable,
    /// Bad places it has replaced.
    Reallocated,
    /// Transfers that were damaged on their way.
    CrcErrors,
    /// Starts of the drive.
    PowerCycles,
}

impl Counted {
    /// The kind of condition that it belongs to.
    pub fn kind(self) -> Kind {
        match self {
            Self::Unreadable => Kind::PendingOrUncorrectable,
            Self::Reallocated => Kind::ReallocatedGrowth,
            Self::CrcErrors => Kind::SataCrcGrowth,
            Self::PowerCycles => Kind::DriveLostPower,
        }
    }
}

/// Why a pool does not serve.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Down {
    /// It was not started.
    Inactive,
    /// It lost more members than its layout survives.
    TooManyLost,
    /// It was there and is not any more.
    Absent,
}

/// Which limits of room were passed: below the share and, if one is set, below the amount as well.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct SpaceLimit {
    /// Share of the volume.
    pub share: Percent,
    /// Amount of room.
    pub amount: Option<Bytes>,
}

/// What is wrong with a network port.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum LinkFault {
    /// No partner, or switched off.
    Down,
    /// Slower than it was.
    Slow {
        /// Speed now.
        now: MegabitsPerSecond,
        /// Best speed seen for an hour or more.
        usual: MegabitsPerSecond,
    },
    /// Comes and goes.
    Unsteady {
        /// Changes within the window.
        changes: u64,
        /// The window.
        within: Duration,
    },
}

/// Where a drive sits, as its owner would point at it.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Hash)]
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

/// A shelf as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Shelf {
    /// The owner's name for it; empty for the drives without a named tray.
    pub name: String,
    /// Its trays, left to right.
    pub trays: Vec<Tray>,
}

/// A tray as it stands.
#[derive(Debug, Clone, PartialEq)]
pub struct Tray {
    /// Label, at most four characters.
    pub label: String,
    /// The drive that is or was in it.
    pub drive: Option<DriveKey>,
    /// What to show of it.
    pub state: TrayState,
    /// The worst that holds for its drive.
    pub severity: Option<Severity>,
}

/// What to show of a tray.
#[derive(Debug, Clone, Copy, PartialEq)]
pub enum TrayState {
    /// No drive was expected and none is there.
    Empty,
    /// Its drive is gone.
    Gone,
    /// The pool has thrown the drive out.
    Bad,
    /// The pool is filling the drive.
    Rebuilding,
    /// A healthy drive asleep.
    Asleep,
    /// A drive with a temperature.
    Warm(Celsius),
    /// A drive whose temperature is missing.
    NoReading,
}

/// What is new since the judging before. Only this is told.
#[derive(Debug, Clone, PartialEq)]
pub enum Change {
    /// A condition begins to hold.
    Opened(Condition),
    /// It got worse.
    Worsened(Condition),
    /// It got better but still holds.
    Eased(Condition),
    /// It holds no longer.
    Closed {
        /// The condition as it last was.
        condition: Condition,
        /// How long it held.
        lasted: Duration,
    },
}

impl Change {
    /// The condition that changed.
    pub fn condition(&self) -> &Condition {
        match self {
            Self::Opened(condition) | Self::Worsened(condition) | Self::Eased(condition) => condition,
            Self::Closed { condition, .. } => condition,
        }
    }
}
