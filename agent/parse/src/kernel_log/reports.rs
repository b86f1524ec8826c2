//! libata's reports: all lines about one port between `exception` and `EH complete` are one report, and what they say
//! more than once has happened once.

use std::collections::BTreeMap;
use std::time::Duration;
use traylight_data::reading::EventKind;

/// A report that is not over by then has lost its end: libata tries each drive for some minutes at most
/// (ata_eh_reset_timeouts in drivers/ata/libata-eh.c).
const LONGEST: Duration = Duration::from_secs(300);

/// The reports under way, by port.
#[derive(Debug, Default)]
pub struct AtaReports {
    open: BTreeMap<u32, AtaReport>,
}

#[derive(Debug)]
struct AtaReport {
    began: Duration,
    told: Vec<EventKind>,
}

impl AtaReports {
    /// One begins. Where one was under way, its end was not seen, or it goes on: libata may look again.
    pub fn opens(&mut self, port: u32, at: Duration) {
        let report = self.open.entry(port).or_insert_with(|| AtaReport { began: at, told: Vec::new() });
        if at.saturating_sub(report.began) > LONGEST {
            *report = AtaReport { began: at, told: Vec::new() };
        }
    }

    /// One is over.
    pub fn closes(&mut self, port: u32) {
        self.open.remove(&port);
    }

    /// True for what the report under way has not reported yet, and for whatever is told outside of one.
    pub fn is_new(&mut self, port: u32, what: EventKind, at: Duration) -> bool {
        let Some(report) = self.open.get_mut(&port) else { return true };
        if at.saturating_sub(report.began) > LONGEST {
            self.open.remove(&port);
            return true;
        }
        let is_new = !report.told.contains(&what);
        if is_new {
            report.told.push(what);
        }
        is_new
    }

    /// Lines were lost, and with them beginnings and ends.
    pub fn lost(&mut self) {
        self.open.clear();
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use EventKind::{Reset, TimedOut};

    const fn at(seconds: u64) -> Duration {
        Duration::from_secs(seconds)
    }

    #[test]
    fn within_a_report_each_kind_is_told_once_and_by_each_port() {
        let mut reports = AtaReports::default();
        assert!(reports.is_new(3, Reset, at(9)) && reports.is_new(3, Reset, at(9)), "outside of one all is told");
        reports.opens(3, at(10));
        assert!(reports.is_new(3, Reset, at(10)) && reports.is_new(3, TimedOut, at(11)));
        assert!(!reports.is_new(3, Reset, at(12)));
        assert!(reports.is_new(4, Reset, at(12)) && reports.is_new(4, Reset, at(12)), "another port has none");
        reports.opens(3, at(13));
        assert!(!reports.is_new(3, TimedOut, at(14)), "it goes on");
        reports.closes(3);
        assert!(reports.is_new(3, TimedOut, at(15)));
    }

    #[test]
    fn a_report_whose_end_was_lost_does_not_last_for_ever() {
        let mut reports = AtaReports::default();
        reports.opens(3, at(10));
        assert!(reports.is_new(3, Reset, at(11)));
        assert!(reports.is_new(3, Reset, at(311)) && reports.is_new(3, Reset, at(312)), "over after five minutes");
        reports.opens(3, at(400));
        assert!(reports.is_new(3, Reset, at(401)));
        reports.opens(3, at(800));
        assert!(reports.is_new(3, Reset, at(801)), "another report");
        reports.lost();
        assert!(reports.is_new(3, Reset, at(802)));
    }
}
