//! From one record of the log after another to what happened: lines in pieces are joined, a report of libata tells each
//! thing once, and records that were lost are counted by their numbers.

use super::line_meaning::{LineMeaning, meanings};
use super::record::{Record, may_be_the_kernels, record};
use super::reports::AtaReports;
use crate::named::KernelName;
use std::time::Duration;
use traylight_data::reading::EventKind;

/// What happened, by the clock of the log.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct LogEvent {
    /// When it was written.
    pub since_boot: Duration,
    /// To what.
    pub part: KernelName,
    /// What.
    pub what: EventKind,
    /// The line; empty for lines that were lost.
    pub text: String,
}

/// What is remembered from one record to the next.
#[derive(Debug, Default)]
pub struct LogReader {
    /// The number of the next record, if none is lost.
    next: Option<u64>,
    /// The kernel's last record, when its line may go on and has told nothing yet.
    begun: Option<Record>,
    reports: AtaReports,
}

impl LogReader {
    /// Takes in one record. What is no record, or not the kernel's, tells nothing.
    pub fn take(&mut self, bytes: &[u8]) -> Vec<LogEvent> {
        if !may_be_the_kernels(bytes) {
            self.begun = None;
            let number = bytes.split(|byte| *byte == b',').nth(1);
            let number = number.and_then(|number| std::str::from_utf8(number).ok()?.parse().ok());
            return number.and_then(|number| self.lost(number, bytes)).into_iter().collect();
        }
        let Ok(record) = record(bytes) else { return Vec::new() };
        let mut lines: Vec<LogEvent> = self.lost(record.sequence, bytes).into_iter().collect();
        let record = self.joined(record);
        let happened = self.happened(meanings(&record), record.since_boot);
        lines.extend(happened.iter().map(|(part, what)| LogEvent {
            since_boot: record.since_boot,
            part: part.clone(),
            what: *what,
            text: record.text.clone(),
        }));
        self.begun = happened.is_empty().then_some(record);
        lines
    }

    /// How many records are missing before this one.
    fn lost(&mut self, sequence: u64, bytes: &[u8]) -> Option<LogEvent> {
        let missing = sequence.saturating_sub(self.next.unwrap_or(sequence));
        self.next = Some(sequence.saturating_add(1));
        if missing == 0 {
            return None;
        }
        self.begun = None;
        self.reports.lost();
        let since_boot = record(bytes).ok()?.since_boot;
        Some(LogEvent { since_boot, part: KernelName::Board, what: EventKind::LinesLost(missing), text: String::new() })
    }

    /// A piece goes on with the record right before it. The kernel says that its mark is a hint; a piece that goes on with
    /// another line fits no pattern.
    fn joined(&mut self, record: Record) -> Record {
        match self.begun.take().filter(|begun| record.is_fragment && begun.sequence + 1 == record.sequence) {
            Some(begun) => {
                Record { text: format!("{} {}", begun.text, record.text), sequence: record.sequence, ..begun }
            }
            None => record,
        }
    }

    fn happened(&mut self, meanings: Vec<LineMeaning>, at: Duration) -> Vec<(KernelName, EventKind)> {
        let mut happened = Vec::new();
        for meaning in meanings {
            match meaning {
                LineMeaning::Opens(port) => self.reports.opens(port, at),
                LineMeaning::Closes(port) => self.reports.closes(port),
                LineMeaning::Happened(KernelName::Ata { port, .. }, what) if !self.reports.is_new(port, what, at) => {}
                LineMeaning::Happened(part, what) => happened.push((part, what)),
            }
        }
        happened
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use EventKind::{CommandFailed, ConnectionChanged, GivenUp, LinesLost, LinkDown, LinkUp, MemberFailed, Reset};
    use EventKind::{TransferDamaged, Vanished};
    use proptest::prelude::*;
    use traylight_data::units::MegabitsPerSecond;

    fn heard(lines: &mut LogReader, log: &str) -> Vec<(KernelName, EventKind)> {
        log.lines().flat_map(|line| lines.take(line.as_bytes())).map(|line| (line.part, line.what)).collect()
    }

    fn ata(port: u32, device: Option<u32>) -> KernelName {
        KernelName::Ata { port, device }
    }

    /// A bad cable, built after the format strings of drivers/ata/libata-eh.c in 6.12.
    const BAD_CABLE: &str = r"3,2001,900000000,-;ata3.00: exception Emask 0x10 SAct 0x7f SErr 0x400100 action 0x6 frozen
3,2002,900000010,-;ata3.00: irq_stat 0x08000000, interface fatal error
3,2003,900000020,-;ata3: SError: { UnrecovData Handshk }
3,2004,900000030,-;ata3.00: failed command: WRITE FPDMA QUEUED
3,2005,900000040,-;ata3.00: cmd 61/08:30:00:08:00/00:00:00:00:00/40 tag 6 ncq dma 4096 out\x0a         res 40/00:30:00:08:00/00:00:00:00:00/40 Emask 0x10 (ATA bus error)
3,2006,900000050,-;ata3.00: status: { DRDY }
6,2007,900000060,-;ata3: hard resetting link
6,2008,900400000,-;ata3: SATA link up 6.0 Gbps (SStatus 133 SControl 300)
6,2009,900400010,-;ata3.00: configured for UDMA/133
6,2010,900400020,-;ata3: EH complete";

    /// A drive pulled out, in the same way.
    const PULLED: &str = r"3,2101,950000000,-;ata4: exception Emask 0x10 SAct 0x0 SErr 0x4050002 action 0xe frozen
3,2102,950000010,-;ata4: irq_stat 0x00400040, connection status changed
3,2103,950000020,-;ata4: SError: { RecovComm PHYRdyChg CommWake DevExch }
6,2104,950000030,-;ata4: hard resetting link
6,2105,956000000,-;ata4: SATA link down (SStatus 0 SControl 300)
6,2105,957000000,-;ata4: hard resetting link
6,2105,960000000,-;ata4: SATA link down (SStatus 0 SControl 300)
4,2106,967000000,-;ata4.00: disable device
6,2107,967000100,-;ata4.00: detaching (SCSI 3:0:0:0)
6,2108,967000200,-;ata4: EH complete";

    #[test]
    fn a_report_of_a_bad_cable_tells_each_thing_once() {
        let mut lines = LogReader::default();
        let wanted = [
            (ata(3, Some(0)), TransferDamaged),
            (ata(3, None), Reset),
            (ata(3, None), LinkUp(Some(MegabitsPerSecond(6000)))),
        ];
        assert_eq!(heard(&mut lines, BAD_CABLE), wanted);
        assert_eq!(
            heard(&mut lines, &BAD_CABLE.replace(",20", ",30")).len(),
            4,
            "and the next report again, after a gap"
        );
    }

    #[test]
    fn a_drive_that_is_pulled_tells_how_it_went() {
        let wanted = [
            (ata(4, None), ConnectionChanged),
            (ata(4, None), Reset),
            (ata(4, None), LinkDown(Some(0))),
            (ata(4, Some(0)), GivenUp),
            (ata(4, Some(0)), Vanished),
            (KernelName::Scsi("3:0:0:0".into()), Vanished),
        ];
        assert_eq!(heard(&mut LogReader::default(), PULLED), wanted);
    }

    #[test]
    fn what_a_process_writes_is_not_believed() {
        let forged = BAD_CABLE.lines().map(|line| format!("1{line}\n")).collect::<String>();
        assert!(heard(&mut LogReader::default(), &forged).is_empty());
    }

    /// Records are numbered without a gap (Documentation/ABI/testing/dev-kmsg); other writers' count too.
    #[test]
    fn a_gap_in_the_numbers_is_lines_lost() {
        let mut lines = LogReader::default();
        let told = |lines: &mut LogReader, log| heard(lines, log);
        assert_eq!(told(&mut lines, "6,700,1,-;the first that is still there"), []);
        assert_eq!(told(&mut lines, "30,701,2,-;systemd[1]: Started\n6,702,3,-;usb 2-1: Product: Nest"), []);
        assert_eq!(
            told(&mut lines, "3,1000,4,-;I/O error, dev sdb, sector 8 op 0x0:(READ)"),
            [(KernelName::Board, LinesLost(297)), (KernelName::Block("sdb".into()), CommandFailed),]
        );
        assert_eq!(told(&mut lines, "30,1004,5,-;systemd[1]: Started"), [(KernelName::Board, LinesLost(3))]);
        assert_eq!(told(&mut lines, "6,3,6,-;numbers that go back are no loss"), []);
    }

    #[test]
    fn lines_in_pieces_are_joined_when_nothing_is_between() {
        let begun = "2,10,1,-;md/raid:md0: Disk failure on";
        let failed = [(KernelName::Pool("md0".into()), MemberFailed), (KernelName::Block("sdb1".into()), MemberFailed)];
        let told = |log: &[&str]| heard(&mut LogReader::default(), &log.join("\n"));
        assert_eq!(told(&[begun, "2,11,2,c;sdb1, disabling device."]), failed);
        assert_eq!(told(&[begun, "2,11,2,c;sdb1,", "2,12,2,c;disabling device."]), failed);
        assert_eq!(told(&[begun, "2,11,2,-;sdb1, disabling device."]), []);
        assert_eq!(told(&[begun, "6,11,2,-;eth0: up", "2,12,2,c;sdb1, disabling device."]), []);
        assert_eq!(told(&["6,9,1,-;ata3: hard resetting link", "6,10,1,c;and more"]).len(), 1, "told once");
    }

    proptest! {
        #[test]
        fn whatever_comes_nothing_breaks(records in prop::collection::vec(prop::collection::vec(any::<u8>(), 0..80), 0..20)) {
            let mut lines = LogReader::default();
            for bytes in records {
                prop_assert!(lines.take(&bytes).len() <= 2);
            }
        }

        #[test]
        fn a_line_cut_anywhere_tells_no_more_than_the_whole(length in 0..BAD_CABLE.len()) {
            let mut lines = LogReader::default();
            prop_assert!(heard(&mut lines, &String::from_utf8_lossy(&BAD_CABLE.as_bytes()[..length])).len() <= 4);
        }
    }
}
