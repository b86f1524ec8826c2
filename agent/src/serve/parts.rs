//! Small parts of the document: fans, temperatures, network ports, the machine itself.

use super::part::part;
use crate::reading::{self, Snapshot, WhyMissing};
use crate::verdict::{Estimate, Verdict};
use serde::{Deserialize, Serialize};

/// A time from now, with an 80 % interval.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Span {
    /// Lower end.
    pub soonest_s: u64,
    /// Best estimate.
    pub middle_s: u64,
    /// Upper end; `null` when there is none.
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

part! {
    /// A fan channel.
    pub struct Fan of (fan: &reading::Fan, fitted: bool) {
        /// Chip and channel.
        key: is String = fan.key.clone();
        /// Its name from the driver.
        label: is String = fan.label.clone();
        /// True once it was seen turning, or is listed in `always_on_fans`.
        fitted: is bool = fitted;
        /// Speed.
        speed_rpm: known u32 = fan.speed.value.as_ref().map(|speed| speed.0);
        /// PWM level, 0 to 1.
        duty_ratio: known f64 = fan.duty.ok_or(WhyMissing::NoOutput);
        /// True while the chip reports a fault.
        fault: is bool = fan.fault;
    }
}

part! {
    /// A temperature that belongs to no drive.
    pub struct Temperature of (sensor: &reading::Temperature) {
        /// Chip and channel, or thermal zone.
        key: is String = sensor.key.clone();
        /// Its name from the driver.
        label: is String = sensor.label.clone();
        /// The value.
        temperature_c: known f64 = sensor.value.value.as_ref().map(|celsius| celsius.0);
        /// Critical temperature by the maker or the firmware.
        critical_c: known f64 = sensor.critical.map(|celsius| celsius.0).ok_or(WhyMissing::NoCriticalTemperature);
    }
}

part! {
    /// A network port.
    pub struct Link of (link: &reading::Link) where {
        let traffic = link.traffic.value.as_ref();
    } {
        /// The kernel's name.
        name: is String = link.name.clone();
        /// True while it is enabled and has a carrier.
        up: known bool = link.up.value.as_ref().copied();
        /// Negotiated speed in megabits per second.
        speed_mbit_per_s: known u32 = link.speed.value.as_ref().map(|speed| speed.0);
        /// Receive rate.
        received_bytes_per_s: known f64 = traffic.map(|traffic| traffic.inward.0);
        /// Send rate.
        sent_bytes_per_s: known f64 = traffic.map(|traffic| traffic.outward.0);
        /// Carrier changes since the driver was loaded.
        changes: known u64 = link.changes.ok_or(WhyMissing::NotReported);
    }
}

part! {
    /// The machine itself.
    pub struct Board of (snapshot: &Snapshot) where {
        let board = &snapshot.board;
        let load = board.load.as_ref().map(|load| load.value.as_ref()).transpose();
    } {
        /// Host name.
        host: is String = board.name.clone();
        /// Model; empty when unknown.
        model: is String = board.model.clone();
        /// Kernel release.
        kernel: is String = board.kernel.clone();
        /// IP address.
        address: known String = match board.is_recorded {
            true => Err(WhyMissing::NotRecorded),
            false => board.address.clone().ok_or(WhyMissing::NoAddress),
        };
        /// Uptime.
        up_s: known u64 = match board.is_recorded {
            true => Err(WhyMissing::NotRecorded),
            false => Ok(snapshot.taken.since_boot().as_secs()),
        };
        /// Load average over one minute, in tasks.
        load_one_minute: maybe f64 = load.map(|load| Some(load?.one_minute));
        /// Processors.
        processors: maybe u32 = load.map(|load| Some(load?.processors));
        /// Memory installed.
        memory_bytes: maybe u64 = load.map(|load| Some(load?.memory.0));
        /// Memory available.
        memory_available_bytes: maybe u64 = load.map(|load| Some(load?.memory_available.0));
    }
}

pub(super) fn tray(verdict: &Verdict, drive: &reading::Drive) -> Option<String> {
    verdict.drives.get(&drive.key)?.place.tray.clone()
}
