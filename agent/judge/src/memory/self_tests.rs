//! What is new about drives' tests of themselves: asked for, running, another quarter done, over. Whether a failed one
//! still counts against its drive is judged in [`crate::conditions::health`].

use super::drives::place_of;
use super::learning::{Learned, Learns, Look};
use std::collections::BTreeMap;
use traylight_data::clock::Moment;
use traylight_data::reading::{Drive, DriveKey, PastTest, SelfTest, SelfTests, TestOutcome};
use traylight_data::verdict::{Remark, TestNews};

/// What was told of each drive's self-tests.
#[derive(Debug, Clone, Default)]
pub struct SelfTestMemory {
    drives: BTreeMap<DriveKey, KnownTests>,
}

/// What was told of one drive's.
#[derive(Debug, Clone, Default)]
struct KnownTests {
    /// When the newest request was answered.
    request: Option<Moment>,
    /// When the newest reading was taken; `None` before the first.
    taken: Option<Moment>,
    /// While one runs: how many quarters are done.
    quarters: Option<u8>,
    /// The newest test on record.
    newest: Option<PastTest>,
}

impl Learns<Look<'_>> for SelfTestMemory {
    /// Takes in what drives tell.
    fn learn(&mut self, &Look { settings, snapshot, .. }: &Look) -> Learned {
        self.drives.retain(|key, _| snapshot.drives.iter().any(|drive| drive.key == *key));
        let mut remarks = Vec::new();
        for drive in &snapshot.drives {
            let told = self.drives.entry(drive.key.clone()).or_default();
            let news = [told.request(drive), told.test(drive)];
            let drive = || place_of(settings, drive);
            remarks.extend(news.into_iter().flatten().map(|news| Remark::SelfTest { drive: drive(), news }));
        }
        Learned { remarks, ..Learned::default() }
    }
}

impl KnownTests {
    fn request(&mut self, drive: &Drive) -> Option<TestNews> {
        let request = drive.test_request.as_ref().filter(|request| self.request != Some(request.at))?;
        self.request = Some(request.at);
        let refused = request.answer.as_ref().err().cloned();
        Some(TestNews::Asked { step: request.step, by: request.by, refused })
    }

    fn test(&mut self, drive: &Drive) -> Option<TestNews> {
        let tests = drive.self_tests.get().filter(|_| self.taken != Some(drive.self_tests.taken))?;
        let is_first = self.taken.replace(drive.self_tests.taken).is_none();
        let is_on_record = std::mem::replace(&mut self.newest, tests.past.first().copied()) != self.newest;
        if let SelfTest::Running { remaining_percent } = tests.now {
            let quarters = 100_u8.saturating_sub(remaining_percent.unwrap_or(100)) / 25;
            let is_more = self.quarters.is_none_or(|before| quarters > before);
            self.quarters = Some(self.quarters.unwrap_or(0).max(quarters));
            return is_more.then_some(TestNews::Runs { remaining_percent });
        }
        let ran = self.quarters.take().is_some();
        let is_over = ran || (is_on_record && !is_first);
        is_over.then(|| over(tests)).flatten()
    }
}

/// What came of the test that is over.
fn over(tests: &SelfTests) -> Option<TestNews> {
    let outcome = match tests.now {
        SelfTest::Passed => TestOutcome::Passed,
        SelfTest::Ended => TestOutcome::Ended,
        SelfTest::CouldNotFinish => TestOutcome::CouldNotFinish,
        SelfTest::Failed => TestOutcome::Failed,
        SelfTest::Never | SelfTest::Running { .. } => return None,
    };
    let newest = tests.past.first().filter(|test| test.outcome == outcome);
    Some(TestNews::Over { outcome, failed_at_lba: newest.and_then(|test| test.failed_at_lba) })
}
