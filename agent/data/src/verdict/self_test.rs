//! What is judged of drives' tests of themselves: that one speaks against its drive, and what is new.

use super::fact::facts_of;
use crate::reading::{AskedBy, Missing, SelfTestStep, TestKind, TestOutcome};
use serde::{Deserialize, Serialize};
use strum::IntoStaticStr;

facts_of! {
    /// How a drive says that it fails.
    #[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, IntoStaticStr)]
    #[strum(serialize_all = "kebab-case")]
    pub enum HealthFailure {
        /// By its own assessment of itself.
        Assessment,
        /// By a self-test that it failed and that no later one has undone.
        SelfTest {
            self_test: TestKind,
            /// The first sector that failed, where its record says which.
            failed_at_lba: Option<u64>,
            /// How many power-on hours ago, where its record tells.
            age_hours: Option<u64>,
        },
    }
}

/// What is new about a drive's test of itself.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum TestNews {
    /// The drive was asked for one, or to end it.
    Asked {
        /// For what.
        step: SelfTestStep,
        /// Who wanted it.
        by: AskedBy,
        /// Why it does not, if it does not.
        refused: Option<Missing>,
    },
    /// It runs: seen for the first time, or another quarter is done.
    Runs {
        /// How much is left, if the drive says.
        remaining_percent: Option<u8>,
    },
    /// It is over.
    Over {
        /// The result.
        outcome: TestOutcome,
        /// The first sector that failed, where its record says which.
        failed_at_lba: Option<u64>,
    },
}
