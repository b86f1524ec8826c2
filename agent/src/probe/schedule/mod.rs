//! When which drive gets a self-test without being asked to by hand. Pure: what is known of all drives and pools comes
//! in, one drive or none goes out. Nothing is remembered but what this probe has begun: when a drive was last tested is
//! on the drive's own record, so that a restart changes nothing.

use crate::clock::Moment;
use crate::reading::{ActivityKind, DriveKey, Pool, PoolRunning, SelfTestStep, SelfTests, TestKind};
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// After a start there is enough else to do.
const NOT_BEFORE: Duration = Duration::from_secs(10 * 60);
/// One drive is not asked twice within this, whatever its record says; nor again after a test that came to nothing.
const TRIED_AGAIN_AFTER: Duration = Duration::from_secs(24 * 3600);

/// How often drives shall test themselves, in days that they are switched on; 0 is never.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Schedule {
    /// The short test.
    pub short_every_days: u32,
    /// The extended test.
    pub long_every_days: u32,
}

/// What counts of one drive.
#[derive(Debug, Clone, Copy)]
pub struct Candidate<'a> {
    /// Which.
    pub key: &'a DriveKey,
    /// It said that it is active, and keeps up with its work.
    pub is_active: bool,
    /// Somebody has just used it.
    pub is_used: bool,
    /// A test would keep it from falling asleep.
    pub has_disks: bool,
    /// What it told of its self-tests.
    pub self_tests: Option<&'a SelfTests>,
    /// When this probe last asked it for one.
    pub requested: Option<Moment>,
    /// A request has not been answered yet.
    pub is_pending: bool,
}

/// The drive that shall begin a test now, and which. `began` is when this probe did; `pools` is `None` when they could
/// not be looked at.
///
/// One drive at a time in the whole box; none while a pool lacks a member, rebuilds or checks; never one that sleeps,
/// nor a disk that nobody uses, since a test would keep it from falling asleep; and none with a failure on its record:
/// that one is its owner's to look after. The drive that is overdue for longest comes first.
pub fn due<'a>(
    schedule: Schedule,
    now: Moment,
    began: Moment,
    drives: &[Candidate<'a>],
    pools: Option<&[Pool]>,
) -> Option<(&'a DriveKey, SelfTestStep)> {
    let is_busy = |drive: &Candidate| drive.is_pending || drive.self_tests.is_some_and(SelfTests::is_running);
    let is_off = schedule == Schedule::default();
    if is_off || now.since(began) < NOT_BEFORE || !pools?.iter().all(is_quiet) || drives.iter().any(is_busy) {
        return None;
    }
    let ready = drives.iter().filter(|drive| {
        let was_asked = drive.requested.is_some_and(|at| now.since(at) < TRIED_AGAIN_AFTER);
        drive.is_active && (drive.is_used || !drive.has_disks) && !was_asked
    });
    let overdue = ready.filter_map(|drive| {
        let tests = drive.self_tests.filter(|tests| tests.standing_failure().is_none())?;
        let long = overdue(tests, schedule.long_every_days, |kind| kind == TestKind::Extended);
        // An extended test includes the short one.
        let short = || overdue(tests, schedule.short_every_days, |kind| kind != TestKind::Other);
        let (hours, step) = match long {
            Some(hours) => (hours, SelfTestStep::Extended),
            None => (short()?, SelfTestStep::Short),
        };
        Some((hours, drive.key, step))
    });
    let first = overdue.max_by(|one, other| one.0.cmp(&other.0).then(other.1.cmp(one.1)));
    first.map(|(_, key, step)| (key, step))
}

/// By how many hours a test of these kinds is overdue; `None` when it is not, or when the drive's numbers do not tell.
fn overdue(tests: &SelfTests, every_days: u32, counts: impl Fn(TestKind) -> bool) -> Option<u64> {
    if every_days == 0 {
        return None;
    }
    let mut of_kind = tests.past.iter().filter(|test| counts(test.kind));
    let newest = of_kind.clone().next().map(|test| test.age_hours);
    let with_result = of_kind.find(|test| test.has_result()).map(|test| test.age_hours);
    match (newest, with_result) {
        (None, _) => Some(u64::MAX),
        (Some(None), _) | (_, Some(None)) => None,
        (Some(Some(age)), _) if age < TRIED_AGAIN_AFTER.as_secs() / 3600 => None,
        (_, None) => Some(u64::MAX),
        (_, Some(Some(age))) => age.checked_sub(u64::from(every_days) * 24),
    }
}

/// True for a pool that serves, lacks nothing and does nothing besides.
fn is_quiet(pool: &Pool) -> bool {
    pool.running.get() == Some(&PoolRunning::Running)
        && pool.missing.unwrap_or(0) == 0
        && pool.wanted > 0
        && pool.working() >= pool.wanted
        && pool.activity.kind == ActivityKind::Idle
}

#[cfg(test)]
mod tests;
