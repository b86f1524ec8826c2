//! How fresh the readings are: a separate fact from how bad the box is.

use super::unseen::UnseenPart;
use crate::clock::Moment;

/// How fresh the readings of the box are.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Freshness {
    /// Nothing was read yet.
    NotYet,
    /// All readings are as fresh as they should be.
    Fresh,
    /// Some of the box could not be looked at.
    InPart(Vec<UnseenPart>),
    /// No reading has arrived since.
    SilentSince(Moment),
}

impl Freshness {
    /// True when no readings arrive any more.
    pub fn is_silent(&self) -> bool {
        matches!(self, Self::SilentSince(_))
    }
}
