//! What the files of one btrfs file system say: `/sys/fs/btrfs/UUID/*` (fs/btrfs/sysfs.c writes them).

use crate::plain::{quoted, whole};

/// Whether a folder of `/sys/fs/btrfs` is a file system: those have a UUID for a name, `features` and `debug` do not.
pub fn is_file_system(name: &str) -> bool {
    const DASHES: [usize; 4] = [8, 13, 18, 23];
    name.len() == 36
        && name.bytes().enumerate().all(|(at, byte)| match DASHES.contains(&at) {
            true => byte == b'-',
            false => byte.is_ascii_digit() || (b'a'..=b'f').contains(&byte),
        })
}

/// The number of a device in its file system, the name of a folder of `devinfo`.
pub fn device_id(name: &str) -> Option<u64> {
    name.bytes().all(|byte| byte.is_ascii_digit()).then(|| name.parse().ok()).flatten()
}

/// How often a device failed its file system. Kept on the devices themselves, so they survive a restart and begin
/// anew only when somebody resets them.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct ErrorCounts {
    /// Writes that the device refused.
    pub write: u64,
    /// Reads that the device refused.
    pub read: u64,
    /// Flushes that the device refused.
    pub flush: u64,
    /// Blocks whose checksum was wrong.
    pub corruption: u64,
    /// Blocks that were older than they should be: a write that was lost.
    pub generation: u64,
}

/// `devinfo/N/error_stats`: five lines of a name and a count. All five or none: a file that is cut counts nothing.
///
/// # Errors
/// What was found instead; `invalid` stands for counts that the file system itself could not read.
pub fn error_counts(text: &str) -> Result<ErrorCounts, String> {
    let count = |name: &str| {
        let line = text.lines().find_map(|line| line.trim().strip_prefix(name)?.strip_prefix(' '));
        line.ok_or_else(|| format!("expected a line {name}, found {}", quoted(text)))
            .and_then(|count| whole(count.trim()))
    };
    Ok(ErrorCounts {
        write: count("write_errs")?,
        read: count("read_errs")?,
        flush: count("flush_errs")?,
        corruption: count("corruption_errs")?,
        generation: count("generation_errs")?,
    })
}

/// Work that a file system does alone; only one of these runs at a time.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Operation {
    /// Nothing of the kind.
    None,
    /// Chunks are written anew elsewhere, perhaps with another profile.
    Balance,
    /// The same, held still on purpose.
    BalancePaused,
    /// A device is being added.
    DeviceAdd,
    /// A device is being emptied and taken out.
    DeviceRemove,
    /// A device is being copied to another that takes its place.
    DeviceReplace,
    /// A device's share is being made larger or smaller.
    Resize,
    /// A swap file is being switched on.
    SwapActivate,
}

/// `exclusive_operation`.
pub fn operation(text: &str) -> Result<Operation, String> {
    match text {
        "none" => Ok(Operation::None),
        "balance" => Ok(Operation::Balance),
        "balance paused" => Ok(Operation::BalancePaused),
        "device add" => Ok(Operation::DeviceAdd),
        "device remove" => Ok(Operation::DeviceRemove),
        "device replace" => Ok(Operation::DeviceReplace),
        "resize" => Ok(Operation::Resize),
        "swap activate" => Ok(Operation::SwapActivate),
        _ => Err(format!("expected an operation of btrfs, found {}", quoted(text))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    #[test]
    fn file_systems_have_a_uuid_for_a_name() {
        assert!(is_file_system("22bf3b64-4c77-46ba-a490-0dfb7c90afd3"));
        for other in
            ["features", "debug", "", "22bf3b64-4c77-46ba-a490-0dfb7c90afd", "22BF3B64-4c77-46ba-a490-0dfb7c90afd3"]
        {
            assert!(!is_file_system(other), "{other}");
        }
    }

    #[test]
    fn devices_are_numbered_and_a_replacement_being_filled_is_number_0() {
        assert_eq!(["0", "2", "18446744073709551615"].map(device_id), [Some(0), Some(2), Some(u64::MAX)]);
        assert_eq!(["", "+1", "-1", "1a", "18446744073709551616"].map(device_id), [None; 5]);
    }

    /// As a stock kernel 6.12 wrote it after a copy was spoilt and its drive was then taken away.
    #[test]
    fn error_counts_are_read_by_name() {
        let text = "write_errs 8\nread_errs 0\nflush_errs 1\ncorruption_errs 17920\ngeneration_errs 0\n";
        let wanted = ErrorCounts { write: 8, read: 0, flush: 1, corruption: 17_920, generation: 0 };
        assert_eq!(error_counts(text), Ok(wanted));
    }

    #[test]
    fn counts_that_are_cut_or_absurd_are_no_counts() {
        let text = "write_errs 8\nread_errs 0\nflush_errs 1\ncorruption_errs 17920\ngeneration_errs 12";
        for cut in 0..text.len() - 2 {
            assert!(error_counts(&text[..cut]).is_err(), "cut at {cut}");
        }
        assert_eq!(error_counts("invalid"), Err("expected a line write_errs, found `invalid`".into()));
        let absurd = text.replace(" 8", " 18446744073709551616");
        assert_eq!(error_counts(&absurd), Err("expected a whole number, found `18446744073709551616`".into()));
    }

    /// The words of `exclusive_operation` in fs/btrfs/sysfs.c.
    #[test]
    fn what_is_done_alone_has_a_word() {
        assert_eq!(operation("none"), Ok(Operation::None));
        assert_eq!(operation("device replace"), Ok(Operation::DeviceReplace));
        assert_eq!(operation("balance paused"), Ok(Operation::BalancePaused));
        assert_eq!(operation("scrub"), Err("expected an operation of btrfs, found `scrub`".into()));
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in any::<String>(), counts in any::<[u64; 5]>()) {
            let _ = (operation(&text), is_file_system(&text), device_id(&text));
            prop_assert!(error_counts(&text).is_err());
            let names = ["write_errs", "read_errs", "flush_errs", "corruption_errs", "generation_errs"];
            let good: String = names.iter().zip(counts).map(|(name, count)| format!("{name} {count}\n")).collect();
            let [write, read, flush, corruption, generation] = counts;
            prop_assert_eq!(error_counts(&good), Ok(ErrorCounts { write, read, flush, corruption, generation }));
        }
    }
}
