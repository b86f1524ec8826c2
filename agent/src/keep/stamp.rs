//! When the ledger was kept, in terms that outlive the machine's restart: so that what was noted in an earlier boot lies
//! before this one, and as long ago as it was.

use crate::clock::{Clock, Moment, calendar_between};
use crate::judge::ledger::Ledger;
use serde::{Deserialize, Serialize};

/// A moment, with its boot and its place on the calendar.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct SavedAt {
    /// Which boot of the machine; empty when the kernel does not tell, which equals no other boot.
    boot: String,
    /// When in it.
    at: Moment,
    /// Seconds since 1970; `None` while no time service has set the clock.
    epoch_seconds: Option<u64>,
}

impl SavedAt {
    /// Now.
    pub fn of(clock: &Clock) -> Self {
        let epoch_seconds = clock.epoch_seconds().filter(|_| clock.wall().synchronised);
        Self { boot: clock.boot_id().to_owned(), at: clock.now(), epoch_seconds }
    }

    /// A ledger that was kept at this time is used `now`: in another boot all its times lie before it. How long the machine
    /// was off is not known without a calendar; it is then taken to have started at once, which the incident store notes.
    pub fn bring_over(&self, ledger: &mut Ledger, now: &Self) {
        if self.boot == now.boot && !self.boot.is_empty() {
            return;
        }
        let passed = self.epoch_seconds.zip(now.epoch_seconds).and_then(|(then, now)| calendar_between(then, now));
        let off = passed.unwrap_or_default().saturating_sub(now.at.since_boot());
        let back = self.at.since_boot() + off;
        ledger.move_back(self.at, |at| at.minus(back));
        if passed.is_none() {
            ledger.incident_store.note_gap(self.epoch_seconds);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    /// 2026-05-14, in seconds since 1970.
    const SPRING: u64 = 1_778_760_000;

    fn stamp(boot: &str, second: u64, epoch_seconds: Option<u64>) -> SavedAt {
        let epoch_seconds = epoch_seconds.map(|second| SPRING + second);
        SavedAt { boot: boot.to_owned(), at: Moment::after_boot(Duration::from_secs(second)), epoch_seconds }
    }

    /// Where a moment of 100 s before the ledger was kept lies after it was brought over, in seconds after this boot.
    fn lies(kept: &SavedAt, now: &SavedAt) -> i64 {
        let mut ledger = Ledger::default();
        let noted = kept.at.minus(Duration::from_secs(100));
        ledger.incident_store.muted_until = Some(noted);
        kept.bring_over(&mut ledger, now);
        let found = ledger.incident_store.muted_until.unwrap_or_default();
        let zero = Moment::default();
        found.since(zero).as_secs() as i64 - zero.since(found).as_secs() as i64
    }

    #[test]
    fn in_the_same_boot_nothing_moves() {
        assert_eq!(lies(&stamp("a", 5000, Some(9000)), &stamp("a", 5060, Some(9060))), 4900);
        assert_eq!(lies(&stamp("a", 5000, None), &stamp("a", 5060, Some(10))), 4900, "whatever the calendar does");
    }

    #[test]
    fn in_another_boot_it_lies_as_far_back_as_it_was() {
        // Kept, 600 s later used, of which this boot took 40.
        assert_eq!(lies(&stamp("a", 5000, Some(9000)), &stamp("b", 40, Some(9600))), -660);
    }

    #[test]
    fn without_a_calendar_the_machine_started_at_once() {
        for (then, now) in [(None, Some(9600)), (Some(9000), None), (None, None)] {
            assert_eq!(lies(&stamp("a", 5000, then), &stamp("b", 40, now)), -100);
        }
        assert_eq!(lies(&stamp("a", 5000, Some(9000)), &stamp("b", 40, Some(7))), -100, "a calendar that stepped back");
        let unset = SavedAt { epoch_seconds: Some(90), ..stamp("a", 5000, None) };
        assert_eq!(lies(&unset, &stamp("b", 40, Some(9000))), -100, "54 years: a calendar that was not set");
    }

    /// A box without a clock of its own starts in 1970, and hears the time later.
    #[test]
    fn what_no_calendar_has_measured_is_noted_until_one_has() {
        let since = |kept: &SavedAt, now: &SavedAt, later: Option<u64>| {
            let mut ledger = Ledger::default();
            let began = kept.at.minus(Duration::from_secs(100));
            kept.bring_over(&mut ledger, now);
            if let Some(later) = later {
                ledger.incident_store.gaps.learn(now.at, later);
            }
            let began = began.minus(kept.at.since_boot());
            ledger.incident_store.gaps.since(began, now.at).map(|span| span.as_secs())
        };
        let (kept, now) = (stamp("a", 5000, Some(9000)), stamp("b", 40, None));
        assert_eq!(since(&kept, &now, None), None);
        assert_eq!(since(&kept, &now, Some(SPRING + 9600)), Some(100 + 600));
        assert_eq!(since(&kept, &now, Some(90)), None, "set, and to a day before the box was watched");
        let unset = SavedAt { epoch_seconds: Some(90), ..stamp("a", 5000, None) };
        assert_eq!(since(&unset, &stamp("b", 40, Some(9600)), Some(SPRING + 9600)), None);
    }

    #[test]
    fn a_boot_without_a_name_is_another_boot() {
        assert_eq!(lies(&stamp("", 5000, None), &stamp("", 40, None)), -100);
    }
}
