//! Pools: what md, ZFS, btrfs and LVM say of theirs, each made into the same plain [`Pool`]. Reads only; nothing here can
//! change a pool.

pub mod btrfs;
pub mod lvm;
pub mod md;
mod md_members;
pub mod zfs;

use crate::clock::Moment;
use crate::reading::{Activity, ActivityKind, Missing, Pool, PoolKind, PoolRunning, Reading, Source, WhyMissing};

/// A pool of which only this is known.
fn unknown(kind: PoolKind, key: String, name: String, running: Result<PoolRunning, Missing>, now: Moment) -> Pool {
    Pool {
        key,
        name,
        kind,
        level: String::new(),
        running: Reading::new(running, now, Source::Pool),
        wanted: 0,
        missing: None,
        members: Vec::new(),
        groups: Vec::new(),
        activity: Activity::IDLE,
        size: Reading::new(Err(Missing::from(WhyMissing::Pending)), now, Source::Pool),
        mismatches: None,
        last_check: None,
        lost_data: None,
        after_crash: None,
        metadata: None,
        is_partial: false,
    }
}

/// Work that is so far, and says neither its speed nor its end.
fn at_work(kind: ActivityKind, done: Option<f64>) -> Activity {
    Activity { kind, done: done.filter(|_| kind != ActivityKind::Idle), ..Activity::IDLE }
}
