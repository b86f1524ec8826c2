//! The talk with an ATA drive, behind the kernel's own translation or a USB bridge. Whether it sleeps is asked first;
//! what it does not offer is asked once only, since every refused command makes the kernel halt the port for a moment.

use super::command::{Ata, Command};
use super::{
    Failure, Health, OneTalk, Reply, Told, Transport, Wanted, collect, not_offered, parsed, self_tests, sense_of,
    settle, unreadable,
};
use crate::reading::{Missing, OwnLimits, Power, Reason, SelfAssessment, SelfTestStep, SelfTests};
use crate::sense::parse::ata_identify::{Identify, identify};
use crate::sense::parse::ata_power::{PowerMode, power_mode};
use crate::sense::parse::ata_self_test::{self, Entry, SelfTest as Outcome};
use crate::sense::parse::ata_smart::{Overall, SmartData, Standing, overall, smart_data, thresholds};
use crate::sense::parse::counter::Counter;
use crate::sense::parse::quirks::Quirks;
use crate::sense::parse::sense_data::Answering;
use crate::sense::parse::{ata_attributes, ata_logs, ata_sct, ata_statistics};
use crate::units::Celsius;
use std::collections::BTreeSet;

/// Logs, by their addresses (ACS-3, table A.2, from memory).
const SUMMARY_ERRORS: u8 = 0x01;
const EXTENDED_ERRORS: u8 = 0x03;
const STATISTICS: u8 = 0x04;
const SELF_TESTS: u8 = 0x06;
const PHY_EVENTS: u8 = 0x11;
const SCT_STATUS: u8 = 0xE0;

/// What the drive answered to SMART READ DATA in this talk, once it was asked.
type SmartPage = Option<Result<SmartData, Failure>>;

/// What is remembered of a drive from one talk to the next.
#[derive(Debug, Default)]
pub struct AtaDrive {
    identity: Option<Identify>,
    quirks: Quirks,
    refused: BTreeSet<Command>,
}

impl AtaDrive {
    /// A drive whose identity the kernel keeps, or not yet.
    pub fn new(identity: Option<Identify>, quirks: Quirks) -> Self {
        Self { identity, quirks, refused: BTreeSet::new() }
    }

    /// One talk.
    pub fn ask(&mut self, to: &mut dyn Transport, wanted: Wanted) -> Told {
        let to = &mut OneTalk::new(to);
        if let Err(why) = self.identify_behind_bridge(to, wanted) {
            return Told::only(Err(why));
        }
        let mode = self.power_mode(to);
        let power = match &mode {
            Ok(mode) if mode.is_asleep() => return Told::only(Ok(Power::Asleep)),
            Ok(PowerMode::ActiveOrIdle) => Ok(Power::Active),
            Ok(_) => Ok(Power::Idle),
            // A drive that somebody has just used is awake, whatever its bridge says.
            Err(_) if wanted.in_use => Ok(Power::Active),
            Err(why) => return Told::only(Err(why.clone())),
        };
        if let Err(why) = self.identify(to) {
            return Told { temperature: wanted.temperature.then_some(Err(why)), ..Told::only(power) };
        }
        let step = wanted.step.map(|step| {
            // Only the drive's own word says that a test wakes nobody.
            mode.clone()?;
            self.step(to, step)
        });
        // With its heads parked, logs that lie on the medium would make it move them.
        let parked = mode.is_ok_and(PowerMode::may_have_parked) && !wanted.in_use && !wanted.by_owner;
        let mut read = None;
        let health = (wanted.health && !parked).then(|| self.health(to, &mut read));
        let own_limits = health.as_ref().map(own_limits).unwrap_or_default();
        let self_tests = (wanted.self_tests && !parked).then(|| self.self_tests(to, &mut read));
        let temperature = wanted.temperature.then(|| self.temperature(to, &mut read));
        Told { power, temperature, own_limits, health, self_tests, step }
    }

    /// The kernel learns from a successful command that a bridge has more sense to give than 18 bytes, so a bridge is
    /// asked for the drive's identity before anything else; but not while it may sleep.
    fn identify_behind_bridge(&mut self, to: &mut dyn Transport, wanted: Wanted) -> Result<(), Missing> {
        if to.answering() != Answering::Bridge || self.identity.is_some() {
            return Ok(());
        }
        if !wanted.in_use {
            return Err(Missing::new(Reason::NotAsked, "not used since the start, and its adapter is not known yet"));
        }
        self.identify(to)
    }

    fn identify(&mut self, to: &mut dyn Transport) -> Result<(), Missing> {
        if self.identity.is_none() {
            self.identity = Some(parsed(self.send(to, Ata::Identify), identify).map_err(Failure::reason)?);
        }
        Ok(())
    }

    fn power_mode(&mut self, to: &mut dyn Transport) -> Result<PowerMode, Missing> {
        let mut ask = || {
            let reply = self.send(to, Ata::CheckPowerMode).map_err(Failure::reason)?;
            power_mode(&sense_of(&reply, to.answering())?).map_err(unreadable)
        };
        // The first reply of a bridge may be cut; the kernel takes the whole of the next.
        ask().or_else(|_| ask())
    }

    /// By the SCT status, which costs the drive least; else by its attributes.
    fn temperature(&mut self, to: &mut dyn Transport, read: &mut SmartPage) -> Result<Celsius, Missing> {
        let abilities = self.identity.as_ref().map(|identity| identity.abilities).unwrap_or_default();
        if abilities.sct && !self.quirks.avoid_sct {
            let status = parsed(self.send(to, Ata::SmartReadLog { log: SCT_STATUS }), ata_sct::sct_status);
            if let Some(celsius) = status.ok().and_then(|status| status.temperature) {
                return Ok(celsius);
            }
        }
        if !abilities.smart_enabled {
            return Err(Missing::new(Reason::NotFitted, "the drive has no SMART, or it is switched off"));
        }
        let data = self.smart_data(to, read).map_err(Failure::reason)?;
        let counters = ata_attributes::counters(&data.attributes, self.model());
        let degrees = ["temperature_c", "airflow_temperature_c"]
            .into_iter()
            .find_map(|name| counters.iter().find(|counter| counter.name == name));
        degrees
            .map(|counter| Celsius(counter.value as f64))
            .ok_or_else(|| Missing::new(Reason::NotFitted, "the drive states no temperature that makes sense"))
    }

    fn health(&mut self, to: &mut dyn Transport, read: &mut SmartPage) -> Health {
        let abilities = self.identity.as_ref().map(|identity| identity.abilities).unwrap_or_default();
        let mut health = Health { assessment: Err(not_offered()), counters: Vec::new(), unread: Vec::new() };
        if abilities.general_logs {
            self.statistics(to, &mut health);
        }
        if abilities.smart && abilities.smart_enabled {
            self.smart(to, &mut health, read);
        }
        if abilities.phy_counters {
            let events = parsed(self.send(to, Ata::ReadLogExt { log: PHY_EVENTS, page: 0 }), ata_logs::phy_events);
            collect(&mut health, "Phy event counters", events);
        }
        if abilities.error_log {
            let errors = match abilities.general_logs {
                true => parsed(
                    self.send(to, Ata::ReadLogExt { log: EXTENDED_ERRORS, page: 0 }),
                    ata_logs::extended_error_count,
                ),
                false => {
                    parsed(self.send(to, Ata::SmartReadLog { log: SUMMARY_ERRORS }), ata_logs::summary_error_count)
                }
            };
            collect(&mut health, "error log", errors.map(|counter| vec![counter]));
        }
        settle(&mut health);
        health
    }

    /// The Device Statistics log: standardised, so asked before the attributes.
    fn statistics(&mut self, to: &mut dyn Transport, health: &mut Health) {
        let directory = parsed(self.send(to, Ata::ReadLogExt { log: 0, page: 0 }), ata_logs::directory);
        if !directory.is_ok_and(|directory| directory.pages(STATISTICS) > 0) {
            return;
        }
        let list = parsed(self.send(to, Ata::ReadLogExt { log: STATISTICS, page: 0 }), ata_statistics::supported_pages);
        let pages = match list {
            Ok(pages) => pages,
            Err(failure) => return collect(health, "list of statistics", Err(failure)),
        };
        for page in pages.into_iter().filter(|page| (1..=7).contains(page)) {
            let reply = self.send(to, Ata::ReadLogExt { log: STATISTICS, page: page.into() });
            collect(
                health,
                &format!("statistics page {page:02X}h"),
                parsed(reply, |bytes| ata_statistics::counters(bytes, page)),
            );
        }
    }

    fn smart(&mut self, to: &mut dyn Transport, health: &mut Health, read: &mut SmartPage) {
        health.assessment = self.send(to, Ata::SmartReturnStatus).map_err(Failure::reason).and_then(|reply| {
            match overall(&sense_of(&reply, to.answering())?).map_err(unreadable)? {
                Overall::Passed => Ok(SelfAssessment::Passed),
                Overall::Failing => Ok(SelfAssessment::Failing),
            }
        });
        match self.smart_data(to, read) {
            Ok(data) => self.take_in(to, health, &data),
            Err(failure) => collect(health, "attributes", Err(failure)),
        }
    }

    fn take_in(&mut self, to: &mut dyn Transport, health: &mut Health, data: &SmartData) {
        collect(health, "attributes", Ok(ata_attributes::counters(&data.attributes, self.model())));
        // Where the status cannot be had, as behind some bridges, the thresholds say the same.
        if health.assessment.is_err() {
            if let Ok(limits) = parsed(self.send(to, Ata::SmartReadThresholds), thresholds) {
                let predicting = data.attributes.iter().filter(|attribute| attribute.predicts_failure);
                let standings: Vec<_> = predicting.filter_map(|attribute| limits.standing(attribute)).collect();
                if standings.contains(&Standing::FailingNow) {
                    health.assessment = Ok(SelfAssessment::Failing);
                } else if !standings.is_empty() {
                    health.assessment = Ok(SelfAssessment::Passed);
                }
            }
        }
    }

    /// How its self-tests stand.
    fn self_tests(&mut self, to: &mut dyn Transport, read: &mut SmartPage) -> Result<SelfTests, Missing> {
        let data = self.smart_data(to, read).map_err(Failure::reason)?;
        if !data.can_self_test {
            return Err(not_offered());
        }
        let hours = ata_attributes::counters(&data.attributes, self.model())
            .into_iter()
            .find(|counter| counter.name == "power_on_hours")
            .and_then(|counter| u64::try_from(counter.value).ok());
        let record = match (self.record(to), data.self_test) {
            (Ok(record), _) => record,
            (Err(failure), Outcome::Passed) => return Err(failure.reason()),
            (Err(_), _) => Vec::new(),
        };
        let minutes = [data.short_test_minutes, data.extended_test_minutes];
        Ok(self_tests::ata(data.self_test, &record, hours, minutes))
    }

    /// The tests of the past, the newest first.
    fn record(&mut self, to: &mut dyn Transport) -> Result<Vec<Entry>, Failure> {
        parsed(self.send(to, Ata::SmartReadLog { log: SELF_TESTS }), ata_self_test::log)
    }

    /// Begins or ends a self-test.
    fn step(&mut self, to: &mut dyn Transport, step: SelfTestStep) -> Result<(), Missing> {
        let mut read = None;
        if !self.smart_data(to, &mut read).map_err(Failure::reason)?.can_self_test {
            return Err(not_offered());
        }
        self.send(to, Ata::SelfTest(step)).map_err(Failure::reason).map(drop)
    }

    /// SMART READ DATA, sent once a talk.
    fn smart_data(&mut self, to: &mut dyn Transport, read: &mut SmartPage) -> Result<SmartData, Failure> {
        if !self.identity.as_ref().is_some_and(|identity| identity.abilities.smart_enabled) {
            return Err(Failure::NotSupported("it has no SMART, or it is switched off".to_owned()));
        }
        read.get_or_insert_with(|| parsed(self.send(to, Ata::SmartReadData), smart_data)).clone()
    }

    /// Sends a command, unless the drive has said before that it does not know it.
    fn send(&mut self, to: &mut dyn Transport, command: Ata) -> Result<Reply, Failure> {
        let command = Command::Ata(command);
        if self.refused.contains(&command) {
            return Err(Failure::NotSupported("it said so before".to_owned()));
        }
        let reply = to.send(&command);
        if matches!(reply, Err(Failure::NotSupported(_))) {
            self.refused.insert(command);
        }
        reply
    }

    fn model(&self) -> &str {
        self.identity.as_ref().and_then(|identity| identity.model.as_deref()).unwrap_or_default()
    }
}

/// The limit that the statistics page on temperature states.
fn own_limits(health: &Health) -> OwnLimits {
    let stated = |counter: &&Counter| counter.name == "maximum_temperature_c";
    let maximum = health.counters.iter().find(stated).map(|counter| Celsius(counter.value as f64));
    OwnLimits { maximum, critical: None }
}
