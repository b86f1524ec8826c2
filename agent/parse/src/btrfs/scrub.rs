//! What the last scrub of a btrfs file system came to: the file that its tool keeps, `/var/lib/btrfs/scrub.status.UUID`.
//!
//! A line with the format's number, then one line a device, `UUID:DEVICE|NAME:COUNT|…` (cmds/scrub.c of btrfs-progs). Names
//! that are not known are passed over.

use crate::plain::{quoted, whole};
use std::time::Duration;

/// What a scrub came to on one device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ScrubRecord {
    /// The device's number in the file system.
    pub device: u64,
    /// Bytes that were read and checked.
    pub scrubbed: u64,
    /// Errors of every kind that no good copy could mend.
    pub uncorrectable: u64,
    /// Errors that were mended from another copy.
    pub corrected: u64,
    /// Begin, seconds since 1970 by the clock of then; `None` until the tool has noted it.
    pub started: Option<u64>,
    /// How long it ran, pauses left out.
    pub took: Duration,
    /// How it ended.
    pub end: ScrubEnd,
}

/// How a scrub ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ScrubEnd {
    /// All was checked.
    Finished,
    /// Somebody ended it.
    Canceled,
    /// Neither: it runs, or it was cut short, by a restart for one.
    Open,
}

/// The records of the file system with this UUID, one a device.
///
/// # Errors
/// What was found instead: another format, another file system, a line that was cut.
pub fn records(text: &str, uuid: &str) -> Result<Vec<ScrubRecord>, String> {
    let mut lines = text.lines();
    let head = lines.next().unwrap_or_default();
    if head != "scrub status:1" {
        return Err(format!("expected scrub status:1, found {}", quoted(head)));
    }
    lines.filter(|line| !line.is_empty()).map(|line| record(line, uuid)).collect()
}

/// When a scrub ended that checked all of these devices, in seconds since 1970; `None` when there is no such record. Pauses
/// are not in the records, so it may have been later.
pub fn ended(records: &[ScrubRecord], devices: impl IntoIterator<Item = u64>) -> Option<u64> {
    let end = |device| {
        let record = records.iter().find(|record| record.device == device && record.end == ScrubEnd::Finished)?;
        record.started?.checked_add(record.took.as_secs())
    };
    let ends: Option<Vec<u64>> = devices.into_iter().map(end).collect();
    ends?.into_iter().max()
}

fn record(line: &str, uuid: &str) -> Result<ScrubRecord, String> {
    let (name, fields) = line.split_once('|').ok_or_else(|| format!("expected a record, found {}", quoted(line)))?;
    let device = name.strip_prefix(uuid).and_then(|rest| rest.strip_prefix(':'));
    let device = device.ok_or_else(|| format!("expected {uuid} and a device, found {}", quoted(name)))?;
    let count = |wanted: &str| {
        let field = fields.split('|').find_map(|field| field.strip_prefix(wanted)?.strip_prefix(':'));
        field.ok_or_else(|| format!("expected {wanted} in the record, found none")).and_then(whole)
    };
    let end = match (count("canceled")?, count("finished")?) {
        (0, 0) => ScrubEnd::Open,
        (0, _) => ScrubEnd::Finished,
        _ => ScrubEnd::Canceled,
    };
    Ok(ScrubRecord {
        device: whole(device)?,
        scrubbed: count("data_bytes_scrubbed")?.saturating_add(count("tree_bytes_scrubbed")?),
        uncorrectable: count("uncorrectable_errors")?,
        corrected: count("corrected_errors")?,
        started: Some(count("t_start")?).filter(|&at| at > 0),
        took: Duration::from_secs(count("duration")?),
        end,
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const UUID: &str = "22bf3b64-4c77-46ba-a490-0dfb7c90afd3";

    /// As btrfs-progs 6.14 wrote it after one copy on the second device had been spoilt.
    const FILE: &str = "scrub status:1\n\
        22bf3b64-4c77-46ba-a490-0dfb7c90afd3:1|data_extents_scrubbed:1600|tree_extents_scrubbed:16|data_bytes_scrubbed:\
        104857600|tree_bytes_scrubbed:262144|read_errors:0|csum_errors:0|verify_errors:0|no_csum:0|csum_discards:0|\
        super_errors:0|malloc_errors:0|uncorrectable_errors:0|corrected_errors:0|last_physical:328269824|\
        t_start:1795597654|t_resumed:0|duration:2|canceled:0|finished:1\n\
        22bf3b64-4c77-46ba-a490-0dfb7c90afd3:2|data_extents_scrubbed:1600|tree_extents_scrubbed:16|data_bytes_scrubbed:\
        104857600|tree_bytes_scrubbed:262144|read_errors:0|csum_errors:17920|verify_errors:0|no_csum:0|csum_discards:0|\
        super_errors:0|malloc_errors:0|uncorrectable_errors:0|corrected_errors:17920|last_physical:307298304|\
        t_start:1795597654|t_resumed:0|duration:2|canceled:0|finished:1\n";

    #[test]
    fn a_scrub_that_mended_what_was_spoilt() {
        let whole = ScrubRecord {
            device: 1,
            scrubbed: 105_119_744,
            uncorrectable: 0,
            corrected: 0,
            started: Some(1_795_597_654),
            took: Duration::from_secs(2),
            end: ScrubEnd::Finished,
        };
        assert_eq!(records(FILE, UUID), Ok(vec![whole, ScrubRecord { device: 2, corrected: 17_920, ..whole }]));
    }

    /// What the tool writes when a scrub begins.
    #[test]
    fn a_begin_that_is_not_noted_yet_is_not_1970() {
        let records = records(&FILE.replace("t_start:1795597654", "t_start:0"), UUID).unwrap();
        assert_eq!(records[0].started, None);
    }

    #[test]
    fn a_scrub_ended_when_the_last_of_all_devices_was_done() {
        let (quick, slow) =
            ("t_start:1795597654|t_resumed:0|duration:2|", "t_start:1795597654|t_resumed:0|duration:90|");
        let records_of = |text: &str| records(text, UUID).unwrap();
        assert_eq!(ended(&records_of(&FILE.replacen(quick, slow, 1)), [1, 2]), Some(1_795_597_744));
        assert_eq!(ended(&records_of(FILE), [1, 2, 3]), None, "a device that was added since");
        assert_eq!(ended(&records_of(&FILE.replacen("finished:1", "finished:0", 1)), [1, 2]), None, "cut short");
        assert_eq!(ended(&records_of(&FILE.replace("t_start:1795597654", "t_start:0")), [1, 2]), None);
        assert_eq!(ended(&[], []), None);
    }

    #[test]
    fn neither_finished_nor_canceled_is_open() {
        let end = |canceled, finished| {
            let text = FILE.replace("canceled:0|finished:1", &format!("canceled:{canceled}|finished:{finished}"));
            records(&text, UUID).map(|records| records[0].end)
        };
        assert_eq!(end(0, 0), Ok(ScrubEnd::Open));
        assert_eq!(end(1, 0), Ok(ScrubEnd::Canceled));
        assert_eq!(end(1, 1), Ok(ScrubEnd::Canceled));
    }

    #[test]
    fn a_file_that_is_cut_never_gives_a_record_that_was_not_there() {
        let full = records(FILE, UUID).unwrap();
        for cut in 0..FILE.len() - 1 {
            // Only the last digit could be lost unseen, and that digit is a switch.
            if let Ok(found) = records(&FILE[..cut], UUID) {
                assert!(full.starts_with(&found), "cut at {cut}: {found:?}");
            }
        }
    }

    #[test]
    fn other_formats_and_other_file_systems_are_refused() {
        assert_eq!(records("", UUID), Err("expected scrub status:1, found nothing".into()));
        assert_eq!(records("scrub status:2\n", UUID), Err("expected scrub status:1, found `scrub status:2`".into()));
        let wanted = "expected other and a device, found `22bf3b64-4c77-46ba-a490-…`";
        assert_eq!(records(FILE, "other"), Err(wanted.into()));
        let absurd = FILE.replace("t_start:1795597654", "t_start:-1");
        assert_eq!(records(&absurd, UUID), Err("expected a whole number, found `-1`".into()));
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in any::<String>(), uuid in any::<String>()) {
            let _ = records(&text, &uuid);
            let _ = records(&format!("scrub status:1\n{text}"), &uuid);
        }
    }
}
