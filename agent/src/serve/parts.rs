//! The parts of the document, and how readings become them.

use super::document::{Reasons, reason};
use crate::reading::{self, Reading, Snapshot};
use crate::verdict::{Estimate, Verdict};
use serde::{Deserialize, Serialize};

/// A time from now on, with its interval.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Span {
    /// The near end.
    pub soonest_s: u64,
    /// The best guess.
    pub middle_s: u64,
    /// The far end; `null` when nobody can say.
    pub latest_s: Option<u64>,
}

impl Span {
    /// Of an estimate.
    pub fn of(estimate: &Estimate) -> Self {
        Self {
            soonest_s: estimate.soonest.as_secs(),
            middle_s: estimate.middle.as_secs(),
            latest_s: estimate.latest.map(|latest| latest.as_secs()),
        }
    }
}

/// A fan channel.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Fan {
    /// Chip and channel.
    pub key: String,
    /// The driver's name for it.
    pub label: String,
    /// True once it was seen turning, or is named as steady.
    pub fitted: bool,
    /// Speed.
    pub speed_rpm: Option<u32>,
    /// Drive level, 0 to 1.
    pub duty_ratio: Option<f64>,
    /// The chip's own fault line.
    pub fault: bool,
    /// Why a value is `null`.
    pub missing: Reasons,
}

/// A temperature that belongs to no drive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Temperature {
    /// Chip and channel, or thermal zone.
    pub key: String,
    /// The driver's name for it.
    pub label: String,
    /// The value.
    pub temperature_c: Option<f64>,
    /// Where its maker or the firmware says that the end is.
    pub critical_c: Option<f64>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

/// A network port.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Link {
    /// The kernel's name.
    pub name: String,
    /// Switched on, and its partner is seen.
    pub up: Option<bool>,
    /// Negotiated speed in megabits per second.
    pub speed_mbps: Option<u32>,
    /// Data received per second.
    pub received_bytes_per_s: Option<f64>,
    /// Data sent per second.
    pub sent_bytes_per_s: Option<f64>,
    /// How often it came or went since its driver was loaded.
    pub changes: Option<u64>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

/// The machine itself.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Board {
    /// Host name.
    pub host: String,
    /// Model; empty when nobody says.
    pub model: String,
    /// Kernel release.
    pub kernel: String,
    /// Address.
    pub address: Option<String>,
    /// How long it is up.
    pub up_s: u64,
    /// Load average over one minute, in tasks.
    pub load_one_minute: Option<f64>,
    /// Processors.
    pub processors: Option<u32>,
    /// Memory fitted.
    pub memory_bytes: Option<u64>,
    /// Memory that could still be given out.
    pub memory_available_bytes: Option<u64>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

/// A value, with its reason noted under each of the keys when there is none.
pub(super) fn value<T, U>(
    reading: &Reading<T>,
    missing: &mut Reasons,
    keys: &[&str],
    of: impl Fn(&T) -> U,
) -> Option<U> {
    if let Err(why) = &reading.value {
        missing.extend(keys.iter().map(|&key| (key.to_owned(), reason(why))));
    }
    reading.get().map(of)
}

pub(super) fn fan(fan: &reading::Fan, fitted: bool) -> Fan {
    let mut missing = Reasons::new();
    if fan.duty.is_none() {
        missing.insert("duty_ratio".into(), "not fitted: the chip has no output of this number".into());
    }
    Fan {
        key: fan.key.clone(),
        label: fan.label.clone(),
        fitted,
        speed_rpm: value(&fan.speed, &mut missing, &["speed_rpm"], |speed| speed.0),
        duty_ratio: fan.duty,
        fault: fan.fault,
        missing,
    }
}

pub(super) fn temperature(sensor: &reading::Temperature) -> Temperature {
    let mut missing = Reasons::new();
    if sensor.critical.is_none() {
        missing.insert("critical_c".into(), "not fitted: it states no end".into());
    }
    Temperature {
        key: sensor.key.clone(),
        label: sensor.label.clone(),
        temperature_c: value(&sensor.value, &mut missing, &["temperature_c"], |celsius| celsius.0),
        critical_c: sensor.critical.map(|celsius| celsius.0),
        missing,
    }
}

pub(super) fn link(link: &reading::Link) -> Link {
    let mut missing = Reasons::new();
    let moved = value(&link.traffic, &mut missing, &["received_bytes_per_s", "sent_bytes_per_s"], |traffic| *traffic);
    if link.changes.is_none() {
        missing.insert("changes".into(), "not fitted: this kernel does not count them".into());
    }
    Link {
        name: link.name.clone(),
        up: value(&link.up, &mut missing, &["up"], |up| *up),
        speed_mbps: value(&link.speed, &mut missing, &["speed_mbps"], |speed| speed.0),
        received_bytes_per_s: moved.map(|traffic| traffic.inward.0),
        sent_bytes_per_s: moved.map(|traffic| traffic.outward.0),
        changes: link.changes,
        missing,
    }
}

pub(super) fn board(snapshot: &Snapshot) -> Board {
    let board = &snapshot.board;
    let mut missing = Reasons::new();
    let keys = ["load_one_minute", "processors", "memory_bytes", "memory_available_bytes"];
    let load = board.load.as_ref().and_then(|reading| value(reading, &mut missing, &keys, |load| *load));
    if board.address.is_none() {
        missing.insert("address".into(), "not fitted: no port has an address that others could reach".into());
    }
    Board {
        host: board.name.clone(),
        model: board.model.clone(),
        kernel: board.kernel.clone(),
        address: board.address.clone(),
        up_s: snapshot.taken.since_boot().as_secs(),
        load_one_minute: load.map(|load| load.one_minute),
        processors: load.map(|load| load.processors),
        memory_bytes: load.map(|load| load.memory.0),
        memory_available_bytes: load.map(|load| load.memory_available.0),
        missing,
    }
}

pub(super) fn tray(verdict: &Verdict, drive: &reading::Drive) -> Option<String> {
    verdict.drives.get(&drive.key)?.place.tray.clone()
}
