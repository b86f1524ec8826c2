//! What the ZFS module itself says of a pool, `/proc/spl/kstat/zfs/POOL/*`: the one place that answers while a pool
//! hangs (OpenZFS module/zfs/spa_stats.c: `state` takes no lock).

use crate::plain::{quoted, whole};

/// How a pool stands as a whole (OpenZFS module/zfs/spa_misc.c, `spa_state_to_name`).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ZfsPoolState {
    /// Serves its data. It may still have counted errors.
    Online,
    /// Serves its data, and something of its redundancy is lost.
    Degraded,
    /// Can serve nothing: too much is lost, or what it says of itself is damaged.
    Faulted,
    /// Taken offline on purpose.
    Offline,
    /// Its devices were taken away.
    Removed,
    /// Cannot be opened: too many devices are missing.
    Unavailable,
    /// Was split off into another pool.
    Split,
    /// Frozen: too much failed while it was at work, and whoever writes to it waits.
    Suspended,
    /// On its way from one state to another.
    Transitioning,
    /// The module says that it does not know.
    Unknown,
}

/// `state`, and the same words in `zpool status`.
pub fn state(text: &str) -> Result<ZfsPoolState, String> {
    Ok(match text {
        "ONLINE" => ZfsPoolState::Online,
        "DEGRADED" => ZfsPoolState::Degraded,
        "FAULTED" => ZfsPoolState::Faulted,
        "OFFLINE" => ZfsPoolState::Offline,
        "REMOVED" => ZfsPoolState::Removed,
        "UNAVAIL" => ZfsPoolState::Unavailable,
        "SPLIT" => ZfsPoolState::Split,
        "SUSPENDED" => ZfsPoolState::Suspended,
        "TRANSITIONING" => ZfsPoolState::Transitioning,
        "UNKNOWN" => ZfsPoolState::Unknown,
        _ => return Err(format!("expected a state of a ZFS pool, found {}", quoted(text))),
    })
}

/// `guid`: what the pool is known by wherever its devices are plugged. Since OpenZFS 2.2.
pub fn guid(text: &str) -> Result<u64, String> {
    match whole(text)? {
        0 => Err("expected the number of a pool, found 0".to_owned()),
        guid => Ok(guid),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    /// The words and their order are those of `spa_state_to_name`; the last two cases were seen on OpenZFS 2.3.9.
    #[test]
    fn every_word_of_the_module_is_known() {
        let words = "ONLINE DEGRADED FAULTED OFFLINE REMOVED UNAVAIL SPLIT SUSPENDED TRANSITIONING UNKNOWN";
        let states: Vec<ZfsPoolState> = words.split(' ').map(|word| state(word).expect(word)).collect();
        assert_eq!(states.iter().filter(|&&state| state == ZfsPoolState::Online).count(), 1);
        assert_eq!(state("SUSPENDED"), Ok(ZfsPoolState::Suspended));
        assert_eq!(guid("16264776641714663669"), Ok(16_264_776_641_714_663_669));
    }

    #[test]
    fn what_is_no_state_is_told() {
        assert_eq!(state(""), Err("expected a state of a ZFS pool, found nothing".into()));
        assert_eq!(state("online"), Err("expected a state of a ZFS pool, found `online`".into()));
        assert_eq!(guid("0"), Err("expected the number of a pool, found 0".into()));
        assert_eq!(guid("18446744073709551616"), Err("expected a whole number, found `18446744073709551616`".into()));
    }

    proptest! {
        #[test]
        fn no_other_text_is_a_state(text in "\\PC{0,40}") {
            prop_assume!(!text.chars().all(|c| c.is_ascii_uppercase()));
            prop_assert!(state(&text).is_err());
        }
    }
}
