//! How an ATA drive's self-tests stand, and beginning or ending one.

use super::{AtaAnswers, AtaDrive, whole_page};
use crate::reading::{Missing, SelfTestStep, SelfTests};
use crate::sense::ask::command::Ata;
use crate::sense::ask::{Failure, Transport, not_supported, parsed, self_tests, unreadable};
use crate::sense::parse::ata;
use crate::sense::parse::ata::logs::Directory;
use crate::sense::parse::ata::self_test::{AtaPastTest, AtaTestOutcome};

/// Logs, by their addresses (ACS-3, table A.2, from memory).
const SELF_TESTS: u8 = 0x06;
const EXTENDED_SELF_TESTS: u8 = 0x07;

impl AtaDrive {
    /// How its self-tests stand.
    pub(super) fn self_tests(
        &mut self,
        to: &mut dyn Transport,
        answers: &mut AtaAnswers,
    ) -> Result<SelfTests, Missing> {
        let data = self.smart_data(to, answers).map_err(Failure::reason)?;
        if !data.can_self_test {
            return Err(not_supported());
        }
        let hours = ata::attributes::counters(&data.attributes, self.model())
            .into_iter()
            .find(|counter| counter.name == "power_on_hours")
            .and_then(|counter| u64::try_from(counter.value).ok());
        let logs = self.logs(to, answers);
        let record = match (self.past_tests(to, &logs), data.self_test) {
            (Ok(record), _) => record,
            (Err(failure), AtaTestOutcome::Passed) => return Err(failure.reason()),
            (Err(_), _) => Vec::new(),
        };
        let minutes = [data.short_test_minutes, data.extended_test_minutes];
        Ok(self_tests::ata(data.self_test, &record, hours, minutes))
    }

    /// Begins or ends a self-test.
    pub(super) fn step(&mut self, to: &mut dyn Transport, step: SelfTestStep) -> Result<(), Missing> {
        // What it answers now is old once the test has begun, so nobody else gets to hear it.
        let data = self.smart_data(to, &mut AtaAnswers::default()).map_err(Failure::reason)?;
        if !data.can_self_test {
            return Err(not_supported());
        }
        self.send(to, Ata::SelfTest(step)).map_err(Failure::reason).map(drop)
    }

    /// The tests of the past, the newest first; by the extended log where the drive has it.
    fn past_tests(&mut self, to: &mut dyn Transport, logs: &Directory) -> Result<Vec<AtaPastTest>, Failure> {
        if logs.pages(EXTENDED_SELF_TESTS) > 0 {
            let extended = self.extended_tests(to);
            if extended.is_ok() {
                return extended;
            }
        }
        parsed(self.send(to, Ata::SmartReadLog { log: SELF_TESTS }), ata::self_test::log)
    }

    fn extended_tests(&mut self, to: &mut dyn Transport) -> Result<Vec<AtaPastTest>, Failure> {
        // Drives have one or two.
        const MOST_PAGES: usize = 16;
        let mut log = self.read(to, EXTENDED_SELF_TESTS, 0, whole_page)?;
        let pages = ata::self_test::pages_to_the_newest(&log).map_err(|why| Failure::Missing(unreadable(why)))?;
        for next in 1..pages.min(MOST_PAGES) {
            log.extend(self.read(to, EXTENDED_SELF_TESTS, next as u16, whole_page)?);
        }
        ata::self_test::extended_log(&log).map_err(|why| Failure::Missing(unreadable(why)))
    }
}
