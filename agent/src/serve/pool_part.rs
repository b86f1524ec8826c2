//! A pool in the document.

use super::part::part;
use super::parts::{Span, tray};
use crate::reading::{self, ActivityKind, AfterCrash, MemberErrorKind, PoolKind, PoolRunning, Snapshot};
use crate::units::Bytes;
use crate::verdict::{Redundancy, Verdict};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

part! {
    /// Drives that hold data together.
    pub struct Pool of (verdict: &Verdict, snapshot: &Snapshot, pool: &reading::Pool) where {
        let judged = verdict.pools.get(&pool.key);
        let level = level(pool);
    } {
        /// The kernel's name.
        name: is String = pool.name.clone();
        /// Which software holds it together.
        kind: is PoolKind = pool.kind;
        /// Layout.
        level: known String = level.map(str::to_owned);
        /// How it stands.
        state: known PoolState = state(pool, judged);
        /// How many members a whole pool has.
        wanted: known u32 = level.map(|_| pool.wanted);
        /// How many more members it can lose whichever they are.
        spare_losses: maybe u32 = level.map(|_| Some(judged?.spare));
        /// Its members.
        members: is Vec<Member> =
            pool.members.iter().map(|member| Member::of(verdict, snapshot, judged, member)).collect();
        /// What it does besides its work.
        activity: is Activity = Activity {
            kind: pool.activity.kind,
            done_ratio: pool.activity.done,
            speed_bytes_per_s: pool.activity.speed.map(|speed| speed.0),
            left_s: pool.activity.left.map(|left| left.as_secs()),
            left: verdict.work_left.get(&pool.key).map(Span::of),
        };
        /// Usable size.
        size_bytes: known u64 = pool.size.value.as_ref().map(|bytes| bytes.0);
        /// What did not agree when its redundancy was compared last; `null` while that runs, or if it never did.
        mismatch_bytes: is Option<u64> = pool.mismatches.map(|sectors| Bytes::from_sectors(sectors).0);
        /// How long ago its redundancy was last compared as a whole, by its own record; `null` when there is none or the clock
        /// was not set.
        last_check_s: is Option<u64> = pool.last_check.and_then(|check| check.ago).map(|ago| ago.as_secs());
        /// Pieces of data that are lost for good, by the pool's own count.
        lost_data: is Option<u64> = pool.lost_data;
        /// What it does after an unclean stop.
        after_crash: is Option<AfterCrash> = pool.after_crash;
        /// Room for metadata, where that can run out by itself.
        metadata: is Option<MetadataRoom> = pool.metadata.map(|room| MetadataRoom {
            unallocated_bytes: room.unallocated.0,
            size_bytes: room.total.0,
            used_bytes: room.used.0,
        });
    }
}

/// How a pool stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum PoolState {
    /// No member is missing or rebuilding.
    Healthy,
    /// Members are missing.
    Degraded,
    /// A member is being filled.
    Rebuilding,
    /// It does not serve its data.
    Down,
}

/// One member.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Member {
    /// The label of its drive's tray.
    pub tray: Option<String>,
    /// The kernel's name of its drive; empty when that is gone.
    pub drive: String,
    /// The kernel's name of the member, such as a partition of the drive.
    pub device: String,
    /// What the pool thinks of it; `gone` when its block device is no more.
    pub state: String,
    /// True when the pool cannot lose it as well.
    pub must_stay: bool,
    /// Errors that the pool has counted on it, by kind.
    pub errors: BTreeMap<MemberErrorKind, u64>,
}

/// What a pool does besides its work.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Activity {
    /// What runs.
    pub kind: ActivityKind,
    /// How far, 0 to 1.
    pub done_ratio: Option<f64>,
    /// The present speed, on each member.
    pub speed_bytes_per_s: Option<f64>,
    /// How long it would take from here at the present speed.
    pub left_s: Option<u64>,
    /// How long it will still take by the pace of the last hour, with its interval.
    pub left: Option<Span>,
}

/// Room for metadata.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct MetadataRoom {
    /// What belongs to neither data nor metadata yet.
    pub unallocated_bytes: u64,
    /// What is set aside for metadata.
    pub size_bytes: u64,
    /// What of that is filled.
    pub used_bytes: u64,
}

impl Member {
    fn of(verdict: &Verdict, snapshot: &Snapshot, judged: Option<&Redundancy>, member: &reading::Member) -> Self {
        let drive = snapshot.drives.iter().find(|drive| drive.device == member.drive_device);
        Member {
            tray: drive.and_then(|drive| tray(verdict, drive)),
            drive: member.drive_device.clone(),
            device: member.device.clone(),
            state: if member.device_gone { "gone".to_owned() } else { <&str>::from(member.state).to_owned() },
            must_stay: member.is_working()
                && member.slot.zip(judged).is_some_and(|(slot, judged)| judged.vital.contains(&slot)),
            errors: member.errors.iter().map(|errors| (errors.kind, errors.count)).collect(),
        }
    }
}

fn level(pool: &reading::Pool) -> Result<&str, &'static str> {
    match (pool.level.as_str(), pool.running.get()) {
        ("", Some(PoolRunning::Running)) => Err("not asked: the pool has not reported it yet"),
        ("", _) => Err("not fitted: the pool is not started"),
        (level, _) => Ok(level),
    }
}

fn state(pool: &reading::Pool, judged: Option<&Redundancy>) -> Result<PoolState, String> {
    let judged = judged.ok_or("not asked: not judged yet")?;
    pool.running.value.as_ref().map_err(ToString::to_string)?;
    Ok(match pool.activity.kind {
        _ if judged.down.is_some() => PoolState::Down,
        ActivityKind::Rebuild => PoolState::Rebuilding,
        _ if judged.lost > 0 => PoolState::Degraded,
        _ => PoolState::Healthy,
    })
}
