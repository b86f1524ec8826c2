//! The counters of one block device: `/sys/block/X/stat` (Documentation/block/stat.rst).

use crate::plain::{quoted, whole};

/// Counters since the device appeared. Sectors are 512 bytes whatever the drive's own sector size.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Stat {
    /// Reads completed.
    pub reads: u64,
    /// Sectors read.
    pub sectors_read: u64,
    /// Writes completed.
    pub writes: u64,
    /// Sectors written.
    pub sectors_written: u64,
}

/// The text of a `stat` file. Newer kernels append columns; they are not needed here.
pub fn stat(text: &str) -> Result<Stat, String> {
    let columns: Vec<&str> = text.split_ascii_whitespace().collect();
    match columns[..] {
        [reads, _, sectors_read, _, writes, _, sectors_written, _, _, _, _, ..] => Ok(Stat {
            reads: whole(reads)?,
            sectors_read: whole(sectors_read)?,
            writes: whole(writes)?,
            sectors_written: whole(sectors_written)?,
        }),
        _ => Err(format!("expected at least 11 columns, found {} in {}", columns.len(), quoted(text))),
    }
}

/// The text of an `inflight` file: requests to read and requests to write, added up.
pub fn in_flight(text: &str) -> Result<u64, String> {
    match text.split_ascii_whitespace().collect::<Vec<_>>()[..] {
        [reads, writes] => Ok(whole(reads)?.saturating_add(whole(writes)?)),
        _ => Err(format!("expected two numbers, found {}", quoted(text))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn old_and_new_kernels_agree_in_the_first_columns() {
        let wanted = Stat { reads: 5, sectors_read: 40, writes: 7, sectors_written: 56 };
        assert_eq!(stat("5 0 40 3 7 1 56 9 0 12 12"), Ok(wanted));
        assert_eq!(
            stat(
                "       5        0       40        3        7        1       56        9        0       12       12        0        0        0        0        2        1"
            ),
            Ok(wanted)
        );
    }

    #[test]
    fn half_a_line_is_not_a_count_of_zero() {
        assert_eq!(stat("5 0 40"), Err("expected at least 11 columns, found 3 in `5 0 40`".into()));
        assert_eq!(stat(""), Err("expected at least 11 columns, found 0 in nothing".into()));
        assert!(stat("5 0 -1 3 7 1 56 9 0 12 12").is_err());
    }

    #[test]
    fn requests_under_way_are_added_up() {
        assert_eq!(in_flight("       3        4"), Ok(7));
        assert_eq!(in_flight("3"), Err("expected two numbers, found `3`".into()));
    }
}
