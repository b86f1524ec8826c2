//! The talk with an ATA drive, behind the kernel's own translation or a USB bridge. Whether it sleeps is asked first;
//! what it does not offer is asked once only, since every refused command makes the kernel halt the port for a moment.

use super::command::{Ata, Command, Recovering};
use super::{Failure, Health, OneTalk, Reply, Told, Transport, Wanted, collect, parsed, sense_of, settle, unreadable};
use crate::reading::{Missing, OwnLimits, Power, Reason, RecoveryLimit, SelfAssessment, SelfTest, recovery_not_asked};
use crate::sense::parse::ata_identify::{Identify, Rotation, identify};
use crate::sense::parse::ata_power::{PowerMode, power_mode};
use crate::sense::parse::ata_self_test::{self, SelfTest as Outcome};
use crate::sense::parse::ata_smart::{Overall, SmartData, Standing, overall, smart_data, thresholds};
use crate::sense::parse::counter::Counter;
use crate::sense::parse::quirks::Quirks;
use crate::sense::parse::sense_data::Answering;
use crate::sense::parse::{ata_attributes, ata_logs, ata_recovery, ata_sct, ata_statistics};
use crate::units::Celsius;
use std::collections::BTreeSet;

/// Logs, by their addresses (ACS-3, table A.2, from memory).
const SUMMARY_ERRORS: u8 = 0x01;
const EXTENDED_ERRORS: u8 = 0x03;
const STATISTICS: u8 = 0x04;
const SELF_TESTS: u8 = 0x06;
const PHY_EVENTS: u8 = 0x11;
const SCT_STATUS: u8 = 0xE0;

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
        // With its heads parked, logs that lie on the medium would make it move them.
        let parked = mode.is_ok_and(PowerMode::may_have_parked) && !wanted.in_use;
        let health = (wanted.health && !parked).then(|| self.health(to));
        let own_limits = health.as_ref().map(own_limits).unwrap_or_default();
        Told { power, temperature: wanted.temperature.then(|| self.temperature(to)), own_limits, health }
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
    fn temperature(&mut self, to: &mut dyn Transport) -> Result<Celsius, Missing> {
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
        let data = parsed(self.send(to, Ata::SmartReadData), smart_data).map_err(Failure::reason)?;
        let counters = ata_attributes::counters(&data.attributes, self.model());
        let degrees = ["temperature_c", "airflow_temperature_c"]
            .into_iter()
            .find_map(|name| counters.iter().find(|counter| counter.name == name));
        degrees
            .map(|counter| Celsius(counter.value as f64))
            .ok_or_else(|| Missing::new(Reason::NotFitted, "the drive states no temperature that makes sense"))
    }

    fn health(&mut self, to: &mut dyn Transport) -> Health {
        let abilities = self.identity.as_ref().map(|identity| identity.abilities).unwrap_or_default();
        let not_offered = || Missing::new(Reason::NotFitted, "the drive does not offer it");
        let mut health = Health {
            assessment: Err(not_offered()),
            counters: Vec::new(),
            self_test: Err(not_offered()),
            recovery_limit: Err(recovery_not_asked()),
            unread: Vec::new(),
        };
        if abilities.general_logs {
            self.statistics(to, &mut health);
        }
        if abilities.smart && abilities.smart_enabled {
            self.smart(to, &mut health);
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
            return Err(Missing::new(Reason::NotAsked, "a drive without disks does not try for long"));
        }
        if !identity.abilities.recovery_control || self.quirks.avoid_sct {
            return Err(Missing::new(Reason::NotFitted, "the drive has no limit to set"));
        }
        let mut of = |at| {
            let reply = self.send(to, Ata::RecoveryLimit(at)).map_err(Failure::reason)?;
            ata_recovery::recovery_limit(&sense_of(&reply, to.answering())?).map_err(unreadable)
        };
        Ok(of(Recovering::Reads)?.longer(of(Recovering::Writes)?))
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

    fn smart(&mut self, to: &mut dyn Transport, health: &mut Health) {
        health.assessment = self.send(to, Ata::SmartReturnStatus).map_err(Failure::reason).and_then(|reply| {
            match overall(&sense_of(&reply, to.answering())?).map_err(unreadable)? {
                Overall::Passed => Ok(SelfAssessment::Passed),
                Overall::Failing => Ok(SelfAssessment::Failing),
            }
        });
        match parsed(self.send(to, Ata::SmartReadData), smart_data) {
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
        if !data.can_self_test {
            return;
        }
        // "Passed" in the status also stands for "never ran"; the log tells the two apart.
        let past = parsed(self.send(to, Ata::SmartReadLog { log: SELF_TESTS }), ata_self_test::log);
        health.self_test = match (data.self_test, past) {
            (Outcome::Passed, Ok(past)) => Ok(past.first().map_or(SelfTest::Never, |entry| outcome(entry.outcome))),
            (Outcome::Passed, Err(failure)) => Err(failure.reason()),
            (other, _) => Ok(outcome(other)),
        };
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

fn outcome(outcome: Outcome) -> SelfTest {
    match outcome {
        Outcome::Passed => SelfTest::Passed,
        Outcome::AbortedByHost | Outcome::InterruptedByReset | Outcome::Reserved(_) => SelfTest::Ended,
        Outcome::CouldNotFinish => SelfTest::CouldNotFinish,
        Outcome::Failed(_) => SelfTest::Failed,
        Outcome::Running { remaining_percent } => SelfTest::Running { remaining_percent: Some(remaining_percent) },
    }
}

/// The limit that the statistics page on temperature states.
fn own_limits(health: &Health) -> OwnLimits {
    let stated = |counter: &&Counter| counter.name == "maximum_temperature_c";
    let maximum = health.counters.iter().find(stated).map(|counter| Celsius(counter.value as f64));
    OwnLimits { maximum, critical: None }
}
