//! The session with an NVMe drive (NVMe 1.4, clause 5). It saves power by itself, and no question keeps it from that.

use super::command::{DriveCommand, Nvme};
use super::{
    DriveAnswers, DriveQuestions, Failure, Health, OneSession, Transport, is_who_was_asked, not_supported, parsed,
    recovery_not_asked, self_tests, unreadable,
};
use crate::reading::{
    HealthPart, Missing, OwnLimits, Power, SelfAssessment, SelfTestStep, SelfTests, UnreadHealth, WhyMissing,
};
use crate::sense::parse::nvme;
use crate::sense::parse::nvme::health::Warning;
use crate::sense::parse::nvme::identify::NvmeIdentity;
use crate::sense::parse::temperature::plausible_now;

const HEALTH: Nvme = Nvme::GetLog { log: 0x02, bytes: 512 };
/// The newest entry comes first.
const ERRORS: Nvme = Nvme::GetLog { log: 0x01, bytes: 64 };
const SELF_TESTS: Nvme = Nvme::GetLog { log: 0x06, bytes: 564 };

/// What is remembered of a drive from one session to the next.
#[derive(Debug, Default)]
pub struct NvmeDrive {
    controller: Option<NvmeIdentity>,
    known_as: Option<String>,
}

impl NvmeDrive {
    /// The same drive, known by its serial: answers of another are not taken for its own.
    pub fn known_as(self, serial: Option<String>) -> Self {
        Self { known_as: serial, ..self }
    }

    /// One session.
    pub fn ask(&mut self, to: &mut dyn Transport, wanted: DriveQuestions) -> DriveAnswers {
        let mut to = OneSession::new(to);
        let told = self.session(&mut to, wanted);
        to.end(told)
    }

    fn session(&mut self, to: &mut dyn Transport, wanted: DriveQuestions) -> DriveAnswers {
        if let Err(why) = self.meet(to, wanted.health || wanted.self_tests || wanted.step.is_some()) {
            return DriveAnswers::only(Err(why));
        }
        let reply = to.send(&DriveCommand::Nvme(HEALTH));
        let power = match &reply {
            Err(Failure::Missing(why)) => Err(why.clone()),
            // To say no is an answer too.
            Ok(_) | Err(Failure::NotSupported(_)) => Ok(Power::Active),
        };
        let log = parsed(reply, nvme::health::health).map_err(Failure::reason);
        let own_limits = self.own_limits();
        let temperature = wanted.temperature.then(|| {
            let stated = log.clone()?.temperature;
            let stated = stated.ok_or_else(|| Missing::from(WhyMissing::NoValidTemperature))?;
            plausible_now(stated, own_limits.critical).map_err(unreadable)
        });
        let health = wanted.health.then(|| Health {
            assessment: log.clone().map(|log| assessment(log.warning)),
            counters: log.as_ref().map(nvme::health::NvmeHealth::counters).unwrap_or_default(),
            newest_error: parsed(to.send(&DriveCommand::Nvme(ERRORS)), nvme::logs::newest_error)
                .map_err(Failure::reason),
            recovery_limit: Err(recovery_not_asked()),
            unread: log
                .as_ref()
                .err()
                .map(|missing| UnreadHealth { part: HealthPart::HealthLog, missing: missing.clone() })
                .into_iter()
                .collect(),
        });
        let step = wanted.step.map(|step| {
            power.clone()?;
            self.step(to, step)
        });
        let hours = log.as_ref().ok().and_then(|log| u64::try_from(log.power_on_hours).ok());
        let self_tests = wanted.self_tests.then(|| self.self_tests(to, hours));
        DriveAnswers { temperature, own_limits, health, self_tests, step, ..DriveAnswers::only(power) }
    }

    /// Asks who it is, when that is not known yet, and `again` before something is booked that lasts, or begins.
    fn meet(&mut self, to: &mut dyn Transport, again: bool) -> Result<(), Missing> {
        if self.controller.is_some() && !again {
            return Ok(());
        }
        let Ok(found) = parsed(to.send(&DriveCommand::Nvme(Nvme::IdentifyController)), nvme::identify::controller)
        else {
            return Ok(());
        };
        let known = self.known_as.as_deref().or_else(|| self.controller.as_ref()?.serial.as_deref());
        is_who_was_asked(known, found.serial.as_deref())?;
        self.controller = Some(found);
        Ok(())
    }

    fn own_limits(&self) -> OwnLimits {
        let limits = self.controller.as_ref();
        OwnLimits {
            maximum: limits.and_then(|controller| controller.warning_temperature),
            critical: limits.and_then(|controller| controller.critical_temperature),
        }
    }

    fn self_tests(&self, to: &mut dyn Transport, hours_now: Option<u64>) -> Result<SelfTests, Missing> {
        let controller = self.able()?;
        let log = parsed(to.send(&DriveCommand::Nvme(SELF_TESTS)), nvme::logs::self_tests).map_err(Failure::reason)?;
        Ok(self_tests::nvme(&log, hours_now, controller.extended_test_minutes))
    }

    /// Begins or ends a self-test.
    fn step(&self, to: &mut dyn Transport, step: SelfTestStep) -> Result<(), Missing> {
        self.able()?;
        to.send(&DriveCommand::Nvme(Nvme::SelfTest(step))).map_err(Failure::reason).map(drop)
    }

    fn able(&self) -> Result<&NvmeIdentity, Missing> {
        self.controller.as_ref().filter(|controller| controller.can_self_test).ok_or_else(not_supported)
    }
}

/// The warning of too much heat is no sign of a failing drive; the temperature is judged by itself.
fn assessment(warning: Warning) -> SelfAssessment {
    let Warning { spare_low, unreliable, read_only, backup_failed, temperature: _, memory_region } = warning;
    if spare_low || unreliable || read_only || backup_failed || memory_region {
        SelfAssessment::Failing
    } else {
        SelfAssessment::Passed
    }
}
