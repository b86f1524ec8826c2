//! The session with an ATA drive, behind the kernel's own translation or a USB bridge. Whether it sleeps is asked first;
//! what it does not offer is asked once a day at most, since every refused command makes the kernel halt the port for a
//! moment.

mod self_tests;

use super::command::{Ata, DriveCommand, Recovering};
use super::{
    DriveAnswers, DriveQuestions, Failure, Health, OneSession, Reply, Transport, collect, is_who_was_asked, parsed,
    recovery_not_asked, sense_of, settle, unreadable,
};
use crate::reading::{HealthPart, LoggedError, Missing, OwnLimits, Power, RecoveryLimit, SelfAssessment, WhyMissing};
use crate::sense::parse::ata;
use crate::sense::parse::ata::abilities::Abilities;
use crate::sense::parse::ata::identify::{Identify, Rotation, identify};
use crate::sense::parse::ata::logs::Directory;
use crate::sense::parse::ata::power::{PowerMode, power_mode};
use crate::sense::parse::ata::smart::{Overall, SmartData, ThresholdState, overall, smart_data, thresholds};
use crate::sense::parse::bytes::page;
use crate::sense::parse::counter::DecodedCounter;
use crate::sense::parse::quirks::Quirks;
use crate::sense::parse::scsi::sense_data::Answering;
use crate::sense::parse::temperature::plausible_now;
use crate::units::Celsius;
use std::collections::BTreeMap;

/// Logs, by their addresses (ACS-3, table A.2, from memory).
const SUMMARY_ERRORS: u8 = 0x01;
const EXTENDED_ERRORS: u8 = 0x03;
const STATISTICS: u8 = 0x04;
const PHY_EVENTS: u8 = 0x11;
const SCT_STATUS: u8 = 0xE0;

/// What is remembered of a drive from one session to the next.
#[derive(Debug, Default)]
pub struct AtaDrive {
    identity: Option<Identify>,
    /// The serial that the drive is known by, when that is its own and not a bridge's.
    known_as: Option<String>,
    quirks: Quirks,
    /// What it has refused, and how often in a row. One refusal settles it until it is asked afresh, since each makes
    /// the kernel halt the port for a moment (linux/drivers/ata/libata-eh.c).
    refused: BTreeMap<DriveCommand, u8>,
}

/// Refusals in a row that settle that CHECK POWER MODE is not known. Without it the drive is mute for a day, so one
/// refusal, which may have come of a reset or of a drive that was just starting, does not.
const POWER_MODE_REFUSALS: u8 = 2;

/// What the drive has answered to questions that more than one part of it puts.
#[derive(Debug, Default)]
struct AtaAnswers {
    smart_data: Option<Result<SmartData, Failure>>,
    logs: Option<Directory>,
}

/// How many errors there were, and the newest: where that cannot be read, the count still can.
type Errors = (DecodedCounter, Result<Option<LoggedError>, Failure>);

/// Why a drive was not asked more than whether it sleeps.
enum Unmet {
    /// Another drive answers, so nothing of what it said counts.
    Another(Missing),
    /// It does not say who it is and what it can do.
    Unknown(Missing),
}

impl AtaDrive {
    /// A drive whose identity the kernel keeps, or not yet.
    pub fn new(identity: Option<Identify>, quirks: Quirks) -> Self {
        Self { identity, quirks, ..Self::default() }
    }

    /// The same drive, known by its own serial: answers of another are not taken for its own.
    pub fn known_as(mut self, serial: Option<String>) -> Self {
        let is_it = |kept: &Identify| is_who_was_asked(serial.as_deref(), kept.serial.as_deref()).is_ok();
        self.identity = self.identity.filter(is_it);
        Self { known_as: serial, ..self }
    }

    /// One session.
    pub fn ask(&mut self, to: &mut dyn Transport, wanted: DriveQuestions) -> DriveAnswers {
        if wanted.afresh {
            self.refused.clear();
        }
        let mut to = OneSession::new(to);
        let told = self.session(&mut to, wanted);
        to.end(told)
    }

    fn session(&mut self, to: &mut dyn Transport, wanted: DriveQuestions) -> DriveAnswers {
        if let Err(why) = self.meet_behind_bridge(to, wanted) {
            return DriveAnswers::only(Err(why));
        }
        let mode = self.power_mode(to);
        let power = match &mode {
            Ok(mode) if mode.is_asleep() => return DriveAnswers::only(Ok(Power::Asleep)),
            Ok(PowerMode::ActiveOrIdle) => Ok(Power::Active),
            Ok(_) => Ok(Power::Idle),
            // A drive that somebody has just used is awake, whatever its bridge says.
            Err(_) if wanted.in_use => Ok(Power::Active),
            Err(why) => return DriveAnswers::only(Err(why.clone())),
        };
        // With its heads parked, logs that lie on the medium would make it move them.
        let parked = mode.as_ref().is_ok_and(|mode| mode.may_have_parked()) && !wanted.in_use && !wanted.by_owner;
        let (wants_health, wants_tests) = (wanted.health && !parked, wanted.self_tests && !parked);
        match self.meet(to, wants_health || wants_tests || wanted.step.is_some()) {
            Ok(()) => {}
            Err(Unmet::Another(why)) => return DriveAnswers::only(Err(why)),
            Err(Unmet::Unknown(why)) => {
                return DriveAnswers {
                    temperature: wanted.temperature.then_some(Err(why)),
                    ..DriveAnswers::only(power)
                };
            }
        }
        let step = wanted.step.map(|step| {
            // Only the drive's own word says that a test wakes nobody.
            mode?;
            self.step(to, step)
        });
        let mut answers = AtaAnswers::default();
        let health = wants_health.then(|| self.health(to, &mut answers));
        let self_tests = wants_tests.then(|| self.self_tests(to, &mut answers));
        let own_limits = health.as_ref().map(own_limits).unwrap_or_default();
        let temperature = wanted.temperature.then(|| self.temperature(to, health.as_ref(), &mut answers));
        DriveAnswers { temperature, own_limits, health, self_tests, step, ..DriveAnswers::only(power) }
    }

    /// The kernel learns from a successful command that a bridge has more sense to give than 18 bytes, so a bridge is
    /// asked for the drive's identity before anything else; but not while it may sleep.
    fn meet_behind_bridge(&mut self, to: &mut dyn Transport, wanted: DriveQuestions) -> Result<(), Missing> {
        if to.answering() != Answering::Bridge || self.identity.is_some() {
            return Ok(());
        }
        if !wanted.in_use {
            return Err(Missing::from(WhyMissing::AdapterUnknown));
        }
        self.meet(to, false).map_err(|unmet| match unmet {
            Unmet::Another(why) | Unmet::Unknown(why) => why,
        })
    }

    /// Asks who it is, when that is not known yet, and `again` before something is booked that lasts, or begins.
    fn meet(&mut self, to: &mut dyn Transport, again: bool) -> Result<(), Unmet> {
        if self.identity.is_some() && !again {
            return Ok(());
        }
        match parsed(self.send(to, Ata::Identify), identify) {
            Ok(found) => {
                let known = self.known_as.as_deref().or_else(|| self.identity.as_ref()?.serial.as_deref());
                is_who_was_asked(known, found.serial.as_deref()).map_err(Unmet::Another)?;
                self.identity = Some(found);
                Ok(())
            }
            // Then what the kernel keeps of it must do.
            Err(Failure::NotSupported(_)) if self.identity.is_some() => Ok(()),
            Err(failure) => Err(Unmet::Unknown(failure.reason())),
        }
    }

    fn power_mode(&mut self, to: &mut dyn Transport) -> Result<PowerMode, Missing> {
        let mut ask = || {
            let reply = self.send(to, Ata::CheckPowerMode)?;
            let told = sense_of(&reply, to.answering()).map_err(Failure::Missing)?;
            power_mode(&told).map_err(|why| Failure::Missing(unreadable(why)))
        };
        let told = match ask() {
            // The first reply of a bridge may be cut; the kernel takes the whole of the next.
            Err(Failure::Missing(_)) => ask(),
            told => told,
        };
        told.map_err(Failure::reason)
    }

    /// By the SCT status, which costs the drive least; else by its attributes, unless its health has just told it.
    fn temperature(
        &mut self,
        to: &mut dyn Transport,
        health: Option<&Health>,
        answers: &mut AtaAnswers,
    ) -> Result<Celsius, Missing> {
        let abilities = self.abilities();
        let mut none = Missing::from(WhyMissing::NoValidTemperature);
        if abilities.sct && !self.quirks.avoid_sct {
            let status = parsed(self.send(to, Ata::SmartReadLog { log: SCT_STATUS }), ata::sct::sct_status);
            match status.ok().and_then(|status| status.temperature).map(|now| plausible_now(now, None)) {
                Some(Ok(celsius)) => return Ok(celsius),
                Some(Err(strange)) => none = unreadable(strange),
                None => {}
            }
        }
        if !abilities.smart_enabled {
            return Err(Missing::from(WhyMissing::NoSmart));
        }
        let degrees = |counters: &[DecodedCounter]| {
            let named = |name| counters.iter().find(|counter| counter.name == name);
            named("temperature_c").or_else(|| named("airflow_temperature_c")).map(|it| Celsius(it.value as f64))
        };
        if let Some(celsius) = health.and_then(|health| degrees(&health.counters)) {
            return Ok(celsius);
        }
        let data = self.smart_data(to, answers).map_err(Failure::reason)?;
        degrees(&ata::attributes::counters(&data.attributes, self.model())).ok_or(none)
    }

    fn health(&mut self, to: &mut dyn Transport, answers: &mut AtaAnswers) -> Health {
        let abilities = self.abilities();
        let mut health = Health::not_offered();
        let logs = self.logs(to, answers);
        if logs.pages(STATISTICS) > 0 {
            self.statistics(to, &mut health);
        }
        if abilities.smart && abilities.smart_enabled {
            self.smart(to, answers, &mut health);
        }
        if abilities.phy_counters {
            let events = self.read(to, PHY_EVENTS, 0, ata::logs::phy_events);
            collect(&mut health, HealthPart::LinkErrors, events);
        }
        if abilities.error_log {
            self.errors(to, &logs, &mut health);
        }
        health.recovery_limit = self.recovery_limit(to);
        settle(&mut health);
        health
    }

    /// Of drives without turning disks nobody needs to know: they do not try for long.
    fn recovery_limit(&mut self, to: &mut dyn Transport) -> Result<RecoveryLimit, Missing> {
        if to.answering() != Answering::Kernel {
            return Err(recovery_not_asked());
        }
        let Some(identity) = &self.identity else { return Err(recovery_not_asked()) };
        if identity.rotation == Rotation::Nothing {
            return Err(Missing::from(WhyMissing::OnlySataDisks));
        }
        if !identity.abilities.recovery_control || self.quirks.avoid_sct {
            return Err(Missing::from(WhyMissing::NoRecoveryLimit));
        }
        let mut of = |at| {
            let reply = self.send(to, Ata::RecoveryLimit(at)).map_err(Failure::reason)?;
            ata::recovery::recovery_limit(&sense_of(&reply, to.answering())?).map_err(unreadable)
        };
        Ok(of(Recovering::Reads)?.longer(of(Recovering::Writes)?))
    }

    /// The Device Statistics log: standardised, so asked before the attributes.
    fn statistics(&mut self, to: &mut dyn Transport, health: &mut Health) {
        let pages = match self.read(to, STATISTICS, 0, ata::statistics::supported_pages) {
            Ok(pages) => pages,
            Err(failure) => return collect(health, HealthPart::Statistics, Err(failure)),
        };
        for page in pages.into_iter().filter(|page| (1..=7).contains(page)) {
            let found = self.read(to, STATISTICS, page.into(), |bytes| ata::statistics::counters(bytes, page));
            collect(health, HealthPart::Statistics, found);
        }
    }

    /// The extended log where the drive has it: the older one counts fewer sectors than large drives have.
    fn errors(&mut self, to: &mut dyn Transport, logs: &Directory, health: &mut Health) {
        let found = match logs.pages(EXTENDED_ERRORS) {
            0 => parsed(self.send(to, Ata::SmartReadLog { log: SUMMARY_ERRORS }), ata::errors::summary)
                .map(|(count, newest)| (count, Ok(newest))),
            pages => self.extended_errors(to, pages),
        };
        let found = found.map(|(count, newest)| {
            health.newest_error = newest.map_err(Failure::reason);
            vec![count]
        });
        collect(health, HealthPart::ErrorLog, found);
    }

    fn extended_errors(&mut self, to: &mut dyn Transport, pages: u16) -> Result<Errors, Failure> {
        let parse = |bytes: &[u8]| Ok((ata::errors::extended(bytes, pages)?, whole_page(bytes)?));
        let (log, first) = self.read(to, EXTENDED_ERRORS, 0, parse)?;
        let newest = log.newest.map(|(page, slot)| match page {
            0 => ata::errors::extended_entry(&first, slot).map_err(|why| Failure::Missing(unreadable(why))),
            page => self.read(to, EXTENDED_ERRORS, page, |bytes| ata::errors::extended_entry(bytes, slot)),
        });
        Ok((log.count, newest.transpose()))
    }

    fn smart(&mut self, to: &mut dyn Transport, answers: &mut AtaAnswers, health: &mut Health) {
        health.assessment = self.send(to, Ata::SmartReturnStatus).map_err(Failure::reason).and_then(|reply| {
            match overall(&sense_of(&reply, to.answering())?).map_err(unreadable)? {
                Overall::Passed => Ok(SelfAssessment::Passed),
                Overall::Failing => Ok(SelfAssessment::Failing),
            }
        });
        match self.smart_data(to, answers) {
            Ok(data) => self.take_in(to, health, &data),
            Err(failure) => collect(health, HealthPart::Attributes, Err(failure)),
        }
    }

    fn take_in(&mut self, to: &mut dyn Transport, health: &mut Health, data: &SmartData) {
        collect(health, HealthPart::Attributes, Ok(ata::attributes::counters(&data.attributes, self.model())));
        // Where the status cannot be had, as behind some bridges, the thresholds say the same.
        if health.assessment.is_err() {
            if let Ok(limits) = parsed(self.send(to, Ata::SmartReadThresholds), thresholds) {
                let predicting = data.attributes.iter().filter(|attribute| attribute.predicts_failure);
                let standings: Vec<_> = predicting.filter_map(|attribute| limits.standing(attribute)).collect();
                if standings.contains(&ThresholdState::FailingNow) {
                    health.assessment = Ok(SelfAssessment::Failing);
                } else if !standings.is_empty() {
                    health.assessment = Ok(SelfAssessment::Passed);
                }
            }
        }
    }

    /// SMART READ DATA, sent once a session.
    fn smart_data(&mut self, to: &mut dyn Transport, answers: &mut AtaAnswers) -> Result<SmartData, Failure> {
        if !self.abilities().smart_enabled {
            return Err(Failure::NotSupported("it has no SMART, or it is switched off".to_owned()));
        }
        answers.smart_data.get_or_insert_with(|| parsed(self.send(to, Ata::SmartReadData), smart_data)).clone()
    }

    /// Which logs it has by General Purpose Logging, asked once a session.
    fn logs(&mut self, to: &mut dyn Transport, answers: &mut AtaAnswers) -> Directory {
        let ask = || {
            let logs = self.abilities().general_logs.then(|| self.read(to, 0, 0, ata::logs::directory));
            logs.and_then(Result::ok).unwrap_or_default()
        };
        answers.logs.get_or_insert_with(ask).clone()
    }

    /// Reads one page of a log of General Purpose Logging.
    fn read<T>(
        &mut self,
        to: &mut dyn Transport,
        log: u8,
        page: u16,
        parse: impl FnOnce(&[u8]) -> Result<T, String>,
    ) -> Result<T, Failure> {
        parsed(self.send(to, Ata::ReadLogExt { log, page }), parse)
    }

    /// Sends a command, unless the drive has settled before that it does not know it.
    fn send(&mut self, to: &mut dyn Transport, command: Ata) -> Result<Reply, Failure> {
        let settled = if command == Ata::CheckPowerMode { POWER_MODE_REFUSALS } else { 1 };
        let command = DriveCommand::Ata(command);
        if self.refused.get(&command).is_some_and(|&refusals| refusals >= settled) {
            return Err(Failure::NotSupported("it said so before".to_owned()));
        }
        let reply = to.send(&command);
        match &reply {
            Err(Failure::NotSupported(_)) => *self.refused.entry(command).or_default() += 1,
            Err(Failure::Missing(_)) => {}
            Ok(_) => _ = self.refused.remove(&command),
        }
        reply
    }

    fn abilities(&self) -> Abilities {
        self.identity.as_ref().map(|identity| identity.abilities).unwrap_or_default()
    }

    fn model(&self) -> &str {
        self.identity.as_ref().and_then(|identity| identity.model.as_deref()).unwrap_or_default()
    }
}

fn whole_page(bytes: &[u8]) -> Result<Vec<u8>, String> {
    page(bytes).map(|page| page.to_vec())
}

/// The limit that the statistics page on temperature states.
fn own_limits(health: &Health) -> OwnLimits {
    let stated = |counter: &&DecodedCounter| counter.name == "maximum_temperature_c";
    let maximum = health.counters.iter().find(stated).map(|counter| Celsius(counter.value as f64));
    OwnLimits { maximum, critical: None }
}
