//! A drive in the document.

use super::forecast_part::{Forecast, no_forecast};
use super::part::part;
use super::parts::tray;
use crate::reading::{
    self, Bus, DriveKind, Health, HealthPart, LoggedError, Missing, PastTest, Power, RecoveryLimit, SelfAssessment,
    SelfTest, Snapshot, UnreadHealth, WhyMissing,
};
use crate::verdict::{Origin, Verdict};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;

part! {
    /// A physical drive.
    pub struct Drive of (verdict: &Verdict, snapshot: &Snapshot, drive: &reading::Drive) where {
        let age = |taken| snapshot.taken.since(taken).as_secs();
        let traffic = drive.traffic.value.as_ref();
        let health = drive.health.value.as_ref();
        let self_tests = drive.self_tests.value.as_ref();
        let outlook = verdict.outlooks.get(&drive.key);
    } {
        /// Label of its tray, if the configuration names one.
        tray: is Option<String> = tray(verdict, drive);
        /// Device name, such as `sda`; it can change at every boot.
        device: is String = drive.device.clone();
        /// Serial number.
        serial: known String = drive.serial.clone().ok_or(WhyMissing::NotIdentified);
        /// World wide name.
        wwn: known String = drive.wwn.clone().ok_or(WhyMissing::NotIdentified);
        /// Model.
        model: known String = drive.model.clone().ok_or(WhyMissing::NotIdentified);
        /// How it is attached.
        bus: is Bus = drive.bus;
        /// Hard disk or SSD.
        kind: is DriveKind = drive.kind;
        /// The port that it is plugged into.
        port: is Option<String> = drive.port.clone();
        /// Active, idle or asleep.
        power: known Power = drive.power.value.as_ref().copied();
        /// Capacity.
        size_bytes: known u64 = drive.size.value.as_ref().map(|bytes| bytes.0);
        /// Temperature.
        temperature_c: known f64 = drive.temperature.value.as_ref().map(|celsius| celsius.0);
        /// Age of the temperature reading.
        temperature_age_s: known u64 = drive.temperature.value.as_ref().map(|_| age(drive.temperature.taken));
        /// From which temperatures on it is too warm.
        temperature_limits: is Option<TemperatureLimits> = verdict.drives.get(&drive.key).map(|judged| TemperatureLimits {
            warning_c: judged.heat.warning,
            critical_c: judged.heat.critical,
            origin: judged.heat.origin,
        });
        /// The forecast of the temperature.
        forecast: known Forecast = outlook.map(Forecast::of).ok_or_else(|| no_forecast(drive));
        /// Read rate.
        read_bytes_per_s: known f64 = traffic.map(|traffic| traffic.inward.0);
        /// Write rate.
        written_bytes_per_s: known f64 = traffic.map(|traffic| traffic.outward.0);
        /// Speed of its SATA link.
        link_speed_mbit_per_s: known u32 = drive.attachment.speed.value.as_ref().map(|speed| speed.0);
        /// Commands that timed out since the drive appeared; for a SATA drive, failed ones count as well.
        command_timeouts: known u64 = drive.attachment.timeouts.value.as_ref().copied();
        /// Command timeout of the kernel.
        kernel_timeout_s: known u64 = drive.attachment.patience.value.as_ref().map(Duration::as_secs);
        /// Time after which the drive gives up on a bad sector.
        recovery_limit_s: known f64 = recovery_limit(drive);
        /// The drive's own health assessment.
        assessment: known SelfAssessment = health.and_then(|health| health.assessment.as_ref()).copied();
        /// Its counters by name; names end in their unit.
        counters: known BTreeMap<String, i64> = health
            .map(|health| health.counters.iter().map(|counter| (counter.name.clone(), counter.value)).collect());
        /// Its latest self-test, or the one that is running.
        self_test: known SelfTest = self_tests.map(|tests| tests.now);
        /// Age of that reading.
        self_test_age_s: known u64 = self_tests.map(|_| age(drive.self_tests.taken));
        /// Notable self-tests in the drive's log, latest first.
        past_self_tests: known Vec<PastTest> = self_tests.map(|tests| tests.past.clone());
        /// The latest error in its log; `null` without a reason when the log is empty.
        newest_error: maybe LoggedError = health.and_then(|health| health.newest_error.as_ref()).copied();
        /// Parts of the health data that could not be read, and why.
        health_unread: known Vec<UnreadHealth> = health.map(unread);
        /// Age of the health data.
        health_age_s: known u64 = health.map(|_| age(drive.health.taken));
    }
}

/// The temperatures from which on a drive is too warm.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct TemperatureLimits {
    /// A warning.
    pub warning_c: f64,
    /// Critical.
    pub critical_c: f64,
    /// Where they come from: the drive itself, the configuration or its defaults.
    pub origin: Origin,
}

/// In seconds.
fn recovery_limit(drive: &reading::Drive) -> Result<f64, Missing> {
    let health = drive.health.value.as_ref();
    match health.and_then(|health| health.recovery_limit.as_ref())? {
        RecoveryLimit::After(limit) => Ok(limit.as_secs_f64()),
        RecoveryLimit::Off => Err(WhyMissing::RecoveryLimitOff.into()),
    }
}

/// What could not be read in the session that reported the health, and that a later one was interrupted.
fn unread(health: &Health) -> Vec<UnreadHealth> {
    let latest = |missing: &Missing| UnreadHealth { part: HealthPart::LatestSession, missing: missing.clone() };
    health.unread.iter().cloned().chain(health.broke_off.as_ref().map(latest)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Moment;
    use crate::demo::{self, heron, story};
    use crate::judge::{Memory, judge};
    use crate::reading::{ErrorKind, Reason};

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
        Drive::of(&verdict, &snapshot, &snapshot.drives[0])
    }

    #[test]
    fn what_could_not_be_read_is_said_beside_what_could() {
        assert_eq!(with_health(|_| ()).health_unread, Some(Vec::new()));
        let wear =
            UnreadHealth { part: HealthPart::Wear, missing: Missing::found(Reason::Unreadable, "found 3 bytes") };
        let told = with_health(|health| {
            health.unread = vec![wear.clone()];
            health.broke_off = Some(Missing::from(WhyMissing::KernelGaveUp));
        });
        let latest = UnreadHealth { part: HealthPart::LatestSession, missing: WhyMissing::KernelGaveUp.into() };
        assert_eq!(told.health_unread.unwrap(), [wear, latest]);
        assert!(told.counters.is_some_and(|counters| counters.contains_key("power_on_hours")), "told before");
    }

    #[test]
    fn an_error_that_never_was_is_told_apart_from_one_that_nobody_could_read() {
        let never = with_health(|_| ());
        assert_eq!((never.newest_error, never.missing.get("newest_error")), (None, None));
        let error = LoggedError { kind: ErrorKind::Unreadable, lba: Some(4_660), power_on_hours: Some(9_000) };
        assert_eq!(with_health(|health| health.newest_error = Ok(Some(error))).newest_error, Some(error));
        let why = Missing::from(WhyMissing::NotSupported);
        let told = with_health(|health| health.newest_error = Err(why));
        assert_eq!(told.missing["newest_error"].why, Some(WhyMissing::NotSupported));
    }
}
