//! A drive's tests of itself: what is on its record, what runs, how long they take, and who asked for one.

use super::Missing;
use crate::clock::Moment;
use serde::{Deserialize, Serialize};
use strum::IntoStaticStr;

/// What a drive tells of its self-tests.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct SelfTests {
    /// The newest, or the one that runs.
    pub now: SelfTest,
    /// What is worth knowing of the drive's record, the newest first; see [`SelfTests::worth_keeping`].
    pub past: Vec<PastTest>,
    /// How long a short test takes by the drive's own word, in minutes.
    pub short_minutes: Option<u16>,
    /// How long an extended test takes by the drive's own word, in minutes.
    pub extended_minutes: Option<u16>,
}

/// The latest self-test of a drive.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum SelfTest {
    /// None is in the log.
    Never,
    /// It ended without error.
    Passed,
    /// It was aborted.
    Ended,
    /// The drive could not finish it.
    CouldNotFinish,
    /// A part of the drive failed it.
    Failed,
    /// It is running.
    Running {
        /// What is left, in percent; `null` when the drive does not report it.
        remaining_percent: Option<u8>,
    },
}

/// A self-test in a drive's log.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct PastTest {
    /// Which test it was.
    pub kind: TestKind,
    /// The result.
    pub outcome: TestOutcome,
    /// The drive's power-on hours when it ended, by its log.
    pub power_on_hours: u64,
    /// How many power-on hours ago it ended; `null` when the log does not show it.
    pub age_hours: Option<u64>,
    /// The first sector that failed, if the log has one.
    pub failed_at_lba: Option<u64>,
}

/// Which test it was.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, IntoStaticStr)]
#[strum(serialize_all = "kebab-case")]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum TestKind {
    /// Minutes: electronics, mechanics, a sample of the medium.
    Short,
    /// Hours: the same, and the whole medium.
    Extended,
    /// Another: after a transport, of chosen parts, the maker's own, or not known.
    Other,
}

/// The result of a self-test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum TestOutcome {
    /// It ended without error.
    Passed,
    /// It was aborted.
    Ended,
    /// The drive could not finish it.
    CouldNotFinish,
    /// A part of the drive failed it.
    Failed,
}

/// What can be done about a self-test; the captive forms, which block the drive, are not here.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum SelfTestStep {
    /// Begin the short one.
    Short,
    /// Begin the extended one.
    Extended,
    /// End the one that runs.
    Abort,
}

/// That a drive was asked to begin or end a self-test, and what it said.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct TestRequest {
    /// What it was asked to do.
    pub step: SelfTestStep,
    /// Who wanted it.
    pub by: AskedBy,
    /// Whether it does so, or why not.
    pub answer: Result<(), Missing>,
    /// When it said so.
    pub at: Moment,
}

/// Who wants a self-test.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum AskedBy {
    /// The box's owner, by a command.
    Owner,
    /// The schedule of the configuration.
    Schedule,
}

impl SelfTests {
    /// True while a test runs.
    pub fn is_running(&self) -> bool {
        matches!(self.now, SelfTest::Running { .. })
    }

    /// The newest failure on record that no later test has undone.
    pub fn standing_failure(&self) -> Option<PastTest> {
        let stands = |&(newer, failed): &(usize, &PastTest)| {
            let is_undone = || self.past[..newer].iter().any(|later| later.undoes_failure_of(failed.kind));
            failed.outcome == TestOutcome::Failed && !is_undone()
        };
        self.past.iter().enumerate().find(stands).map(|(_, failed)| *failed)
    }

    /// Of a record, the newest first, what is worth handing on: the newest test of each kind, the newest of each kind
    /// that came to a result, and the newest failure of another kind.
    pub fn worth_keeping(record: impl IntoIterator<Item = PastTest>) -> Vec<PastTest> {
        let mut kept: Vec<PastTest> = Vec::new();
        for test in record {
            let same_kind = |kept: &&PastTest| kept.kind == test.kind;
            let is_worth = match test.kind {
                // No test of another kind says that the whole drive is well, and each looks at something else.
                TestKind::Other => test.outcome == TestOutcome::Failed && !kept.iter().any(|kept| same_kind(&kept)),
                TestKind::Short | TestKind::Extended => {
                    let mut of_kind = kept.iter().filter(same_kind).peekable();
                    of_kind.peek().is_none() || (test.has_result() && !of_kind.any(PastTest::has_result))
                }
            };
            if is_worth {
                kept.push(test);
            }
        }
        kept
    }
}

impl PastTest {
    /// True when it came to its end and said something of the drive.
    pub fn has_result(&self) -> bool {
        matches!(self.outcome, TestOutcome::Passed | TestOutcome::Failed)
    }

    /// True for a passed test that looked at no less than one of this kind: an extended one looks at everything, a short
    /// one at what a short one does.
    pub fn undoes_failure_of(&self, kind: TestKind) -> bool {
        let looked_at_no_less =
            self.kind == TestKind::Extended || (self.kind == TestKind::Short && kind == TestKind::Short);
        self.outcome == TestOutcome::Passed && looked_at_no_less
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn of_a_long_record_what_decides_is_kept() {
        use TestKind::{Extended, Other, Short};
        use TestOutcome::{CouldNotFinish, Ended, Failed, Passed};
        let record = [
            (Short, Ended),
            (Short, Ended),
            (Other, Passed),
            (Short, Passed),
            (Extended, Failed),
            (Other, Failed),
            (Extended, CouldNotFinish),
            (Other, Failed),
            (Short, Failed),
            (Extended, Passed),
        ];
        let tests = record.into_iter().zip((0..100).rev()).map(|((kind, outcome), power_on_hours)| PastTest {
            kind,
            outcome,
            power_on_hours,
            age_hours: None,
            failed_at_lba: None,
        });
        let kept: Vec<_> =
            SelfTests::worth_keeping(tests).iter().map(|test| (test.kind, test.outcome, test.power_on_hours)).collect();
        assert_eq!(kept, [(Short, Ended, 99), (Short, Passed, 96), (Extended, Failed, 95), (Other, Failed, 94)]);
    }

    /// A record in letters, the newest first: S, E or O for the kind, then p for passed, f for failed, e for ended.
    fn failure(record: &str) -> Option<(TestKind, u64)> {
        let test = |(number, letters): (usize, &str)| PastTest {
            kind: match letters.as_bytes()[0] {
                b'S' => TestKind::Short,
                b'E' => TestKind::Extended,
                _ => TestKind::Other,
            },
            outcome: match letters.as_bytes()[1] {
                b'p' => TestOutcome::Passed,
                b'f' => TestOutcome::Failed,
                _ => TestOutcome::Ended,
            },
            power_on_hours: 99 - number as u64,
            age_hours: None,
            failed_at_lba: None,
        };
        let past = SelfTests::worth_keeping(record.split(' ').enumerate().map(test));
        let tests = SelfTests { now: SelfTest::Never, past, short_minutes: None, extended_minutes: None };
        tests.standing_failure().map(|failed| (failed.kind, failed.power_on_hours))
    }

    #[test]
    fn a_failure_stands_until_a_test_that_looks_at_no_less_is_passed() {
        use TestKind::{Extended, Other, Short};
        assert_eq!(failure("Sp Ep"), None);
        assert_eq!(failure("Sf"), Some((Short, 99)));
        assert_eq!(failure("Sp Sf"), None);
        assert_eq!(failure("Sp Ef"), Some((Extended, 98)), "a sample says nothing of the whole");
        assert_eq!(failure("Ep Ef"), None);
        assert_eq!(failure("Ep Sf Of"), None, "the whole includes the sample");
        assert_eq!(failure("Sp Of"), Some((Other, 98)));
        assert_eq!(failure("Ee Se Ef"), Some((Extended, 97)), "one that came to nothing undoes nothing");
        assert_eq!(failure("Sf Ep"), Some((Short, 99)), "nor does one from before");
    }
}
