//! A drive in the document, and how a reading becomes one.

use super::document::{Reasons, reason};
use super::parts::{tray, value};
use crate::reading::{self, Bus, DriveKind, Health, PastTest, Power, SelfAssessment, SelfTest, Snapshot};
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
    /// How old that is.
    pub self_test_age_s: Option<u64>,
    /// What is worth knowing of the self-tests on its record, the newest first.
    pub past_self_tests: Option<Vec<PastTest>>,
    /// When it told of its health.
    pub health_age_s: Option<u64>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

pub(super) fn drive(settings: &Settings, snapshot: &Snapshot, drive: &reading::Drive) -> Drive {
    let mut missing = Reasons::new();
    let moved = value(&drive.traffic, &mut missing, &["read_bytes_per_s", "written_bytes_per_s"], |traffic| *traffic);
    let temperature =
        value(&drive.temperature, &mut missing, &["temperature_c", "temperature_age_s"], |celsius| celsius.0);
    let power = value(&drive.power, &mut missing, &["power"], |power| *power);
    let health = value(&drive.health, &mut missing, &["assessment", "counters", "health_age_s"], Clone::clone);
    let assessment = health.as_ref().and_then(|health| {
        missing.extend(health.assessment.as_ref().err().map(|why| ("assessment".to_owned(), reason(why))));
        health.assessment.as_ref().ok().copied()
    });
    let of_self_tests = ["self_test", "self_test_age_s", "past_self_tests"];
    let self_tests = value(&drive.self_tests, &mut missing, &of_self_tests, Clone::clone);
    let counted =
        |health: &Health| health.counters.iter().map(|counter| (counter.name.clone(), counter.value)).collect();
    for (key, absent) in
        [("serial", drive.serial.is_none()), ("wwn", drive.wwn.is_none()), ("model", drive.model.is_none())]
    {
        if absent {
            missing.insert(key.into(), "not fitted: neither the kernel nor udev knows one".into());
        }
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
        read_bytes_per_s: moved.map(|traffic| traffic.inward.0),
        written_bytes_per_s: moved.map(|traffic| traffic.outward.0),
        assessment,
        counters: health.as_ref().map(counted),
        self_test: self_tests.as_ref().map(|tests| tests.now),
        self_test_age_s: self_tests.as_ref().map(|_| snapshot.taken.since(drive.self_tests.taken).as_secs()),
        past_self_tests: self_tests.map(|tests| tests.past),
        health_age_s: health.map(|_| snapshot.taken.since(drive.health.taken).as_secs()),
        missing,
    }
}
