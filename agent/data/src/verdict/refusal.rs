//! What speaks against what an owner asks of a drive.

use super::place::Place;
use crate::reading::Missing;

/// Why no single drive is meant.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct NotOne {
    /// The drives that could be meant; none when nothing fits.
    pub fitting: Vec<Place>,
    /// All drives that there are.
    pub there: Vec<Place>,
}

/// What speaks against a request.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Refusal {
    /// The drive sleeps, and a test would wake it.
    Sleeps,
    /// It has work and finishes none, or did not say whether it sleeps.
    NotAnswering(Missing),
    /// It tells nothing of self-tests.
    NotOffered(Missing),
    /// One runs already.
    Runs,
    /// None runs that could be ended.
    RunsNot,
}
