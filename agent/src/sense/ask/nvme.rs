//! The talk with an NVMe drive (NVMe 1.4, clause 5). It saves power by itself, and no question keeps it from that.

use super::command::{Command, Nvme};
use super::{Failure, Health, OneTalk, Told, Transport, Wanted, not_offered, parsed, self_tests};
use crate::reading::{Missing, OwnLimits, Power, Reason, SelfAssessment, SelfTestStep, SelfTests};
use crate::sense::parse::nvme::{self, Controller, Warning};
use crate::sense::parse::nvme_logs;

const HEALTH: Nvme = Nvme::GetLog { log: 0x02, bytes: 512 };
const SELF_TESTS: Nvme = Nvme::GetLog { log: 0x06, bytes: 564 };

/// What is remembered of a drive from one talk to the next.
#[derive(Debug, Default)]
pub struct NvmeDrive {
    controller: Option<Controller>,
}

impl NvmeDrive {
    /// One talk.
    pub fn ask(&mut self, to: &mut dyn Transport, wanted: Wanted) -> Told {
        let to = &mut OneTalk::new(to);
        if self.controller.is_none() {
            self.controller = parsed(to.send(&Command::Nvme(Nvme::IdentifyController)), nvme::controller).ok();
        }
        let reply = to.send(&Command::Nvme(HEALTH));
        let power = match &reply {
            Err(Failure::Missing(why)) => Err(why.clone()),
            // To say no is an answer too.
            Ok(_) | Err(Failure::NotSupported(_)) => Ok(Power::Active),
        };
        let log = parsed(reply, nvme::health).map_err(Failure::reason);
        let temperature = wanted.temperature.then(|| {
            let stated = log.clone()?.temperature;
            stated.ok_or_else(|| Missing::new(Reason::NotFitted, "the drive states no temperature that makes sense"))
        });
        let health = wanted.health.then(|| Health {
            assessment: log.clone().map(|log| assessment(log.warning)),
            counters: log.as_ref().map(nvme::Health::counters).unwrap_or_default(),
            unread: log.as_ref().err().map(|why| format!("health log: {why}")).into_iter().collect(),
        });
        let step = wanted.step.map(|step| {
            power.clone()?;
            self.step(to, step)
        });
        let hours = log.as_ref().ok().and_then(|log| u64::try_from(log.power_on_hours).ok());
        let self_tests = wanted.self_tests.then(|| self.self_tests(to, hours));
        let limits = self.controller.as_ref();
        Told {
            power,
            temperature,
            own_limits: OwnLimits {
                maximum: limits.and_then(|controller| controller.warning_temperature),
                critical: limits.and_then(|controller| controller.critical_temperature),
            },
            health,
            self_tests,
            step,
        }
    }

    fn self_tests(&self, to: &mut dyn Transport, hours_now: Option<u64>) -> Result<SelfTests, Missing> {
        let controller = self.able()?;
        let log = parsed(to.send(&Command::Nvme(SELF_TESTS)), nvme_logs::self_tests).map_err(Failure::reason)?;
        Ok(self_tests::nvme(&log, hours_now, controller.extended_test_minutes))
    }

    /// Begins or ends a self-test.
    fn step(&self, to: &mut dyn Transport, step: SelfTestStep) -> Result<(), Missing> {
        self.able()?;
        to.send(&Command::Nvme(Nvme::SelfTest(step))).map_err(Failure::reason).map(drop)
    }

    fn able(&self) -> Result<&Controller, Missing> {
        self.controller.as_ref().filter(|controller| controller.can_self_test).ok_or_else(not_offered)
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
