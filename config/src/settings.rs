//! The settings as the rest of the program sees them: typed, complete, with every default.
//!
//! Nothing here reads text: `settle.rs` does that. A number left plain has its unit in its name.
//!
//! Most limits are *starting values*: common practice, not a measurement of this box. Where a standard or a
//! datasheet stands behind a value, its documentation says so.

mod alerts;
mod glass;
mod pages;

pub use alerts::*;
pub use glass::*;
pub use pages::PageName;
use std::collections::{BTreeMap, BTreeSet};
use std::time::Duration;

/// Everything the configuration file can say. `Settings::default()` is what an empty file settles to.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Settings {
    /// The name shown on pages and in messages. `None` means the host name.
    pub box_name: Option<String>,
    /// The language of the panel, of messages and of `look`. Log lines and documents are always in English.
    pub language: Language,
    /// True when its owner has said that trays may be changed while the box is on. Trays, plugs and controller must be
    /// built for that, so nobody is told so by default.
    pub hot_swap: bool,
    /// The shelves, top shelf first. Empty until the owner has named the trays.
    pub shelves: Vec<Shelf>,
    /// The small screen on the front.
    pub panel: Panel,
    /// Buttons beside it.
    pub buttons: Vec<Button>,
    /// What to watch, and what to leave out.
    pub watch: Watch,
    /// When something is wrong, and when it is right again.
    pub limits: Limits,
    /// When drives test themselves.
    pub self_test: SelfTestSchedule,
    /// Alerts besides the log.
    pub alerts: Alerts,
    /// The keys whose values were written, such as `limits.drive.gone_hold`; all others have their defaults. A value that was
    /// written is its owner's, also when it equals the default.
    pub written: BTreeSet<String>,
}

/// A language that the program speaks to people.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub enum Language {
    /// English, `en` (ISO 639-1).
    #[default]
    English,
    /// German, `de`.
    German,
}

/// How often drives test themselves, in days that they are switched on. 0 is never, the default: a test is load and
/// heat, and its owner's to decide.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct SelfTestSchedule {
    /// The short test, some minutes.
    pub short_every_days: u32,
    /// The long test, hours: it reads the whole surface.
    pub long_every_days: u32,
}

/// One shelf of trays.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Shelf {
    /// The owner's name for it, such as "top".
    pub name: String,
    /// Left to right, as seen from the front.
    pub trays: Vec<Tray>,
}

/// One place for a drive.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Tray {
    /// What is written on the tray: one to four characters, unique in the box.
    pub label: String,
    /// What belongs in it. `None` is a tray that is meant to be empty.
    pub holds: Option<Holds>,
}

/// How the drive that belongs in a tray is recognised.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Holds {
    /// The drive with this serial number, wherever it is plugged in.
    Serial(String),
    /// Whatever drive is on this port, for bridges that hide or copy serial numbers.
    Port(String),
}

/// The small screen on the front.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Panel {
    /// The panels that there are; all show the same pages.
    pub glasses: Vec<Glass>,
    /// When panels are dim, and when they are dark but for a dot. Alerts light them up all the same.
    pub night: Night,
    /// How long one page stays, in seconds: 3 to 60.
    pub page_seconds: u32,
    /// Which pages take turns, in this order.
    pub pages: Vec<PageName>,
    /// Pages that stay for another time than the others, in seconds.
    pub own_seconds: BTreeMap<PageName, u32>,
}

impl Panel {
    /// How long a page stays.
    pub fn seconds_of(&self, page: PageName) -> u32 {
        self.own_seconds.get(&page).copied().unwrap_or(self.page_seconds)
    }
}

impl Default for Panel {
    fn default() -> Self {
        Panel {
            glasses: Vec::new(),
            night: Night::default(),
            page_seconds: 6,
            pages: PageName::ALL.to_vec(),
            own_seconds: BTreeMap::new(),
        }
    }
}

/// What to watch, and what to leave out.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Watch {
    /// Network ports, such as `eth0`. Empty means every hardware port that has ever had a carrier.
    pub links: Vec<String>,
    /// Mount points whose room is not judged.
    pub leave_out_volumes: Vec<String>,
    /// Fans, as `chip/fan1`, known to turn at all times: 0 rpm is believed from the first reading.
    pub steady_fans: Vec<String>,
}

/// When something is wrong, and when it is right again.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Limits {
    /// Temperature and presence of drives.
    pub drive: DriveLimits,
    /// Room on volumes.
    pub volume: VolumeLimits,
    /// Fans.
    pub fan: FanLimits,
    /// Network ports.
    pub link: LinkLimits,
    /// The processor.
    pub processor: ProcessorLimits,
    /// The supply.
    pub supply: SupplyLimits,
    /// Pools.
    pub pool: PoolLimits,
    /// How long parts may take to appear after a start.
    pub grace: Grace,
}

/// Limits for drives. All are starting values; a limit the drive itself states goes first.
#[derive(Debug, Clone, PartialEq)]
pub struct DriveLimits {
    /// A hard disk is warm enough to warn, in degrees Celsius.
    pub hdd_warning_c: f64,
    /// A hard disk is too hot, in degrees Celsius: just below the 60 that data sheets of common disks allow.
    pub hdd_critical_c: f64,
    /// A solid-state drive is warm enough to warn, in degrees Celsius.
    pub ssd_warning_c: f64,
    /// A solid-state drive is too hot, in degrees Celsius: most are rated for 70.
    pub ssd_critical_c: f64,
    /// How far below its limit a drive must cool before the condition clears, in degrees Celsius.
    pub clear_below_c: f64,
    /// How long a drive must be warm before the warning.
    pub warning_hold: Duration,
    /// How long a drive must be too hot before it is critical.
    pub critical_hold: Duration,
    /// How long a drive must be cool before the condition clears.
    pub clear_hold: Duration,
    /// How long a drive must be away before it counts as gone.
    pub gone_hold: Duration,
    /// How long a drive must be present again before it counts as back.
    pub back_hold: Duration,
}

impl Default for DriveLimits {
    fn default() -> Self {
        DriveLimits {
            hdd_warning_c: 50.0,
            hdd_critical_c: 58.0,
            ssd_warning_c: 65.0,
            ssd_critical_c: 72.0,
            clear_below_c: 4.0,
            warning_hold: minutes(5),
            critical_hold: minutes(1),
            clear_hold: minutes(10),
            gone_hold: seconds(10),
            back_hold: seconds(60),
        }
    }
}

/// Limits for room on volumes. All are starting values.
#[derive(Debug, Clone, PartialEq)]
pub struct VolumeLimits {
    /// Warn when a data volume has less than this share free, in percent...
    pub data_warning_percent: f64,
    /// ...and less than this, in GiB, so that a large volume does not warn with plenty left.
    pub data_warning_below_gib: u64,
    /// Critical when a data volume has less than this share free, in percent...
    pub data_critical_percent: f64,
    /// ...and less than this, in GiB.
    pub data_critical_below_gib: u64,
    /// Critical below this whatever the share, in GiB.
    pub data_floor_gib: u64,
    /// Warn when the root volume has less than this share free, in percent.
    pub root_warning_percent: f64,
    /// Critical when the root volume has less than this share free, in percent.
    pub root_critical_percent: f64,
    /// Critical below this whatever the share, in MiB.
    pub root_floor_mib: u64,
    /// How much better than its limit the share must be before the condition clears, in percentage points.
    pub clear_percent: f64,
    /// How long room must be short before it is said.
    pub hold: Duration,
    /// How long room must be back before the condition clears.
    pub clear_hold: Duration,
}

impl Default for VolumeLimits {
    fn default() -> Self {
        VolumeLimits {
            data_warning_percent: 10.0,
            data_warning_below_gib: 100,
            data_critical_percent: 3.0,
            data_critical_below_gib: 30,
            data_floor_gib: 1,
            root_warning_percent: 15.0,
            root_critical_percent: 5.0,
            root_floor_mib: 300,
            clear_percent: 2.0,
            hold: minutes(5),
            clear_hold: minutes(10),
        }
    }
}

/// Limits for fans. All are starting values.
#[derive(Debug, Clone, PartialEq)]
pub struct FanLimits {
    /// A stopped fan counts as turning again above this speed, in rpm.
    pub turning_again_rpm: u32,
    /// How long a fan must stand still before it is said.
    pub stopped_hold: Duration,
    /// How long it must turn before the condition clears.
    pub clear_hold: Duration,
    /// A fan is weak below this share of the speed that it used to have at the same drive level, in percent.
    pub weak_percent: f64,
    /// How long a fan must be weak before it is said.
    pub weak_hold: Duration,
}

impl Default for FanLimits {
    fn default() -> Self {
        FanLimits {
            turning_again_rpm: 300,
            stopped_hold: seconds(15),
            clear_hold: seconds(30),
            weak_percent: 60.0,
            weak_hold: minutes(2),
        }
    }
}

/// Limits for network ports. All are starting values.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LinkLimits {
    /// How long a port must be down before it is said.
    pub down_hold: Duration,
    /// How long a port must be slower than usual before it is said.
    pub slower_hold: Duration,
    /// How long a port must be good before the condition clears.
    pub clear_hold: Duration,
    /// This many changes within `flap_window` count as flapping.
    pub flaps: u32,
    /// The time over which changes are counted: at least one minute.
    pub flap_window: Duration,
}

impl Default for LinkLimits {
    fn default() -> Self {
        LinkLimits {
            down_hold: seconds(60),
            slower_hold: minutes(5),
            clear_hold: minutes(5),
            flaps: 4,
            flap_window: minutes(10),
        }
    }
}

/// Limits for the processor. All are starting values; an x86 processor that states its own critical temperature goes by
/// that: it warns 10 degrees below it and is critical 3 degrees below it.
#[derive(Debug, Clone, PartialEq)]
pub struct ProcessorLimits {
    /// The processor is hot enough to warn, in degrees Celsius: where common single-board computers slow down.
    pub warning_c: f64,
    /// The processor is too hot, in degrees Celsius.
    pub critical_c: f64,
    /// How far below the warning it must cool before the condition clears, in degrees Celsius.
    pub clear_below_c: f64,
    /// How long it must be hot, or slow itself down, before the warning.
    pub warning_hold: Duration,
    /// How long it must be too hot before it is critical.
    pub critical_hold: Duration,
    /// How long it must be cool before the condition clears.
    pub clear_hold: Duration,
}

impl Default for ProcessorLimits {
    fn default() -> Self {
        ProcessorLimits {
            warning_c: 80.0,
            critical_c: 85.0,
            clear_below_c: 5.0,
            warning_hold: minutes(2),
            critical_hold: seconds(30),
            clear_hold: minutes(5),
        }
    }
}

/// Limits for rails of the supply that a sensor is labelled for.
#[derive(Debug, Clone, PartialEq)]
pub struct SupplyLimits {
    /// Warn when a rail is off by more than this share of what it should be, in percent: what drives allow.
    pub warning_percent: f64,
    /// Critical when the 12 V rail is off by more than this, in percent.
    pub twelve_volt_critical_percent: f64,
}

impl Default for SupplyLimits {
    fn default() -> Self {
        SupplyLimits { warning_percent: 5.0, twelve_volt_critical_percent: 10.0 }
    }
}

/// Limits for pools. All are starting values.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PoolLimits {
    /// How long a pool must be down before it is said.
    pub down_hold: Duration,
    /// How long a pool must be whole and idle before "degraded" clears.
    pub whole_hold: Duration,
    /// How long a pool must be up before "down" clears.
    pub up_hold: Duration,
}

impl Default for PoolLimits {
    fn default() -> Self {
        PoolLimits { down_hold: seconds(10), whole_hold: seconds(60), up_hold: seconds(60) }
    }
}

/// How long parts may take to appear after the box has started, before their absence is judged.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Grace {
    /// For drives: staggered spin-up takes its time.
    pub drives: Duration,
    /// For pools and volumes.
    pub pools: Duration,
}

impl Default for Grace {
    fn default() -> Self {
        Grace { drives: seconds(90), pools: seconds(120) }
    }
}

const fn seconds(n: u64) -> Duration {
    Duration::from_secs(n)
}

const fn minutes(n: u64) -> Duration {
    Duration::from_secs(60 * n)
}
