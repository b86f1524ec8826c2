//! How a drive was lost: whether it died, or went without a sign of that. What is told of it because it was lost is evidence
//! of nothing else.

use super::view::{LEAD, NEAR, Suspect, apart};
use crate::kinds::TOGETHER;
use crate::memory::before::TROUBLES;
use crate::memory::sign::Sign;
use std::time::Duration;
use traylight_data::clock::DAY;
use traylight_data::reading::EventKind;

/// A drive that is pulled is detached within this, while nothing hangs (from memory: three tries, five seconds apart).
const DETACHED: Duration = Duration::from_secs(15);

impl Suspect<'_> {
    /// True when it died before it went, rather than being pulled: it did not answer, failed, or was slow or starved on its
    /// link. A kernel gives up what is pulled, too, and its commands fail then.
    pub fn died_first(&self) -> bool {
        const DYING: [EventKind; 7] = [
            EventKind::TimedOut,
            EventKind::StandsStill,
            EventKind::Unreadable,
            EventKind::SlowToRespond,
            EventKind::LinkDown(Some(1)),
            EventKind::CommandFailed,
            EventKind::GivenUp,
        ];
        let Some(loss) = self.losses().pop() else { return false };
        let at = loss.event.at;
        let before = |sign: &Sign| sign.event.at < at && apart(sign, at) <= NEAR && !self.as_it_goes(sign, loss);
        let hung = loss.before.is_some_and(|before| before.hung) && !self.fell_silent(loss);
        hung || self.signs(&DYING, LEAD).into_iter().any(before)
    }

    /// True when a command was not answered or it was given up within a day before it was lost, and not as it went.
    pub fn was_silent(&self) -> bool {
        self.was(&[EventKind::TimedOut, EventKind::StandsStill, EventKind::GivenUp], DAY)
    }

    /// The same or commands that failed, as long as signs are kept, or as the incident goes on that tells of it.
    pub fn was_ever_troubled(&self) -> bool {
        self.was(&TROUBLES, Duration::MAX) || self.before().is_some_and(|before| before.troubled)
    }

    fn was(&self, kinds: &[EventKind], within: Duration) -> bool {
        let Some(loss) = self.losses().pop() else { return false };
        let losses: Vec<&Sign> = self.all_losses().collect();
        let before = |sign: &Sign| sign.event.at < loss.event.at && loss.event.at.since(sign.last) <= within;
        self.all_signs().any(|sign| {
            kinds.contains(&sign.event.what) && before(sign) && !losses.iter().any(|loss| self.as_it_goes(sign, loss))
        })
    }

    /// True for what is told of a drive because it was lost, and not before.
    fn as_it_goes(&self, sign: &Sign, loss: &Sign) -> bool {
        let early = match sign.event.what {
            // Where nobody heard how its connection broke, what fails so shortly before may be of that.
            EventKind::GivenUp | EventKind::CommandFailed if !loss.is_dated() => DETACHED,
            _ => Duration::ZERO,
        };
        sign.event.at.plus(early) >= loss.event.at && sign.event.at <= loss.last.plus(TOGETHER)
    }

    /// True when a link went down with nothing there and stayed so, as when a hand pulls the drive. One that gets too little
    /// power tries to start again meanwhile.
    pub fn went_cleanly(&self, loss: &Sign) -> bool {
        let tries = |sign: &Sign| {
            matches!(sign.event.what, EventKind::SlowToRespond | EventKind::LinkUp(_) | EventKind::LinkDown(Some(1)))
        };
        (loss.is_dated() || self.told_of(loss).any(Sign::is_empty_link)) && !self.told_of(loss).any(tries)
    }

    /// True when the first that was heard of a loss is a command that timed out on a link with nothing there: where links
    /// save power, no interrupt tells of a drive that is pulled. Then nobody knows better than to a minute when it went.
    pub fn fell_silent(&self, loss: &Sign) -> bool {
        let first = |is_meant: fn(&&Sign) -> bool| self.told_of(loss).filter(is_meant).map(|sign| sign.event.at).min();
        let timed_out = first(|sign| sign.event.what == EventKind::TimedOut);
        let broke = first(|sign| sign.is_change_of_link());
        loss.is_dated() && timed_out.is_some_and(|at| broke.is_none_or(|broke| at < broke))
    }

    /// What was told of it from the time at which its connection broke to the end of its device.
    fn told_of(&self, loss: &Sign) -> impl Iterator<Item = &Sign> {
        let (broke, ended) = (loss.event.at, loss.last);
        self.all_signs().filter(move |sign| sign.event.at >= broke && sign.event.at <= ended)
    }
}
