//! Words and numbers of Linux md in sysfs (Documentation/admin-guide/md.rst; drivers/md/md.c says where it differs).

use crate::plain::{quoted, whole};
use std::time::Duration;
use traylight_data::reading::{Activity, ActivityKind, AfterCrash, MemberState, PoolRunning};
use traylight_data::units::BytesPerSecond;

/// `array_state`. Between `clean`, `active` and the rest the kernel moves with every burst of writes: all of them run.
pub fn running(text: &str) -> Result<PoolRunning, String> {
    match text {
        "clean" | "active" | "write-pending" | "active-idle" | "readonly" | "read-auto" => Ok(PoolRunning::Running),
        "inactive" | "clear" => Ok(PoolRunning::Inactive),
        // Shown for a suspended array too, which waits but has lost nothing.
        "suspended" => Ok(PoolRunning::Running),
        "broken" => Ok(PoolRunning::Broken),
        _ => Err(format!("expected a state of md, found {}", quoted(text))),
    }
}

/// `raid_disks` and its kind: a number, `NEW (OLD)` while the layout changes, or nothing while inactive, which is 0.
pub fn member_count(text: &str) -> Result<u32, String> {
    let first = text.split(' ').next().unwrap_or_default();
    if first.is_empty() {
        return Ok(0);
    }
    whole(first)?.try_into().map_err(|_| format!("expected a count of members, found {}", quoted(text)))
}

/// `dev-*/state`: several words at once are normal, and the worst decides. A `spare` with a slot is being filled.
pub fn member_state(text: &str, slot: Option<u32>) -> Result<MemberState, String> {
    let has = |word: &str| text.split(',').any(|found| found.trim() == word);
    if has("faulty") {
        Ok(MemberState::Faulty)
    } else if has("in_sync") || has("journal") {
        Ok(MemberState::Active)
    } else if has("spare") {
        Ok(if slot.is_some() { MemberState::Rebuilding } else { MemberState::Spare })
    } else {
        Err(format!("expected a state of a member, found {}", quoted(text)))
    }
}

/// `dev-*/slot`: a number, or `none` or `journal`.
pub fn slot(text: &str) -> Result<Option<u32>, String> {
    match text {
        "none" | "journal" => Ok(None),
        _ => text.parse().map(Some).map_err(|_| format!("expected a place in the array, found {}", quoted(text))),
    }
}

/// `sync_action`, `sync_completed` and `sync_speed` together.
///
/// `action` absent means a layout without redundancy, which has no such work. Progress is `DONE / TOTAL` in sectors,
/// speed is in KiB/s.
pub fn activity(action: Option<&str>, completed: Option<&str>, speed: Option<&str>) -> Activity {
    let kind = match action {
        None | Some("idle") => return Activity::IDLE,
        Some("resync") => ActivityKind::Resync,
        Some("recover") => ActivityKind::Rebuild,
        Some("check") => ActivityKind::Check,
        Some("repair") => ActivityKind::Repair,
        Some("reshape") => ActivityKind::Reshape,
        Some("frozen") => ActivityKind::Frozen,
        Some(_) => return Activity::IDLE,
    };
    let progress = completed.and_then(progress);
    let done = progress.map(|(done, total)| done as f64 / total as f64);
    let speed = speed.and_then(|text| text.parse::<u64>().ok());
    let left = progress.zip(speed).and_then(|((done, total), kib_per_second)| {
        let remaining_kib = (total - done) / 2;
        (kib_per_second > 0).then(|| Duration::from_secs(remaining_kib / kib_per_second))
    });
    Activity { kind, done, left, speed: speed.map(|kib| BytesPerSecond(kib as f64 * 1024.0)) }
}

/// `consistency_policy`; `None` for `unknown`, which an inactive array says, and for words that md does not have.
pub fn after_crash(text: &str) -> Option<AfterCrash> {
    match text {
        "resync" => Some(AfterCrash::FullResync),
        "bitmap" | "journal" | "ppl" => Some(AfterCrash::Minutes),
        "none" => Some(AfterCrash::Nothing),
        _ => None,
    }
}

/// `mismatch_cnt`, in sectors, as far as it is a result: it begins at zero and rises while the comparison runs, so it says
/// nothing before that has ended (`last_sync_action` says what ran last).
pub fn mismatches(action: Option<&str>, last: Option<&str>, count: Option<u64>) -> Option<u64> {
    let has_ended = action == Some("idle") && matches!(last, Some("check" | "repair"));
    count.filter(|_| has_ended)
}

/// `DONE / TOTAL`; `none`, `delayed` and anything that cannot be true are no progress.
fn progress(text: &str) -> Option<(u64, u64)> {
    let (done, total) = text.split_once('/')?;
    let (done, total) = (done.trim().parse().ok()?, total.trim().parse().ok()?);
    (total > 0 && done <= total).then_some((done, total))
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn writing_is_no_news() {
        for word in ["clean", "active", "active-idle", "write-pending", "read-auto"] {
            assert_eq!(running(word), Ok(PoolRunning::Running), "{word}");
        }
        assert_eq!(running("inactive"), Ok(PoolRunning::Inactive));
        assert_eq!(running("broken"), Ok(PoolRunning::Broken));
        assert_eq!(running(""), Err("expected a state of md, found nothing".into()));
    }

    #[test]
    fn counts_during_a_reshape_and_while_inactive() {
        assert_eq!(member_count("4"), Ok(4));
        assert_eq!(member_count("4 (3)"), Ok(4));
        assert_eq!(member_count(""), Ok(0));
        assert!(member_count("18446744073709551615").is_err());
    }

    #[test]
    fn the_worst_word_of_a_member_decides() {
        // Seen on a stock kernel 6.12 after a member was taken away.
        assert_eq!(
            member_state("faulty,in_sync,blocked,write_error,want_replacement", Some(1)),
            Ok(MemberState::Faulty)
        );
        assert_eq!(member_state("in_sync", Some(0)), Ok(MemberState::Active));
        assert_eq!(member_state("spare", None), Ok(MemberState::Spare));
        assert_eq!(member_state("spare", Some(2)), Ok(MemberState::Rebuilding));
        assert_eq!(member_state("", None), Err("expected a state of a member, found nothing".into()));
    }

    #[test]
    fn a_place_is_a_number_or_none() {
        assert_eq!(slot("3"), Ok(Some(3)));
        assert_eq!(slot("none"), Ok(None));
        assert_eq!(slot("hoo"), Err("expected a place in the array, found `hoo`".into()));
    }

    #[test]
    fn progress_becomes_a_share_and_a_time() {
        // 2.8 % of 714752 KiB at 2086 KiB/s: mdstat of the same moment said finish=5.5min.
        let found = activity(Some("recover"), Some("41728 / 1429504"), Some("2086"));
        assert_eq!(found.kind, ActivityKind::Rebuild);
        assert!((found.done.unwrap_or_default() - 0.0292).abs() < 0.0001);
        assert_eq!(found.left, Some(Duration::from_secs(332)));
    }

    #[test]
    fn a_comparison_has_a_result_only_when_it_has_ended() {
        assert_eq!(mismatches(Some("idle"), Some("check"), Some(8)), Some(8));
        assert_eq!(mismatches(Some("check"), Some("check"), Some(8)), None, "it still rises");
        assert_eq!(mismatches(Some("idle"), Some("resync"), Some(8)), None, "left from another kind of run");
        assert_eq!(mismatches(None, None, None), None);
    }

    #[test]
    fn what_an_unclean_stop_costs_is_known_by_the_policy() {
        assert_eq!(after_crash("resync"), Some(AfterCrash::FullResync));
        assert_eq!(after_crash("bitmap"), Some(AfterCrash::Minutes));
        assert_eq!(after_crash("unknown"), None);
    }

    #[test]
    fn progress_that_cannot_be_true_is_none() {
        for odd in ["none", "delayed", "5 / 0", "9 / 8", "/", "x / y"] {
            assert_eq!(activity(Some("check"), Some(odd), Some("1")).done, None, "{odd}");
        }
        assert_eq!(activity(Some("check"), Some("1 / 8"), Some("0")).left, None);
        assert_eq!(activity(None, None, None), Activity::IDLE);
    }
}
