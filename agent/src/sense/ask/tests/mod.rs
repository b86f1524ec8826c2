//! Talks with drives that answer from a list, and note what they are sent. One file a kind of drive; what no kind of
//! drive may make happen, whatever it answers, is in `noise`.

mod ata;
mod bridge;
mod logs;
mod noise;
mod nvme;
mod scsi;
mod steps;
mod strangers;

use super::command::{Ata, DriveCommand, Nvme, Recovering, Scsi};
use super::{DriveAnswers, DriveQuestions, Failure, Health, Reply, Transport};
use crate::reading::{HealthPart, Missing, Reason, SelfTest, UnreadHealth, WhyMissing};
use crate::sense::parse::scsi::sense_data::Answering;
use crate::sense::parse::testing::{hex, page, summed};
use std::collections::BTreeMap;

fn unreadable(found: &str) -> Missing {
    Missing::found(Reason::Unreadable, found)
}

fn unread(part: HealthPart, found: &str) -> UnreadHealth {
    UnreadHealth { part, missing: unreadable(found) }
}

/// What a drive says to one command.
type Answer = Result<Reply, Failure>;

/// A drive that answers from a list.
#[derive(Debug, Clone)]
struct Replay {
    answering: Answering,
    /// For each command the answers in their order; the last one stays.
    answers: BTreeMap<DriveCommand, Vec<Answer>>,
    sent: Vec<DriveCommand>,
}

impl Replay {
    /// A drive that refuses all it is asked.
    fn new(answering: Answering) -> Self {
        Self { answering, answers: BTreeMap::new(), sent: Vec::new() }
    }

    /// The same drive with other answers to one command.
    fn with(mut self, command: impl Into<DriveCommand>, answers: impl IntoIterator<Item = Answer>) -> Self {
        self.answers.insert(command.into(), answers.into_iter().collect());
        self
    }

    /// The same drive without an answer to one command.
    fn without(mut self, command: impl Into<DriveCommand>) -> Self {
        self.answers.remove(&command.into());
        self
    }

    /// What it was sent since the last look.
    fn sent(&mut self) -> Vec<DriveCommand> {
        std::mem::take(&mut self.sent)
    }
}

impl Transport for Replay {
    fn send(&mut self, command: &DriveCommand) -> Answer {
        self.sent.push(*command);
        match self.answers.get_mut(command) {
            Some(answers) if answers.len() > 1 => answers.remove(0),
            Some(answers) => answers.first().cloned().unwrap_or_else(refused),
            None => refused(),
        }
    }

    fn answering(&self) -> Answering {
        self.answering
    }
}

impl From<Ata> for DriveCommand {
    fn from(command: Ata) -> Self {
        Self::Ata(command)
    }
}

impl From<Scsi> for DriveCommand {
    fn from(command: Scsi) -> Self {
        Self::Scsi(command)
    }
}

impl From<Nvme> for DriveCommand {
    fn from(command: Nvme) -> Self {
        Self::Nvme(command)
    }
}

fn commands<C: Into<DriveCommand>>(list: impl IntoIterator<Item = C>) -> Vec<DriveCommand> {
    list.into_iter().map(Into::into).collect()
}

fn data(bytes: impl Into<Vec<u8>>) -> Answer {
    Ok(Reply { data: bytes.into(), sense: Vec::new() })
}

/// Sense data, as hexadecimal.
fn sense_data(sense: &str) -> Answer {
    Ok(Reply { data: Vec::new(), sense: hex(sense) })
}

fn refused() -> Answer {
    Err(Failure::NotSupported("Aborted".to_owned()))
}

fn timed_out() -> Answer {
    Err(Failure::Missing(Missing::from(WhyMissing::KernelGaveUp)))
}

fn reason<T>(found: &Result<T, Missing>) -> Option<Reason> {
    found.as_ref().err().map(|why| why.reason)
}

/// The value of a counter, which may be there once only.
fn count(health: &Health, name: &str) -> Option<i64> {
    let mut named = health.counters.iter().filter(|counter| counter.name == name);
    let first = named.next().map(|counter| counter.value);
    assert!(named.next().is_none(), "{name} is there twice");
    first
}

/// Its health, which must have been told.
fn health(told: &DriveAnswers) -> &Health {
    told.health.as_ref().expect("the health was asked")
}

/// How its self-tests stand, which must have been asked.
fn newest_test(told: &DriveAnswers) -> Result<SelfTest, Missing> {
    told.self_tests.clone().expect("the self-tests were asked").map(|tests| tests.now)
}

const NOTHING: DriveQuestions = DriveQuestions {
    temperature: false,
    health: false,
    self_tests: false,
    step: None,
    by_owner: false,
    in_use: false,
    afresh: false,
};
const WARMTH: DriveQuestions = DriveQuestions { temperature: true, ..NOTHING };
const HEALTH: DriveQuestions = DriveQuestions { health: true, self_tests: true, ..NOTHING };
const ALL: DriveQuestions = DriveQuestions { temperature: true, ..HEALTH };
const ALL_IN_USE: DriveQuestions = DriveQuestions { in_use: true, ..ALL };

/// All that can be wanted of a drive that nobody uses.
const UNUSED: [DriveQuestions; 4] = [NOTHING, WARMTH, HEALTH, ALL];

const STATISTICS: u8 = 0x04;
const EXTENDED_ERRORS: u8 = 0x03;
const EXTENDED_SELF_TESTS: u8 = 0x07;
const SELF_TESTS: Ata = Ata::SmartReadLog { log: 0x06 };
const SCT_STATUS: Ata = Ata::SmartReadLog { log: 0xE0 };

fn log(log: u8, page: u16) -> Ata {
    Ata::ReadLogExt { log, page }
}

/// The answer to CHECK POWER MODE that QEMU's drive gives under Linux 6.12, with another COUNT.
fn power_mode(count: u8) -> Answer {
    sense_data(&format!("72 01 00 1d 00 00 00 0e 09 0c 00 00 00 {count:02x} 00 00 00 00 00 00 00 50"))
}

/// The answer to the question for the recovery limit, in tenths of a second.
fn recovery_limit(tenths: u8) -> Answer {
    sense_data(&format!("72 01 00 1d 00 00 00 0e 09 0c 00 00 00 {tenths:02x} 00 00 00 4f 00 c2 00 50"))
}

/// IDENTIFY DEVICE with these words.
fn identity(model: &str, words: &[(usize, u16)]) -> Vec<u8> {
    let swapped = |text: &str, length: usize| -> Vec<u8> {
        format!("{text:length$}").as_bytes().chunks(2).flat_map(|pair| [pair[1], pair[0]]).collect()
    };
    let mut bytes = page(&[(20, &swapped("HERON-0001", 20)), (54, &swapped(model, 40)), (510, &[0xA5])]);
    for &(index, word) in words {
        bytes[index * 2..index * 2 + 2].copy_from_slice(&word.to_le_bytes());
    }
    summed(bytes)
}

/// SATA with Phy counters; SMART, and it is on; error log, self-test and General Purpose Logging; SCT with a recovery limit (ACS-3 clause
/// 7.12, from memory; linux/ata.h).
const ABLE: [(usize, u16); 5] = [(76, 0x050E), (82, 0x0029), (84, 0x4123), (85, 0x0029), (206, 0x0009)];

/// SMART READ DATA with the status of the last self-test, and attributes: number, flags, value and lowest raw byte.
fn attributes(self_test: u8, rows: &[(u8, u8, u8, u8)]) -> Vec<u8> {
    let rows: Vec<u8> =
        rows.iter().flat_map(|&(id, flags, value, raw)| [id, flags, 0, value, value, raw, 0, 0, 0, 0, 0, 0]).collect();
    summed(page(&[(0, &[1, 0]), (2, &rows), (363, &[self_test]), (367, &[0x19])]))
}

/// SMART READ THRESHOLDS: number and threshold.
fn thresholds(rows: &[(u8, u8)]) -> Vec<u8> {
    let rows: Vec<u8> = rows.iter().flat_map(|&(id, limit)| [id, limit, 0, 0, 0, 0, 0, 0, 0, 0, 0, 0]).collect();
    summed(page(&[(0, &[1, 0]), (2, &rows)]))
}

/// The self-test log with one test, or none.
fn self_tests(status: Option<u8>) -> Vec<u8> {
    let newest = status.is_some().into();
    summed(page(&[(0, &[1, 0]), (2, &[newest, status.unwrap_or(0), newest]), (508, &[newest])]))
}

/// A page of the extended self-test log: the number of the newest test, and the first test of the page.
fn extended_tests(newest: u16, status: Option<u8>) -> Vec<u8> {
    let first = status.map_or([0; 4], |status| [2, status, 1, 0]);
    summed(page(&[(0, &[1, 0]), (2, &newest.to_le_bytes()), (4, &first)]))
}

/// The directory of logs: each with its number of pages.
fn directory(logs: &[(u8, u8)]) -> Vec<u8> {
    let mut bytes = page(&[(0, &[1, 0])]);
    for &(log, pages) in logs {
        bytes[2 * usize::from(log)] = pages;
    }
    bytes
}

/// A page of the Device Statistics log, its statistics supported and valid.
fn statistics(number: u8, fields: &[(usize, u64)]) -> Vec<u8> {
    const VALID: u64 = 0xC0 << 56;
    let mut bytes = page(&[(0, &[1, 0, number])]);
    for &(at, value) in fields {
        bytes[at..at + 8].copy_from_slice(&(VALID | value).to_le_bytes());
    }
    bytes
}

/// A SATA disk that is awake and offers all that is ever asked.
fn disk() -> Replay {
    let directory = directory(&[(STATISTICS, 8), (EXTENDED_ERRORS, 1), (EXTENDED_SELF_TESTS, 1)]);
    let list = page(&[(0, &[1, 0, 0]), (8, &[4, 0, 1, 5, 6])]);
    let phy_events = summed(page(&[(4, &hex("0a 10 07 00"))]));
    let error = hex("00 40 08 00 78 00 56 00 34 00 40 51");
    let errors = summed(page(&[(0, &[1, 0, 1, 0]), (4 + 90, &error), (4 + 122, &[0x10, 0x27]), (500, &[5, 0])]));
    let warmth = page(&[(0, &[3, 0]), (200, &[36, 20, 41, 5, 52])]);
    let rows = [(5, 3, 100, 0), (9, 2, 90, 77), (190, 2, 69, 31), (194, 2, 60, 38), (199, 2, 200, 2)];
    Replay::new(Answering::Kernel)
        .with(Ata::CheckPowerMode, [power_mode(0xFF)])
        .with(Ata::Identify, [data(identity("Songbird HB4000", &ABLE))])
        .with(log(0, 0), [data(directory)])
        .with(log(STATISTICS, 0), [data(list)])
        .with(log(STATISTICS, 1), [data(statistics(1, &[(0x10, 9_000)]))])
        .with(log(STATISTICS, 5), [data(statistics(5, &[(0x58, 60)]))])
        .with(log(STATISTICS, 6), [data(statistics(6, &[(0x18, 3)]))])
        // As QEMU's drive answers under Linux 6.12.
        .with(Ata::SmartReturnStatus, [sense_data("72 01 00 1d 00 00 00 0e 09 0c 00 00 00 00 00 00 00 4f 00 c2 00 50")])
        .with(Ata::SmartReadData, [data(attributes(0x00, &rows))])
        .with(log(EXTENDED_SELF_TESTS, 0), [data(extended_tests(1, Some(0x00)))])
        .with(Ata::RecoveryLimit(Recovering::Reads), [recovery_limit(70)])
        .with(Ata::RecoveryLimit(Recovering::Writes), [recovery_limit(70)])
        .with(log(0x11, 0), [data(phy_events)])
        .with(log(EXTENDED_ERRORS, 0), [data(errors)])
        .with(SCT_STATUS, [data(warmth)])
}
