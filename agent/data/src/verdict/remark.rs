//! What is worth one line and is no condition.

use super::place::Place;
use super::self_test::TestNews;

/// Something worth one line that is no condition.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Remark {
    /// A counter of a drive fell: it counts from a new baseline.
    NewBaseline {
        /// Whose.
        drive: Place,
        /// Which.
        counter: String,
        /// What it said before.
        before: i64,
        /// What it says now.
        now: i64,
    },
    /// Something about a drive's test of itself.
    SelfTest {
        /// Whose.
        drive: Place,
        /// What.
        news: TestNews,
    },
}
