//! The kernel's log as it is written: `/dev/kmsg`, a record a read (Documentation/ABI/testing/dev-kmsg). What is still there
//! from before is read once; it tells what happened before anybody watched.
//!
//! The log's clock stands still while the machine is suspended and is set by nobody, so it drifts from the boot clock. A
//! record's moment is its own time and the suspensions so far, but never before the last time that the log was read to its
//! end, and never ahead of now.

use super::host::Host;
use super::parse::kernel_log::lines::LogReader;
use super::parse::named::{KernelName, NamedEvent, NamedEvents};
use crate::clock::Moment;
use crate::reading::{EventKind, EventSource, Missing, Reason};
use rustix::fs::{SeekFrom, seek};
use rustix::io::{Errno, read};
use std::fs::File;
use std::os::fd::{AsFd, BorrowedFd};
use std::time::Duration;

/// No record is longer (CONSOLE_EXT_LOG_MAX in kernel/printk/internal.h); a shorter buffer would lose long ones.
const LONGEST: usize = 8192;
/// So many records are read between two rounds. A box that writes more has a storm, and the rest of that is lost.
const A_ROUND: usize = 4_000;
/// So many are read at the start: the log of the boot, at its usual sizes of some thousand records, many times over.
const AT_START: usize = 100_000;

/// Where records come from.
trait Records {
    /// The next record, into the buffer; its length.
    fn next(&mut self, record: &mut [u8]) -> Result<usize, Errno>;
    /// Leaves out all that is there.
    fn skip(&mut self);
}

impl Records for File {
    fn next(&mut self, record: &mut [u8]) -> Result<usize, Errno> {
        read(self, record)
    }

    fn skip(&mut self) {
        // Where a pipe stands for the log this cannot be done, and what is there comes with the next round.
        let _ = seek(self, SeekFrom::End(0));
    }
}

/// The log.
#[derive(Debug)]
pub struct KernelLog<R = File> {
    records: R,
    lines: LogReader,
    /// So many records may still be read before the next round.
    left: usize,
    /// When it was last read to its end.
    drained: Moment,
}

impl KernelLog {
    /// Opens it; a recorded tree need not have one.
    ///
    /// # Errors
    /// The reason why it cannot be read: often a kernel that lets only CAP_SYSLOG read (kernel.dmesg_restrict).
    pub fn open(host: &Host) -> Result<Option<Self>, Missing> {
        match host.open_without_waiting(&host.path("/dev/kmsg")) {
            Ok(records) => Ok(Some(Self::of(records))),
            Err(why) if why.reason == Reason::NotAvailable && !host.is_live() => Ok(None),
            Err(why) => Err(why),
        }
    }
}

#[allow(private_bounds, reason = "where records come from is this file's own business")]
impl<R: Records> KernelLog<R> {
    fn of(records: R) -> Self {
        Self { records, lines: LogReader::default(), left: AT_START, drained: Moment::default() }
    }

    /// Takes in what was written. `suspended` is how long the machine was, see [`crate::clock::Clock::suspended`].
    pub fn take(&mut self, now: Moment, suspended: Duration) -> Result<NamedEvents, Missing> {
        let mut record = [0; LONGEST];
        let mut taken = NamedEvents::default();
        while self.left > 0 {
            match self.records.next(&mut record) {
                Ok(0) => {
                    return Err(Missing::found(Reason::Unreadable, "dev/kmsg: expected more records, found its end"));
                }
                Ok(length) => self.take_record(&record[..length], now, suspended, &mut taken),
                // Overwritten before it was read, or too long: the gap in the numbers tells how many.
                Err(Errno::PIPE | Errno::INVAL) => {}
                Err(Errno::INTR) => continue,
                Err(Errno::AGAIN) => {
                    self.drained = now;
                    return Ok(taken);
                }
                Err(errno) => {
                    let said = std::io::Error::from(errno).to_string();
                    return Err(Missing::found(Reason::Unreadable, format!("dev/kmsg: {}", said.to_lowercase())));
                }
            }
            self.left -= 1;
        }
        self.records.skip();
        Ok(taken)
    }

    /// False when enough was read until the next round.
    pub fn listens(&self) -> bool {
        self.left > 0
    }

    /// A round begins.
    pub fn renew(&mut self) {
        self.left = A_ROUND;
    }

    fn take_record(&mut self, record: &[u8], now: Moment, suspended: Duration, taken: &mut NamedEvents) {
        for line in self.lines.take(record) {
            let at = Moment::after_boot(line.since_boot.saturating_add(suspended)).max(self.drained).min(now);
            // What a USB device does to itself changes no reading; a drive behind it that goes is told by itself. Lines
            // are lost in storms, and those must not call.
            let is_quiet = matches!(line.part, KernelName::Usb(_)) || matches!(line.what, EventKind::LinesLost(_));
            taken.calls |= !is_quiet;
            taken.events.push(NamedEvent {
                at,
                part: line.part,
                what: line.what,
                teller: EventSource::Log,
                line: line.text,
            });
        }
    }
}

impl AsFd for KernelLog {
    fn as_fd(&self) -> BorrowedFd<'_> {
        self.records.as_fd()
    }
}

#[cfg(test)]
mod tests {
    #![allow(clippy::unwrap_used, reason = "a test may stop at the first surprise")]
    use super::*;
    use std::collections::VecDeque;

    /// A log that is written by the test.
    #[derive(Debug, Default)]
    struct Written {
        records: VecDeque<Result<String, Errno>>,
        read: usize,
        number: u64,
    }

    impl Written {
        fn write(&mut self, seconds: u64, text: &str) {
            self.records.push_back(Ok(format!("6,{},{},-;{text}\n", self.number, seconds * 1_000_000)));
            self.number += 1;
        }
    }

    impl Records for Written {
        fn next(&mut self, record: &mut [u8]) -> Result<usize, Errno> {
            let next = self.records.pop_front().ok_or(Errno::AGAIN)??;
            self.read += 1;
            record[..next.len()].copy_from_slice(next.as_bytes());
            Ok(next.len())
        }

        fn skip(&mut self) {
            self.records.clear();
        }
    }

    const NOISE: &str = "usb 2-1: Product: Nest";
    const FAILED: &str = "I/O error, dev sdb, sector 8 op 0x0:(READ) flags 0x0 phys_seg 1 prio class 2";

    fn at(seconds: u64) -> Moment {
        Moment::after_boot(Duration::from_secs(seconds))
    }

    fn take(log: &mut KernelLog<Written>, seconds: u64) -> (Vec<(EventKind, Moment)>, bool) {
        let taken = log.take(at(seconds), Duration::ZERO).unwrap();
        (taken.events.into_iter().map(|event| (event.what, event.at)).collect(), taken.calls)
    }

    #[test]
    fn what_was_written_before_is_told_once_with_its_time() {
        let mut log = KernelLog::of(Written::default());
        log.records.write(3, FAILED);
        log.records.write(9, NOISE);
        assert_eq!(take(&mut log, 100), (vec![(EventKind::CommandFailed, at(3))], true));
        assert_eq!(take(&mut log, 101), (vec![], false));
    }

    #[test]
    fn lines_about_other_things_and_about_usb_devices_do_not_call() {
        let mut log = KernelLog::of(Written::default());
        log.records.write(1, NOISE);
        log.records.records.push_back(Ok("30,1,1,-;systemd[1]: Started the recorder\n".into()));
        log.records.number += 1;
        assert_eq!(take(&mut log, 5), (vec![], false));
        log.records.write(6, "usb 2-1: reset SuperSpeed USB device number 2 using xhci_hcd");
        assert_eq!(take(&mut log, 6), (vec![(EventKind::Reset, at(6))], false));
    }

    #[test]
    fn a_storm_costs_a_bounded_number_of_records_a_round_and_what_is_lost_is_counted() {
        let mut log = KernelLog::of(Written::default());
        assert_eq!(take(&mut log, 1), (vec![], false));
        log.renew();
        for _ in 0..100_000 {
            log.records.write(2, NOISE);
        }
        assert_eq!(take(&mut log, 2), (vec![], false));
        assert_eq!((log.records.read, log.listens()), (A_ROUND, false));
        log.records.write(3, FAILED);
        assert_eq!(take(&mut log, 3), (vec![], false), "nobody listens until the next round");

        log.renew();
        log.records.write(4, NOISE);
        let lost = EventKind::LinesLost(100_000 - A_ROUND as u64 + 1);
        assert_eq!(take(&mut log, 4), (vec![(lost, at(4))], false), "and a loss is no reason to look");
        assert_eq!(log.records.read, A_ROUND + 1);
    }

    #[test]
    fn what_was_overwritten_or_too_long_is_passed_over_and_counted() {
        let mut log = KernelLog::of(Written::default());
        log.records.write(1, NOISE);
        log.records.records.extend([Err(Errno::PIPE), Err(Errno::INTR), Err(Errno::INVAL)]);
        log.records.number += 7;
        log.records.write(2, FAILED);
        assert_eq!(take(&mut log, 9).0, [(EventKind::LinesLost(7), at(2)), (EventKind::CommandFailed, at(2))]);
    }

    /// Built: a machine that was suspended for 1,000 s after 50 s, and a log whose clock is 7 s behind.
    #[test]
    fn a_records_moment_is_on_the_boot_clock() {
        let mut log = KernelLog::of(Written::default());
        let mut take = |written: u64, now: u64, suspended: u64| {
            log.records.write(written, FAILED);
            log.take(at(now), Duration::from_secs(suspended)).unwrap().events[0].at
        };
        assert_eq!(take(40, 45, 0), at(40));
        assert_eq!(take(60, 1_062, 1_000), at(1_060));
        assert_eq!(take(70, 1_077, 1_000), at(1_070), "no earlier than the last look, which was at 1,062 s");
        assert_eq!(take(70, 1_080, 1_000), at(1_077), "behind: it was written after the last look");
        assert_eq!(take(99, 1_090, 1_000), at(1_090), "ahead: nothing was written in the future");
    }

    #[test]
    fn a_log_that_ends_or_breaks_says_so() {
        let mut log = KernelLog::of(Written::default());
        log.records.records.push_back(Ok(String::new()));
        let why = log.take(at(1), Duration::ZERO).unwrap_err();
        assert_eq!(why, Missing::found(Reason::Unreadable, "dev/kmsg: expected more records, found its end"));
        log.records.records.push_back(Err(Errno::IO));
        assert!(log.take(at(1), Duration::ZERO).unwrap_err().found.unwrap().contains("input/output error"));
    }

    #[test]
    fn a_tree_without_a_log_has_none_and_that_is_no_fault() {
        let folder = tempfile::tempdir().unwrap();
        assert!(KernelLog::open(&Host::at(folder.path())).unwrap().is_none());
    }
}
