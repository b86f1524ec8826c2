//! A pool in the document.

use super::part::part;
use super::parts::{Span, tray};
use crate::reading::{
    self, ActivityKind, AfterCrash, MemberErrorKind, MemberState, Missing, PoolKind, PoolRunning, Snapshot, WhyMissing,
};
use crate::units::Bytes;
use crate::verdict::{Redundancy, Verdict};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

part! {
    /// Drives combined into one store with redundancy or striping.
    pub struct Pool of (verdict: &Verdict, snapshot: &Snapshot, pool: &reading::Pool) where {
        let judged = verdict.pools.get(&pool.key);
        let level = level(pool);
    } {
        /// The kernel's name.
        name: is String = pool.name.clone();
        /// md, ZFS, btrfs or LVM.
        kind: is PoolKind = pool.kind;
        /// Level, such as `raid5`.
        level: known String = level.map(str::to_owned);
        /// State.
        state: known PoolState = state(pool, judged);
        /// Number of members when healthy.
        members_expected: known u32 = level.and(if pool.is_read_in_part() { Err(WhyMissing::MembersUnread) } else { Ok(pool.wanted) });
        /// It can lose so many more members, whichever they are.
        can_lose: maybe u32 = level.and(not_judged(pool).map_or(Ok(judged.map(|judged| judged.spare)), Err));
        /// Its members.
        members: is Vec<Member> =
            pool.members.iter().map(|member| Member::of(verdict, snapshot, judged, member)).collect();
        /// Rebuild, check or other background work.
        activity: is Activity = Activity {
            kind: pool.activity.kind,
            done_ratio: pool.activity.done,
            speed_bytes_per_s: pool.activity.speed.map(|speed| speed.0),
            left_s: pool.activity.left.map(|left| left.as_secs()),
            left: verdict.work_left.get(&pool.key).map(Span::of),
        };
        /// Usable size.
        size_bytes: known u64 = pool.size.value.as_ref().map(|bytes| bytes.0);
        /// Mismatches found by the last check; `null` while one runs, or before the first.
        mismatch_bytes: is Option<u64> = pool.mismatches.map(|sectors| Bytes::from_sectors(sectors).0);
        /// Time since the last complete check, by the pool's own record; `null` without one, or when the clock was not set.
        last_check_s: is Option<u64> = pool.last_check.and_then(|check| check.ago).map(|ago| ago.as_secs());
        /// Unrecoverable errors, as the pool counts them.
        lost_data: is Option<u64> = pool.lost_data;
        /// How it recovers from an unclean shutdown.
        after_crash: is Option<AfterCrash> = pool.after_crash;
        /// Metadata space, where it can run out separately.
        metadata: is Option<PoolMetadata> = pool.metadata.map(|room| PoolMetadata {
            unallocated_bytes: room.unallocated.0,
            size_bytes: room.total.0,
            used_bytes: room.used.0,
        });
    }
}

/// State of a pool.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum PoolState {
    /// No member is missing or rebuilding.
    Healthy,
    /// Members are missing; the data is available.
    Degraded,
    /// A member is being rebuilt.
    Rebuilding,
    /// The data is not available.
    Down,
}

/// A member.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Member {
    /// Label of its drive's tray.
    pub tray: Option<String>,
    /// The kernel's name of its drive; empty when that is gone.
    pub drive: String,
    /// The kernel's name of the member, such as a partition of the drive.
    pub device: String,
    /// Its state in the pool.
    pub state: MemberStatus,
    /// True when the pool would lose data without it.
    pub must_stay: bool,
    /// Errors that the pool has counted on it, by type.
    pub errors: BTreeMap<MemberErrorKind, u64>,
}

/// State of a member.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum MemberStatus {
    /// It holds its share of the data.
    Active,
    /// A spare that is not in use.
    Spare,
    /// It is being rebuilt.
    Rebuilding,
    /// The pool has removed it as faulty.
    Faulty,
    /// It was taken offline by command.
    Offline,
    /// Its block device is gone.
    Gone,
    /// Its state could not be read.
    Unreadable,
}

impl MemberStatus {
    fn of(member: &reading::Member) -> Self {
        match member.state {
            _ if member.device_gone => Self::Gone,
            MemberState::Active => Self::Active,
            MemberState::Spare => Self::Spare,
            MemberState::Rebuilding => Self::Rebuilding,
            MemberState::Faulty => Self::Faulty,
            MemberState::Offline => Self::Offline,
            MemberState::Unknown => Self::Unreadable,
        }
    }
}

/// Background work of a pool.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Activity {
    /// Which.
    pub kind: ActivityKind,
    /// Progress, 0 to 1.
    pub done_ratio: Option<f64>,
    /// Present speed on each member.
    pub speed_bytes_per_s: Option<f64>,
    /// Time left at the present speed.
    pub left_s: Option<u64>,
    /// Time left at the speed of the last hour, with its interval.
    pub left: Option<Span>,
}

/// Metadata space.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct PoolMetadata {
    /// Space that is allocated to neither data nor metadata.
    pub unallocated_bytes: u64,
    /// Space allocated to metadata.
    pub size_bytes: u64,
    /// Used space of that.
    pub used_bytes: u64,
}

impl Member {
    fn of(verdict: &Verdict, snapshot: &Snapshot, judged: Option<&Redundancy>, member: &reading::Member) -> Self {
        let drive = snapshot.drives.iter().find(|drive| drive.device == member.drive_device);
        Member {
            tray: drive.and_then(|drive| tray(verdict, drive)),
            drive: member.drive_device.clone(),
            device: member.device.clone(),
            state: MemberStatus::of(member),
            must_stay: judged.is_some_and(|judged| judged.needs(member)),
            errors: member.errors.iter().map(|errors| (errors.kind, errors.count)).collect(),
        }
    }
}

fn level(pool: &reading::Pool) -> Result<&str, WhyMissing> {
    match (pool.level.as_str(), pool.running.get()) {
        ("", Some(PoolRunning::Running)) if pool.is_read_in_part() => Err(WhyMissing::MembersUnread),
        ("", Some(PoolRunning::Running)) => Err(WhyMissing::Pending),
        ("", _) => Err(WhyMissing::PoolNotStarted),
        (level, _) => Ok(level),
    }
}

fn state(pool: &reading::Pool, judged: Option<&Redundancy>) -> Result<PoolState, Missing> {
    let judged = judged.ok_or(WhyMissing::Pending)?;
    pool.running.value.as_ref()?;
    Ok(match pool.activity.kind {
        _ if judged.down.is_some() => PoolState::Down,
        ActivityKind::Rebuild => PoolState::Rebuilding,
        _ if judged.lost > 0 => PoolState::Degraded,
        _ => return not_judged(pool).map_or(Ok(PoolState::Healthy), |why| Err(why.into())),
    })
}

/// Why it is not known what the pool can lose, if it is not.
fn not_judged(pool: &reading::Pool) -> Option<WhyMissing> {
    if pool.is_read_in_part() {
        Some(WhyMissing::MembersUnread)
    } else {
        pool.has_unknown_level().then_some(WhyMissing::LevelNotSupported)
    }
}
