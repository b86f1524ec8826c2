//! A pool in the document.

use super::document::Reasons;
use super::parts::{Span, tray, value};
use crate::reading::{self, ActivityKind, AfterCrash, MemberErrorKind, MemberState, PoolKind, PoolRunning, Snapshot};
use crate::verdict::Verdict;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;

/// Drives that hold data together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Pool {
    /// The kernel's name.
    pub name: String,
    /// Which software holds it together.
    pub kind: PoolKind,
    /// Layout.
    pub level: Option<String>,
    /// How it stands.
    pub state: Option<PoolState>,
    /// How many members a whole pool has.
    pub wanted: Option<u32>,
    /// How many more members it can lose whichever they are.
    pub spare_losses: Option<u32>,
    /// Its members.
    pub members: Vec<Member>,
    /// What it does besides its work.
    pub activity: Activity,
    /// Usable size.
    pub size_bytes: Option<u64>,
    /// What did not agree when its redundancy was compared last; `null` while that runs, or if it never did.
    pub mismatch_bytes: Option<u64>,
    /// How long ago its redundancy was last compared as a whole, by its own record; `null` when there is none or the clock
    /// was not set.
    pub last_check_s: Option<u64>,
    /// Pieces of data that are lost for good, by the pool's own count.
    pub lost_data: Option<u64>,
    /// What it does after an unclean stop.
    pub after_crash: Option<AfterCrash>,
    /// Room for metadata, where that can run out by itself.
    pub metadata: Option<MetadataRoom>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

/// How a pool stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum PoolState {
    /// All members hold their share.
    Whole,
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
    /// The kernel's name.
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

pub(super) fn pool(verdict: &Verdict, snapshot: &Snapshot, pool: &reading::Pool) -> Pool {
    let mut missing = Reasons::new();
    let running = value(&pool.running, &mut missing, &["state"], |running| *running);
    let judged = verdict.pools.get(&pool.key);
    if judged.is_none() {
        missing.insert("state".into(), "not asked: it was not judged yet".into());
    }
    let state = running.zip(judged).map(|(_, judged)| match pool.activity.kind {
        _ if judged.down.is_some() => PoolState::Down,
        ActivityKind::Rebuild => PoolState::Rebuilding,
        _ if judged.lost > 0 => PoolState::Degraded,
        _ => PoolState::Whole,
    });
    let no_level = pool.level.is_empty();
    if no_level {
        let keys = ["level", "wanted", "spare_losses"];
        let why = match running {
            Some(PoolRunning::Running) => "not asked: the pool has not told it yet",
            _ => "not fitted: the pool is not started",
        };
        missing.extend(keys.map(|key| (key.to_owned(), why.to_owned())));
    }
    let member = |member: &reading::Member| {
        let drive = snapshot.drives.iter().find(|drive| drive.device == member.drive_device);
        Member {
            tray: drive.and_then(|drive| tray(verdict, drive)),
            device: member.device.clone(),
            state: if member.device_gone { "gone".to_owned() } else { member_state(member.state).to_owned() },
            must_stay: member.is_working()
                && member.slot.zip(judged).is_some_and(|(slot, judged)| judged.vital.contains(&slot)),
            errors: member.errors.iter().map(|errors| (errors.kind, errors.count)).collect(),
        }
    };
    Pool {
        name: pool.name.clone(),
        kind: pool.kind,
        level: (!no_level).then(|| pool.level.clone()),
        state,
        wanted: (!no_level).then_some(pool.wanted),
        spare_losses: judged.filter(|_| !no_level).map(|judged| judged.spare),
        members: pool.members.iter().map(member).collect(),
        activity: Activity {
            kind: pool.activity.kind,
            done_ratio: pool.activity.done,
            speed_bytes_per_s: pool.activity.speed.map(|speed| speed.0),
            left_s: pool.activity.left.map(|left| left.as_secs()),
            left: verdict.work_left.get(&pool.key).map(Span::of),
        },
        size_bytes: value(&pool.size, &mut missing, &["size_bytes"], |bytes| bytes.0),
        mismatch_bytes: pool.mismatches.map(|sectors| crate::units::Bytes::from_sectors(sectors).0),
        last_check_s: pool.last_check.and_then(|check| check.ago).map(|ago| ago.as_secs()),
        lost_data: pool.lost_data,
        after_crash: pool.after_crash,
        metadata: pool.metadata.map(|room| MetadataRoom {
            unallocated_bytes: room.unallocated.0,
            size_bytes: room.total.0,
            used_bytes: room.used.0,
        }),
        missing,
    }
}

fn member_state(state: MemberState) -> &'static str {
    match state {
        MemberState::Active => "active",
        MemberState::Spare => "spare",
        MemberState::Rebuilding => "rebuilding",
        MemberState::Faulty => "faulty",
        MemberState::Offline => "offline",
        MemberState::Unknown => "unknown",
    }
}
