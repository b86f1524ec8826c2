//! The session with a SCSI drive: REQUEST SENSE says whether it sleeps, log pages say the rest (SPC-4, clause 7.3).

use super::command::{DriveCommand, Scsi};
use super::{
    DriveAnswers, DriveQuestions, Failure, Health, OneSession, Reply, Transport, collect, not_supported, parsed,
    self_tests, settle, unreadable,
};
use crate::reading::{HealthPart, Missing, OwnLimits, Power, SelfAssessment, SelfTestStep, SelfTests, WhyMissing};
use crate::sense::parse::counter::{CounterOrigin, CounterUnit, DecodedCounter};
use crate::sense::parse::scsi;
use crate::sense::parse::scsi::logs::{Exceptions, ScsiAssessment, Warmth};
use crate::sense::parse::scsi::power::{ScsiPower, scsi_power};
use crate::sense::parse::scsi::sense_data::{Answering, sense};

/// Log pages.
const LIST: u8 = 0x00;
const ERRORS: [u8; 3] = [0x02, 0x03, 0x05];
const TEMPERATURE: u8 = 0x0D;
const STARTS: u8 = 0x0E;
const SELF_TESTS: u8 = 0x10;
const WEAR: u8 = 0x11;
const SCAN: u8 = 0x15;
const PHYS: u8 = 0x18;
const EXCEPTIONS: u8 = 0x2F;

/// What is remembered of a drive from one session to the next.
#[derive(Debug, Default)]
pub struct ScsiDrive {
    /// The log pages it has, once it was asked.
    pages: Option<Vec<u8>>,
    /// How long it says that an extended self-test takes, once it was asked; it need not say.
    extended_test_minutes: Option<Option<u16>>,
}

impl ScsiDrive {
    /// One session.
    pub fn ask(&mut self, to: &mut dyn Transport, wanted: DriveQuestions) -> DriveAnswers {
        if wanted.afresh {
            self.pages = None;
        }
        let mut to = OneSession::new(to);
        let told = self.session(&mut to, wanted);
        to.end(told)
    }

    fn session(&mut self, to: &mut dyn Transport, wanted: DriveQuestions) -> DriveAnswers {
        let state = power(to);
        let power = match state.clone() {
            Ok(power) if power.is_asleep() => return DriveAnswers::only(Ok(Power::Asleep)),
            Ok(ScsiPower::Idle) => Ok(Power::Idle),
            Ok(_) => Ok(Power::Active),
            Err(_) if wanted.in_use => Ok(Power::Active),
            Err(why) => return DriveAnswers::only(Err(why)),
        };
        if let Err(why) = self.learn_pages(to) {
            return DriveAnswers { temperature: wanted.temperature.then_some(Err(why)), ..DriveAnswers::only(power) };
        }
        let wants_warmth = wanted.temperature || wanted.health;
        let warmth = (wants_warmth && self.has(TEMPERATURE))
            .then(|| parsed(send(to, TEMPERATURE), scsi::logs::temperature).map_err(Failure::reason));
        // Some drives state their temperature in their verdict only.
        let verdict = (wanted.health || wants_warmth && warmth.is_none()).then(|| self.exceptions(to));
        let limit = warmth.as_ref().and_then(|warmth| warmth.as_ref().ok()?.limit);
        let in_verdict = || verdict.clone().map(|told| told.map(|told| Warmth { now: told.temperature, limit: None }));
        let now =
            |warmth: Result<Warmth, Missing>| warmth?.now.ok_or_else(|| Missing::from(WhyMissing::NoValidTemperature));
        let step = wanted.step.map(|step| {
            // Only the drive's own word says that a test wakes nobody.
            state?;
            self.step(to, step)
        });
        DriveAnswers {
            temperature: warmth.or_else(in_verdict).filter(|_| wanted.temperature).map(now),
            own_limits: OwnLimits { maximum: limit, critical: None },
            health: verdict.filter(|_| wanted.health).map(|verdict| self.health(to, verdict)),
            self_tests: wanted.self_tests.then(|| self.self_tests(to)),
            step,
            ..DriveAnswers::only(power)
        }
    }

    /// What it does not have it is never asked for.
    fn learn_pages(&mut self, to: &mut dyn Transport) -> Result<(), Missing> {
        if self.pages.is_some() {
            return Ok(());
        }
        self.pages = Some(match parsed(send(to, LIST), scsi::logs::supported_pages) {
            // The list names itself; an empty buffer reads like one that does not.
            Ok(pages) if pages.contains(&LIST) => pages,
            Ok(_) => return Err(unreadable("expected page 00h in the list of log pages, found none".to_owned())),
            Err(Failure::NotSupported(_)) => Vec::new(),
            Err(Failure::Missing(why)) => return Err(why),
        });
        Ok(())
    }

    fn exceptions(&self, to: &mut dyn Transport) -> Result<Exceptions, Missing> {
        if !self.has(EXCEPTIONS) {
            return Err(not_supported());
        }
        parsed(send(to, EXCEPTIONS), scsi::logs::exceptions).map_err(Failure::reason)
    }

    fn health(&self, to: &mut dyn Transport, verdict: Result<Exceptions, Missing>) -> Health {
        let mut health = Health::not_offered();
        health.assessment = verdict.map(|told| match told.verdict {
            ScsiAssessment::Failing(_) => SelfAssessment::Failing,
            ScsiAssessment::Passed | ScsiAssessment::Warning(_) | ScsiAssessment::Other(..) => SelfAssessment::Passed,
        });
        for page in ERRORS.into_iter().filter(|&page| self.has(page)) {
            let found = parsed(send(to, page), |bytes| scsi::errors::error_counters(bytes, page));
            collect(&mut health, HealthPart::ErrorCounters, found);
        }
        if self.has(STARTS) {
            collect(&mut health, HealthPart::Starts, parsed(send(to, STARTS), scsi::logs::start_stop));
        }
        if self.has(WEAR) {
            collect(
                &mut health,
                HealthPart::Wear,
                parsed(send(to, WEAR), scsi::logs::wear).map(|counter| vec![counter]),
            );
        }
        if self.has(PHYS) {
            collect(&mut health, HealthPart::LinkErrors, parsed(send(to, PHYS), scsi::errors::phy_errors));
        }
        if self.has(SCAN) {
            let scan = parsed(send(to, SCAN), scsi::errors::scan).map(|scan| {
                let bad = scan.found.iter().filter(|block| !block.is_mended).count();
                let origin = CounterOrigin::ScsiLog(SCAN);
                vec![
                    DecodedCounter::new("power_on_hours", scan.power_on_minutes / 60, CounterUnit::Hours, origin),
                    DecodedCounter::new("pending_sectors", bad, CounterUnit::Count, origin),
                ]
            });
            collect(&mut health, HealthPart::BackgroundScan, scan);
        }
        settle(&mut health);
        health
    }

    fn self_tests(&mut self, to: &mut dyn Transport) -> Result<SelfTests, Missing> {
        if !self.has(SELF_TESTS) {
            return Err(not_supported());
        }
        let record = parsed(send(to, SELF_TESTS), scsi::errors::self_tests).map_err(Failure::reason)?;
        let hours = self.has(SCAN).then(|| parsed(send(to, SCAN), scsi::errors::scan).ok()).flatten();
        let hours = hours.map(|scan| u64::from(scan.power_on_minutes / 60));
        let minutes = *self.extended_test_minutes.get_or_insert_with(|| {
            let page = to.send(&DriveCommand::Scsi(Scsi::ExtendedInquiry));
            parsed(page, scsi::vpd::extended_test_minutes).ok().flatten()
        });
        Ok(self_tests::scsi(&record, hours, minutes))
    }

    /// Begins or ends a self-test. A drive that keeps no record of them is not asked: nobody would learn of the result.
    fn step(&self, to: &mut dyn Transport, step: SelfTestStep) -> Result<(), Missing> {
        if !self.has(SELF_TESTS) {
            return Err(not_supported());
        }
        to.send(&DriveCommand::Scsi(Scsi::SelfTest(step))).map_err(Failure::reason).map(drop)
    }

    fn has(&self, page: u8) -> bool {
        self.pages.as_ref().is_some_and(|pages| pages.contains(&page))
    }
}

/// The answer to REQUEST SENSE is sense data that comes as data.
fn power(to: &mut dyn Transport) -> Result<ScsiPower, Missing> {
    let reply = to.send(&DriveCommand::Scsi(Scsi::RequestSense)).map_err(Failure::reason)?;
    sense(&reply.data, Answering::Scsi).and_then(|told| scsi_power(&told)).map_err(unreadable)
}

fn send(to: &mut dyn Transport, page: u8) -> Result<Reply, Failure> {
    to.send(&DriveCommand::Scsi(Scsi::LogSense { page }))
}
