//! A drive in the document, and how a reading becomes one.

use super::document::{Reasons, reason};
use super::outlook_part::{self, Outlook};
use super::parts::{tray, value};
use crate::reading::{
    self, Bus, DriveKind, Health, LoggedError, PastTest, Power, RecoveryLimit, SelfAssessment, SelfTest, Snapshot,
};
use crate::verdict;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;

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
    /// The speed of its SATA link.
    pub link_speed_mbit_per_s: Option<u32>,
    /// Commands that the kernel gave up waiting for since the drive appeared, and for a SATA drive also those that failed.
    pub command_timeouts: Option<u64>,
    /// How long the kernel waits for a command.
    pub kernel_timeout_s: Option<u64>,
    /// How long the drive may try before it says that it cannot.
    pub recovery_limit_s: Option<f64>,
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
    /// The newest error in its log; `null` without a reason when it never logged one.
    pub newest_error: Option<LoggedError>,
    /// What of its health could not be read, and why.
    pub health_unread: Option<Vec<String>>,
    /// When it told of its health.
    pub health_age_s: Option<u64>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

/// What is `null` of a drive that has not told its health.
const HEALTH: [&str; 7] =
    ["assessment", "counters", "self_test", "newest_error", "recovery_limit_s", "health_unread", "health_age_s"];

/// What could not be read in the talk that told the health, and that a later one broke off.
fn unread(health: &Health) -> Vec<String> {
    let broke_off = health.broke_off.as_ref().map(|why| format!("the newest talk broke off: {why}"));
    health.unread.iter().cloned().chain(broke_off).collect()
}

pub(super) fn drive(verdict: &verdict::Verdict, snapshot: &Snapshot, drive: &reading::Drive) -> Drive {
    let mut missing = Reasons::new();
    let moved = value(&drive.traffic, &mut missing, &["read_bytes_per_s", "written_bytes_per_s"], |traffic| *traffic);
    let temperature =
        value(&drive.temperature, &mut missing, &["temperature_c", "temperature_age_s"], |celsius| celsius.0);
    let power = value(&drive.power, &mut missing, &["power"], |power| *power);
    let attachment = &drive.attachment;
    let speed = value(&attachment.speed, &mut missing, &["link_speed_mbit_per_s"], |speed| speed.0);
    let timeouts = value(&attachment.timeouts, &mut missing, &["command_timeouts"], |count| *count);
    let patience = value(&attachment.patience, &mut missing, &["kernel_timeout_s"], Duration::as_secs);
    let health = value(&drive.health, &mut missing, &HEALTH, Clone::clone);
    let recovery_limit = match health.as_ref().map(|health| &health.recovery_limit) {
        Some(Ok(RecoveryLimit::After(limit))) => Some(limit.as_secs_f64()),
        Some(Ok(RecoveryLimit::Off)) => {
            missing.insert("recovery_limit_s".into(), "switched off: the drive tries for as long as it likes".into());
            None
        }
        Some(Err(why)) => {
            missing.insert("recovery_limit_s".into(), reason(why));
            None
        }
        None => None,
    };
    let assessment = health.as_ref().and_then(|health| {
        missing.extend(health.assessment.as_ref().err().map(|why| ("assessment".to_owned(), reason(why))));
        missing.extend(health.newest_error.as_ref().err().map(|why| ("newest_error".to_owned(), reason(why))));
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
    let outlook = verdict.outlooks.get(&drive.key).map(outlook_part::outlook);
    if outlook.is_none() {
        missing.insert("outlook".into(), outlook_part::no_outlook(drive));
    }
    Drive {
        tray: tray(verdict, drive),
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
        link_speed_mbit_per_s: speed,
        command_timeouts: timeouts,
        kernel_timeout_s: patience,
        recovery_limit_s: recovery_limit,
        assessment,
        counters: health.as_ref().map(counted),
        self_test: self_tests.as_ref().map(|tests| tests.now),
        self_test_age_s: self_tests.as_ref().map(|_| snapshot.taken.since(drive.self_tests.taken).as_secs()),
        past_self_tests: self_tests.map(|tests| tests.past),
        newest_error: health.as_ref().and_then(|health| health.newest_error.clone().ok()?),
        health_unread: health.as_ref().map(unread),
        health_age_s: health.map(|_| snapshot.taken.since(drive.health.taken).as_secs()),
        missing,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Moment;
    use crate::demo::{self, heron, story};
    use crate::judge::{Memory, judge};
    use crate::reading::{ErrorKind, Missing, Reason};

    /// The first drive of the box, after something was done to the health that it told.
    fn with_health(change: impl FnOnce(&mut Health)) -> Drive {
        let mut snapshot =
            heron::snapshot(Moment::after_boot(Duration::from_secs(86_400)), &story::scene(Duration::ZERO));
        if let Ok(health) = &mut snapshot.drives[0].health.value {
            change(health);
        }
        let settings = demo::settings().expect("the pretend box has settings");
        let (verdict, _) =
            judge(&settings, &mut Memory::default(), snapshot.taken, Some(&snapshot), &reading::Itself::default());
        drive(&verdict, &snapshot, &snapshot.drives[0])
    }

    #[test]
    fn what_could_not_be_read_is_said_beside_what_could() {
        assert_eq!(with_health(|_| ()).health_unread, Some(Vec::new()));
        let told = with_health(|health| {
            health.unread = vec!["wear: unreadable: found 3 bytes".to_owned()];
            health.broke_off = Some(Missing::new(Reason::TimedOut, "the kernel gave up waiting for the drive"));
        });
        let broke_off = "the newest talk broke off: timed out: the kernel gave up waiting for the drive";
        assert_eq!(told.health_unread.unwrap(), ["wear: unreadable: found 3 bytes", broke_off]);
        assert!(told.counters.is_some_and(|counters| counters.contains_key("power_on_hours")), "told before");
    }

    #[test]
    fn an_error_that_never_was_is_told_apart_from_one_that_nobody_could_read() {
        let never = with_health(|_| ());
        assert_eq!((never.newest_error, never.missing.get("newest_error")), (None, None));
        let error = LoggedError { kind: ErrorKind::Unreadable, lba: Some(4_660), power_on_hours: Some(9_000) };
        assert_eq!(with_health(|health| health.newest_error = Ok(Some(error))).newest_error, Some(error));
        let why = Missing::new(Reason::NotFitted, "the drive does not offer it");
        let told = with_health(|health| health.newest_error = Err(why));
        assert_eq!(told.missing["newest_error"], "not fitted: the drive does not offer it");
    }
}
