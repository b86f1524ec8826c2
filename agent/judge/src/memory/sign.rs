//! One sign: something that happened to a part of the box.

use super::before::Before;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{Event, EventKind};

/// Drives are asked for their counts within this of each other.
pub const ASKED_APART: Duration = Duration::from_secs(12 * 3600);

/// One sign.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Sign {
    /// What happened, and when first.
    pub event: Event,
    /// When it happened last.
    pub last: Moment,
    /// How often.
    pub count: u32,
    /// Where the drive was plugged then.
    pub port: Option<String>,
    /// How the drive was before it was lost, or began to be.
    pub before: Option<Before>,
    /// It happened after this, where that is all that is known: a drive tells that it lost its power when it is asked.
    #[serde(default)]
    pub after: Option<Moment>,
}

impl Sign {
    /// True for the loss of a drive of which was told when its connection broke; its device ended later.
    pub fn is_dated(&self) -> bool {
        self.event.what == EventKind::Vanished && self.event.at < self.last
    }

    /// The time within which it happened.
    pub fn span(&self) -> (Moment, Moment) {
        let last = if self.is_dated() { self.event.at } else { self.last };
        (self.after.unwrap_or(self.event.at), last)
    }

    /// True when both may have happened within this of each other. What drives told long after each other says nothing of
    /// that: each may have slept for days.
    pub fn may_be_with(&self, other: &Self, within: Duration) -> bool {
        may_be_one(self.span(), other.span(), within)
    }

    /// True for the word that a connection changed, of a drive that comes, goes, or begins anew.
    pub fn is_change_of_link(&self) -> bool {
        matches!(self.event.what, EventKind::ConnectionChanged | EventKind::LinkDown(_))
    }

    /// True for the word that a link is down with nothing there.
    pub fn is_empty_link(&self) -> bool {
        matches!(self.event.what, EventKind::LinkDown(Some(0) | None))
    }

    /// True when this event is in it already.
    pub fn has(&self, event: &Event) -> bool {
        let is_same = self.event.part == event.part && self.event.what == event.what;
        is_same && self.event.teller == event.teller && self.event.at <= event.at && event.at <= self.last
    }
}

/// See [`Sign::may_be_with`].
pub fn may_be_one((from, to): (Moment, Moment), (other_from, other_to): (Moment, Moment), within: Duration) -> bool {
    from <= other_to.plus(within) && other_from <= to.plus(within) && to.apart(other_to) <= ASKED_APART.max(within)
}
