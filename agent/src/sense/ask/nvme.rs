//! The talk with an NVMe drive (NVMe 1.4, clause 5). It saves power by itself, and no question keeps it from that.

use super::command::{Command, Nvme};
use super::{Failure, Health, OneTalk, Told, Transport, Wanted, parsed};
use crate::reading::{Missing, OwnLimits, Power, Reason, SelfAssessment, SelfTest, recovery_not_asked};
use crate::sense::parse::nvme::{self, Controller, Warning};
use crate::sense::parse::nvme_logs::{Outcome, SelfTests, self_tests};

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
            self_test: self.self_test(to),
            recovery_limit: Err(recovery_not_asked()),
            unread: log.as_ref().err().map(|why| format!("health log: {why}")).into_iter().collect(),
        });
        let limits = self.controller.as_ref();
        Told {
            power,
            temperature,
            own_limits: OwnLimits {
                maximum: limits.and_then(|controller| controller.warning_temperature),
                critical: limits.and_then(|controller| controller.critical_temperature),
            },
            health,
        }
    }

    fn self_test(&self, to: &mut dyn Transport) -> Result<SelfTest, Missing> {
        if !self.controller.as_ref().is_some_and(|controller| controller.can_self_test) {
            return Err(Missing::new(Reason::NotFitted, "the drive does not offer it"));
        }
        parsed(to.send(&Command::Nvme(SELF_TESTS)), self_tests).map_err(Failure::reason).map(newest)
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

fn newest(tests: SelfTests) -> SelfTest {
    if let Some((_, done)) = tests.running {
        return SelfTest::Running { remaining_percent: Some(100_u8.saturating_sub(done)) };
    }
    match tests.past.first().map(|test| test.outcome) {
        None => SelfTest::Never,
        Some(Outcome::Passed) => SelfTest::Passed,
        Some(Outcome::Ended(_) | Outcome::Reserved(_)) => SelfTest::Ended,
        Some(Outcome::CouldNotFinish) => SelfTest::CouldNotFinish,
        Some(Outcome::Failed) => SelfTest::Failed,
    }
}
