//! The talk with an NVMe drive (NVMe 1.4, clause 5). It saves power by itself, and no question keeps it from that.

use super::command::{Command, Nvme};
use super::{Failure, Health, OneTalk, Told, Transport, Wanted, is_who_was_asked, parsed, unreadable};
use crate::reading::{Missing, OwnLimits, Power, Reason, SelfAssessment, SelfTest, recovery_not_asked};
use crate::sense::parse::nvme::{self, Controller, Warning};
use crate::sense::parse::nvme_logs::{Outcome, SelfTests, newest_error, self_tests};
use crate::sense::parse::temperature::plausible_now;

const HEALTH: Nvme = Nvme::GetLog { log: 0x02, bytes: 512 };
/// The newest entry comes first.
const ERRORS: Nvme = Nvme::GetLog { log: 0x01, bytes: 64 };
const SELF_TESTS: Nvme = Nvme::GetLog { log: 0x06, bytes: 564 };

/// What is remembered of a drive from one talk to the next.
#[derive(Debug, Default)]
pub struct NvmeDrive {
    controller: Option<Controller>,
    known_as: Option<String>,
}

impl NvmeDrive {
    /// The same drive, known by its serial: answers of another are not taken for its own.
    pub fn known_as(self, serial: Option<String>) -> Self {
        Self { known_as: serial, ..self }
    }

    /// One talk.
    pub fn ask(&mut self, to: &mut dyn Transport, wanted: Wanted) -> Told {
        let mut to = OneTalk::new(to);
        let told = self.talk(&mut to, wanted);
        to.end(told)
    }

    fn talk(&mut self, to: &mut dyn Transport, wanted: Wanted) -> Told {
        if let Err(why) = self.meet(to, wanted.health) {
            return Told::only(Err(why));
        }
        let reply = to.send(&Command::Nvme(HEALTH));
        let power = match &reply {
            Err(Failure::Missing(why)) => Err(why.clone()),
            // To say no is an answer too.
            Ok(_) | Err(Failure::NotSupported(_)) => Ok(Power::Active),
        };
        let log = parsed(reply, nvme::health).map_err(Failure::reason);
        let own_limits = self.own_limits();
        let temperature = wanted.temperature.then(|| {
            let stated = log.clone()?.temperature;
            let stated = stated.ok_or_else(|| Missing::new(Reason::NotFitted, "the drive states no temperature"))?;
            plausible_now(stated, own_limits.critical).map_err(unreadable)
        });
        let health = wanted.health.then(|| Health {
            assessment: log.clone().map(|log| assessment(log.warning)),
            counters: log.as_ref().map(nvme::Health::counters).unwrap_or_default(),
            self_test: self.self_test(to),
            newest_error: parsed(to.send(&Command::Nvme(ERRORS)), newest_error).map_err(Failure::reason),
            recovery_limit: Err(recovery_not_asked()),
            unread: log.as_ref().err().map(|why| format!("health log: {why}")).into_iter().collect(),
        });
        Told { temperature, own_limits, health, ..Told::only(power) }
    }

    /// Asks who it is, when that is not known yet, and `again` before its health is booked.
    fn meet(&mut self, to: &mut dyn Transport, again: bool) -> Result<(), Missing> {
        if self.controller.is_some() && !again {
            return Ok(());
        }
        let Ok(found) = parsed(to.send(&Command::Nvme(Nvme::IdentifyController)), nvme::controller) else {
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
