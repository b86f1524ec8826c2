//! A drive in the document, and how a reading becomes one.

use super::document::{Reasons, reason};
use super::parts::{tray, value};
use crate::reading::{self, Bus, DriveKind, Health, Power, Reason, SelfAssessment, SelfTest, Snapshot};
use crate::verdict;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use traylight_config::Settings;

/// A physical drive.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Drive {
    /// The label of its tray, if the configuration names one.
    pub tray: Option<String>,
    /// The kernel's name now; it moves between boots.
    pub device: String,
    /// Serial.
    pub serial: Option<String>,
    /// World wide name.
    pub wwn: Option<String>,
    /// Model.
    pub model: Option<String>,
    /// How it is attached.
    pub bus: Bus,
    /// What turns inside.
    pub kind: DriveKind,
    /// Where it is plugged.
    pub port: Option<String>,
    /// Whether it sleeps.
    pub power: Option<Power>,
    /// Capacity.
    pub size_bytes: Option<u64>,
    /// Temperature.
    pub temperature_c: Option<f64>,
    /// How old the temperature is.
    pub temperature_age_s: Option<u64>,
    /// Where the temperature is heading, should nothing change.
    pub outlook: Option<Outlook>,
    /// Data read from it per second.
    pub read_bytes_per_s: Option<f64>,
    /// Data written to it per second.
    pub written_bytes_per_s: Option<f64>,
    /// What the drive thinks of itself.
    pub assessment: Option<SelfAssessment>,
    /// What it counts, by name; names end in their unit.
    pub counters: Option<BTreeMap<String, i64>>,
    /// Its newest self-test, or the one that runs.
    pub self_test: Option<SelfTest>,
    /// When it told of its health.
    pub health_age_s: Option<u64>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

/// Where a drive's temperature is heading. Low and high are the ends of an interval of 80 %.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Outlook {
    /// Where it settles.
    pub heading_c: Option<f64>,
    /// Low end.
    pub heading_low_c: Option<f64>,
    /// High end.
    pub heading_high_c: Option<f64>,
    /// The limit in question: the next one above the temperature, or the last.
    pub limit_c: f64,
    /// How long until the limit is reached.
    pub in_s: Option<u64>,
    /// At the earliest.
    pub in_low_s: Option<u64>,
    /// At the latest.
    pub in_high_s: Option<u64>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

fn outlook(outlook: &verdict::Outlook) -> Outlook {
    let mut missing = Reasons::new();
    let mut explain = |keys: &[&str], why: &str| missing.extend(keys.iter().map(|&key| (key.into(), why.to_owned())));
    if outlook.heading.is_none() {
        let why = "its readings leave open where it settles";
        explain(&["heading_c", "heading_low_c", "heading_high_c"], why);
    }
    match outlook.reaches {
        None => explain(&["in_s", "in_low_s", "in_high_s"], "it is not on its way to the limit within an hour"),
        Some(reaches) if reaches.latest.is_none() => {
            explain(&["in_high_s"], "the low end stays below the limit for an hour")
        }
        Some(_) => {}
    }
    let heading =
        |end: fn(&verdict::Interval) -> f64| outlook.heading.as_ref().map(|of| (end(of) * 10.0).round() / 10.0);
    let (heading_c, reaches) = (heading(|of| of.middle), outlook.reaches);
    Outlook {
        heading_c,
        heading_low_c: heading(|of| of.low),
        heading_high_c: heading(|of| of.high),
        limit_c: outlook.limit.0,
        in_s: reaches.map(|reaches| reaches.middle.as_secs()),
        in_low_s: reaches.map(|reaches| reaches.earliest.as_secs()),
        in_high_s: reaches.and_then(|reaches| Some(reaches.latest?.as_secs())),
        missing,
    }
}

/// Why there is no outlook: no temperature, or no curve to tell it from.
fn no_outlook(drive: &reading::Drive) -> String {
    match (drive.power.get(), drive.temperature.missing()) {
        (Some(Power::Asleep), _) => Reason::Asleep.words().to_owned(),
        (_, Some(why)) => reason(why),
        (_, None) => "too few readings since it woke, or since its course last changed".to_owned(),
    }
}

pub(super) fn drive(
    settings: &Settings,
    verdict: &verdict::Verdict,
    snapshot: &Snapshot,
    drive: &reading::Drive,
) -> Drive {
    let mut missing = Reasons::new();
    let moved = value(&drive.traffic, &mut missing, &["read_bytes_per_s", "written_bytes_per_s"], |traffic| *traffic);
    let temperature =
        value(&drive.temperature, &mut missing, &["temperature_c", "temperature_age_s"], |celsius| celsius.0);
    let power = value(&drive.power, &mut missing, &["power"], |power| *power);
    let health =
        value(&drive.health, &mut missing, &["assessment", "counters", "self_test", "health_age_s"], Clone::clone);
    let (assessment, self_test) = match &health {
        Some(health) => {
            missing.extend(health.assessment.as_ref().err().map(|why| ("assessment".to_owned(), reason(why))));
            missing.extend(health.self_test.as_ref().err().map(|why| ("self_test".to_owned(), reason(why))));
            (health.assessment.as_ref().ok().copied(), health.self_test.as_ref().ok().copied())
        }
        None => (None, None),
    };
    let counted =
        |health: &Health| health.counters.iter().map(|counter| (counter.name.clone(), counter.value)).collect();
    for (key, absent) in
        [("serial", drive.serial.is_none()), ("wwn", drive.wwn.is_none()), ("model", drive.model.is_none())]
    {
        if absent {
            missing.insert(key.into(), "not fitted: neither the kernel nor udev knows one".into());
        }
    }
    let outlook = verdict.outlooks.get(&drive.key).map(outlook);
    if outlook.is_none() {
        missing.insert("outlook".into(), no_outlook(drive));
    }
    Drive {
        tray: tray(settings, drive),
        device: drive.device.clone(),
        serial: drive.serial.clone(),
        wwn: drive.wwn.clone(),
        model: drive.model.clone(),
        bus: drive.bus,
        kind: drive.kind,
        port: drive.port.clone(),
        power,
        size_bytes: value(&drive.size, &mut missing, &["size_bytes"], |bytes| bytes.0),
        temperature_c: temperature,
        temperature_age_s: temperature.map(|_| snapshot.taken.since(drive.temperature.taken).as_secs()),
        outlook,
        read_bytes_per_s: moved.map(|traffic| traffic.inward.0),
        written_bytes_per_s: moved.map(|traffic| traffic.outward.0),
        assessment,
        counters: health.as_ref().map(counted),
        self_test,
        health_age_s: health.map(|_| snapshot.taken.since(drive.health.taken).as_secs()),
        missing,
    }
}
