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

/// More members no array has: `super_1_load` of drivers/md/md.c rejects a superblock with more (from memory).
pub const MOST_MEMBERS: u32 = 1920;

/// `raid_disks`: a number, or nothing while inactive, which is 0. While the layout changes it is `NEW (OLD)`, and the data
/// lies on as many as the greater of both.
pub fn member_count(text: &str) -> Result<u32, String> {
    let wanted = || format!("expected a number of members up to {MOST_MEMBERS}, found {}", quoted(text));
    let count = |text: &str| text.parse().ok().filter(|count: &u32| *count <= MOST_MEMBERS).ok_or_else(wanted);
    match text.split_once(' ') {
        _ if text.is_empty() => Ok(0),
        Some((new, old)) => Ok(count(new)?.max(count(old.trim_matches(['(', ')']))?)),
        None => count(text),
    }
}

/// `degraded`, how many of so many members are missing.
pub fn missing(text: &str, members: u32) -> Result<u32, String> {
    let count = whole(text)?.try_into().ok().filter(|count| *count <= members);
    count.ok_or_else(|| format!("expected a number of missing members up to {members}, found {}", quoted(text)))
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

/// `dev-*/state` of one that is filled while the member that it replaces is still in its slot.
pub fn is_replacement(text: &str) -> bool {
    text.split(',').any(|word| word.trim() == "replacement")
}

/// `dev-*/slot`: a number, or `none` or `journal`.
pub fn slot(text: &str) -> Result<Option<u32>, String> {
    match text {
        "none" | "journal" => Ok(None),
        _ => text.parse().map(Some).map_err(|_| format!("expected a place in the array, found {}", quoted(text))),
    }
}

/// `sync_action`.
pub fn action(text: &str) -> Result<ActivityKind, String> {
    Ok(match text {
        "idle" => ActivityKind::Idle,
        "resync" => ActivityKind::Resync,
        "recover" => ActivityKind::Rebuild,
        "check" => ActivityKind::Check,
        "repair" => ActivityKind::Repair,
        "reshape" => ActivityKind::Reshape,
        "frozen" => ActivityKind::Frozen,
        _ => return Err(format!("expected an action of md, found {}", quoted(text))),
    })
}

/// What `sync_action`, `sync_completed` and `sync_speed` make together.
///
/// Progress is `DONE / TOTAL` in sectors, speed is in KiB/s.
pub fn activity(action: ActivityKind, completed: Option<&str>, speed: Option<&str>) -> Activity {
    let progress = completed.and_then(progress);
    let done = progress.map(|(done, total)| done as f64 / total as f64);
    let speed = speed.and_then(|text| text.parse::<u64>().ok());
    let left = progress.zip(speed).and_then(|((done, total), kib_per_second)| {
        let remaining_kib = (total - done) / 2;
        (kib_per_second > 0).then(|| Duration::from_secs(remaining_kib / kib_per_second))
    });
    Activity { kind: action, done, left, speed: speed.map(|kib| BytesPerSecond(kib as f64 * 1024.0)) }
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
pub fn mismatches(action: Option<ActivityKind>, last: Option<&str>, count: Option<u64>) -> Option<u64> {
    let has_ended = action == Some(ActivityKind::Idle) && matches!(last, Some("check" | "repair"));
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
        assert_eq!(member_count("3 (4)"), Ok(4), "data lies on all four until it has ended");
        assert_eq!(member_count(""), Ok(0));
        assert_eq!(member_count("1920"), Ok(1920));
        for odd in ["1921", "100000", "4294967295", "18446744073709551615", "-1", "4 (4294967295)", "4 3 2"] {
            assert!(member_count(odd).is_err(), "{odd}");
        }
    }

    #[test]
    fn no_more_members_are_missing_than_there_are() {
        assert_eq!(missing("4", 4), Ok(4));
        assert!(missing("5", 4).is_err() && missing("", 4).is_err() && missing("one", 4).is_err());
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
    fn a_replacement_is_no_member_that_wants_one() {
        assert!(is_replacement("spare,replacement"));
        assert!(!is_replacement("in_sync,want_replacement"));
    }

    #[test]
    fn an_action_that_is_not_known_is_not_idle() {
        assert_eq!(action("recover"), Ok(ActivityKind::Rebuild));
        assert_eq!(action(""), Err("expected an action of md, found nothing".into()));
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
        let found = activity(ActivityKind::Rebuild, Some("41728 / 1429504"), Some("2086"));
        assert_eq!(found.kind, ActivityKind::Rebuild);
        assert!((found.done.unwrap_or_default() - 0.0292).abs() < 0.0001);
        assert_eq!(found.left, Some(Duration::from_secs(332)));
    }

    #[test]
    fn a_comparison_has_a_result_only_when_it_has_ended() {
        assert_eq!(mismatches(Some(ActivityKind::Idle), Some("check"), Some(8)), Some(8));
        assert_eq!(mismatches(Some(ActivityKind::Check), Some("check"), Some(8)), None, "it still rises");
        assert_eq!(
            mismatches(Some(ActivityKind::Idle), Some("resync"), Some(8)),
            None,
            "left from another kind of run"
        );
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
            assert_eq!(activity(ActivityKind::Check, Some(odd), Some("1")).done, None, "{odd}");
        }
        assert_eq!(activity(ActivityKind::Check, Some("1 / 8"), Some("0")).left, None);
        assert_eq!(activity(ActivityKind::Idle, None, None), Activity::IDLE);
    }
}
