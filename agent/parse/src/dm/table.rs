//! The reply of the device mapper to a question about a device's table: a list of targets (include/uapi/linux/dm-ioctl.h,
//! `struct dm_target_spec`).

use crate::plain::quoted;

/// The fixed part of a target: start, length, status, next, and 16 bytes of kind. Its text follows.
const HEAD: usize = 40;

/// One stretch of a mapped device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct DmTarget {
    /// Where it begins, in sectors of 512 bytes.
    pub start: u64,
    /// How long it is, in the same.
    pub length: u64,
    /// What maps it, such as `raid` or `linear`.
    pub kind: String,
    /// What that says, as one line: its status, or the table it was made from.
    pub text: String,
}

/// The targets in `data`, which begins where the reply says that its data starts.
///
/// # Errors
/// What was found instead: a target that is cut, or that leads nowhere.
pub fn targets(data: &[u8], count: u32) -> Result<Vec<DmTarget>, String> {
    let mut found = Vec::new();
    let mut at = 0;
    for number in 0..count {
        let (target, next) = target(data, at).map_err(|strange| format!("target {number} of {count}: {strange}"))?;
        found.push(target);
        at = next;
    }
    Ok(found)
}

/// The target at this place, and where the next one is said to be: from the beginning of the first, in a reply.
fn target(data: &[u8], at: usize) -> Result<(DmTarget, usize), String> {
    let spec = data.get(at..).filter(|spec| spec.len() > HEAD);
    let spec =
        spec.ok_or_else(|| format!("expected more than {1} bytes, found {0}", data.len(), at.saturating_add(HEAD)))?;
    let long = |from: usize| u64::from_ne_bytes(spec[from..from + 8].try_into().unwrap_or_default());
    let next = u32::from_ne_bytes(spec[20..24].try_into().unwrap_or_default());
    let next = usize::try_from(next).unwrap_or(usize::MAX);
    let kind = text(&spec[24..HEAD])?;
    let end = spec.len().min(next.saturating_sub(at)).max(HEAD);
    let line = text(&spec[HEAD..end])?;
    Ok((DmTarget { start: long(0), length: long(8), kind, text: line }, next))
}

/// Text up to its zero byte.
fn text(bytes: &[u8]) -> Result<String, String> {
    let text = String::from_utf8_lossy(bytes);
    match text.split_once('\0') {
        Some((text, _)) => Ok(text.to_owned()),
        None => Err(format!("expected text with an end, found {}", quoted(&text))),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::testing::any_bytes;
    use proptest::prelude::*;

    /// Targets as the kernel lays them out: each on a multiple of eight bytes (`retrieve_status`, drivers/md/dm-ioctl.c).
    fn reply(targets: &[(u64, u64, &str, &str)]) -> Vec<u8> {
        let mut data = Vec::new();
        for &(start, length, kind, text) in targets {
            let size = (HEAD + text.len() + 1).next_multiple_of(8);
            let next = (data.len() + size) as u32;
            let mut spec = vec![0; size];
            spec[..8].copy_from_slice(&start.to_ne_bytes());
            spec[8..16].copy_from_slice(&length.to_ne_bytes());
            spec[20..24].copy_from_slice(&next.to_ne_bytes());
            spec[24..24 + kind.len()].copy_from_slice(kind.as_bytes());
            spec[HEAD..HEAD + text.len()].copy_from_slice(text.as_bytes());
            data.extend(spec);
        }
        data
    }

    const TWO: [(u64, u64, &str, &str); 2] =
        [(0, 409_600, "raid", "raid1 2 AA 409600/409600 idle 0 0 -"), (409_600, 8, "linear", "")];

    #[test]
    fn targets_follow_each_other() {
        let found = targets(&reply(&TWO), 2).unwrap();
        let found: Vec<_> = found.iter().map(|of| (of.start, of.length, of.kind.as_str(), of.text.as_str())).collect();
        assert_eq!(found, TWO);
        assert_eq!(targets(&[], 0), Ok(vec![]));
    }

    #[test]
    fn a_reply_that_is_cut_is_refused() {
        let whole = reply(&TWO);
        for cut in 0..whole.len() - 8 {
            assert!(targets(&whole[..cut], 2).is_err(), "cut at {cut}");
        }
        assert_eq!(targets(&[], 1), Err("target 0 of 1: expected more than 40 bytes, found 0".into()));
    }

    #[test]
    fn a_target_that_leads_back_or_away_ends_the_search() {
        let mut circle = reply(&TWO);
        circle[20..24].copy_from_slice(&0_u32.to_ne_bytes());
        assert!(targets(&circle, u32::MAX).is_err());
        let mut away = reply(&TWO);
        away[20..24].copy_from_slice(&u32::MAX.to_ne_bytes());
        assert_eq!(targets(&away, 2), Err("target 1 of 2: expected more than 4294967335 bytes, found 128".into()));
    }

    proptest! {
        #[test]
        fn any_bytes_are_read_or_refused(data in any_bytes(300), count in 0_u32..8) {
            let found = targets(&data, count);
            prop_assert!(found.is_err() || found.is_ok_and(|found| found.len() == count as usize));
        }

        #[test]
        fn a_bent_reply_is_read_or_refused(data in crate::testing::bent(reply(&TWO))) {
            let _ = targets(&data, 2);
        }
    }
}
