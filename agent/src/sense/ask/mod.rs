//! Asks drives themselves, by command. Every command that can ever be sent is in [`command`]; how it travels is a
//! [`Transport`], so that tests can answer with recorded bytes; what is asked in which order is in [`ata`], [`scsi`] and
//! [`nvme`], and never wakes a drive: the first question is always whether it sleeps.

pub mod ata;
pub mod command;
pub mod drive;
pub mod nvme;
pub mod nvme_admin;
pub mod scsi;
pub mod scsi_generic;
pub mod self_tests;

use super::parse::counter::{DecodedCounter, drop_contradicted_hours};
use super::parse::quirks::is_weak_serial;
use super::parse::scsi::sense_data::{Answering, Sense, sense};
use crate::reading::{
    HealthPart, LoggedError, Missing, OwnLimits, Power, Reason, RecoveryLimit, SelfAssessment, SelfTestStep, SelfTests,
    UnreadHealth, WhyMissing,
};
use crate::units::Celsius;
use command::DriveCommand;
use std::collections::BTreeSet;

/// What a drive answered.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Reply {
    /// What was asked for.
    pub data: Vec<u8>,
    /// Sense data, when the drive or the kernel had something to say about the command.
    pub sense: Vec<u8>,
}

/// Why there is no reply.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Failure {
    /// The drive or its bridge does not know the command, or this form of it: asking again is of no use.
    NotSupported(String),
    /// Anything else.
    Missing(Missing),
}

impl Failure {
    /// The reason, for a reading.
    pub fn reason(self) -> Missing {
        match self {
            Self::NotSupported(why) => not_supported().and_found(why),
            Self::Missing(why) => why,
        }
    }
}

/// The way to a drive: a command in; data, sense and status out.
pub trait Transport {
    /// Sends a command and waits for its end, which may take as long as the drive does.
    fn send(&mut self, command: &DriveCommand) -> Result<Reply, Failure>;

    /// Who fills in the sense data.
    fn answering(&self) -> Answering;
}

/// The way to a drive for one session, which is over when the drive does not answer in time: the kernel then resets the
/// link, and every further question could bring another reset.
struct OneSession<'a> {
    to: &'a mut dyn Transport,
    silent: Option<Missing>,
}

impl<'a> OneSession<'a> {
    fn new(to: &'a mut dyn Transport) -> Self {
        Self { to, silent: None }
    }

    /// What was told in the end. Half a health is none: what it lacks would look as if the drive did not have it.
    fn end(self, told: DriveAnswers) -> DriveAnswers {
        let health = told.health.filter(|_| self.silent.is_none());
        let self_tests = told.self_tests.filter(|_| self.silent.is_none());
        DriveAnswers { health, self_tests, broke_off: self.silent, ..told }
    }
}

impl Transport for OneSession<'_> {
    fn send(&mut self, command: &DriveCommand) -> Result<Reply, Failure> {
        if let Some(why) = &self.silent {
            return Err(Failure::Missing(why.clone()));
        }
        let reply = self.to.send(command);
        if let Err(Failure::Missing(why)) = &reply {
            self.silent = (why.reason == Reason::TimedOut).then(|| why.clone());
        }
        reply
    }

    fn answering(&self) -> Answering {
        self.to.answering()
    }
}

/// What is wanted of a drive besides whether it sleeps.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct DriveQuestions {
    /// Its temperature by command: no file of the kernel offers it.
    pub temperature: bool,
    /// Its health.
    pub health: bool,
    /// How its self-tests stand.
    pub self_tests: bool,
    /// A self-test to begin or to end. Only a drive that itself says that it is awake gets it.
    pub step: Option<SelfTestStep>,
    /// Its owner asks about its self-tests, so heads that are parked may be moved.
    pub by_owner: bool,
    /// Somebody else has just used it, so it is awake whatever else is known.
    pub in_use: bool,
    /// What it has refused so far may be asked once more.
    pub afresh: bool,
}

/// What a drive told.
#[derive(Debug, Clone, PartialEq)]
pub struct DriveAnswers {
    /// Whether it sleeps.
    pub power: Result<Power, Missing>,
    /// Its temperature, if that was wanted.
    pub temperature: Option<Result<Celsius, Missing>>,
    /// Its own limits, as far as it states them.
    pub own_limits: OwnLimits,
    /// Its health, if that was wanted, the drive was awake, and the session came to its end.
    pub health: Option<Health>,
    /// How its self-tests stand, if that was wanted, the drive was awake, and the session came to its end.
    pub self_tests: Option<Result<SelfTests, Missing>>,
    /// Whether it did the step that was wanted.
    pub step: Option<Result<(), Missing>>,
    /// Why the session came to no end: the drive fell silent.
    pub broke_off: Option<Missing>,
}

impl DriveAnswers {
    /// A drive of which only the power state is known.
    pub fn only(power: Result<Power, Missing>) -> Self {
        Self {
            power,
            temperature: None,
            own_limits: OwnLimits::default(),
            health: None,
            self_tests: None,
            step: None,
            broke_off: None,
        }
    }
}

/// A drive's health as it tells it.
#[derive(Debug, Clone, PartialEq)]
pub struct Health {
    /// What the drive thinks of itself.
    pub assessment: Result<SelfAssessment, Missing>,
    /// What it counts.
    pub counters: Vec<DecodedCounter>,
    /// The newest error in its log; `None` when it never logged one.
    pub newest_error: Result<Option<LoggedError>, Missing>,
    /// How long it may try before it says that it cannot.
    pub recovery_limit: Result<RecoveryLimit, Missing>,
    /// What could not be read, and why; what the drive does not offer is not among it.
    pub unread: Vec<UnreadHealth>,
}

impl Health {
    /// The health of a drive that offers nothing.
    fn not_offered() -> Self {
        Self {
            assessment: Err(not_supported()),
            counters: Vec::new(),
            newest_error: Err(not_supported()),
            recovery_limit: Err(recovery_not_asked()),
            unread: Vec::new(),
        }
    }
}

/// What to say when another drive answers than the one that was asked: a bridge may mistake one of its drives for the
/// other, and a drive may have been changed since. Blanks are not compared, since udev writes something in their place.
fn is_who_was_asked(known: Option<&str>, found: Option<&str>) -> Result<(), Missing> {
    let (Some(known), Some(found)) = (known.filter(|known| !is_weak_serial(known)), found) else { return Ok(()) };
    let letters = |serial: &str| -> String { serial.chars().filter(char::is_ascii_alphanumeric).collect() };
    if letters(known) == letters(found) {
        return Ok(());
    }
    Err(unreadable(format!("expected an answer of the drive {known}, found one of {found}")))
}

/// Why no recovery limit is known of a drive that was never asked.
pub(crate) fn recovery_not_asked() -> Missing {
    Missing::from(WhyMissing::OnlySataDisks)
}

/// The sense of a reply.
fn sense_of(reply: &Reply, answering: Answering) -> Result<Sense, Missing> {
    sense(&reply.sense, answering).map_err(unreadable)
}

fn not_supported() -> Missing {
    WhyMissing::NotSupported.into()
}

fn unreadable(why: String) -> Missing {
    Missing::found(Reason::Unreadable, why)
}

/// Parses the data of a reply; a bridge can return anything.
fn parsed<T>(reply: Result<Reply, Failure>, parse: impl FnOnce(&[u8]) -> Result<T, String>) -> Result<T, Failure> {
    parse(&reply?.data).map_err(|why| Failure::Missing(unreadable(why)))
}

/// Of several sources of one number the first is kept: they were asked in the order of their worth.
fn settle(health: &mut Health) {
    drop_contradicted_hours(&mut health.counters);
    let mut known = BTreeSet::new();
    health.counters.retain(|counter| known.insert(counter.name));
}

/// Takes in counters, or notes why there are none.
fn collect(health: &mut Health, part: HealthPart, found: Result<Vec<DecodedCounter>, Failure>) {
    match found {
        Ok(counters) => health.counters.extend(counters),
        Err(Failure::NotSupported(_)) => {}
        Err(Failure::Missing(missing)) => health.unread.push(UnreadHealth { part, missing }),
    }
}

#[cfg(test)]
mod tests;
