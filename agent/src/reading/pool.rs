//! One pool as read: its members, whether it runs, and what it does besides.

use super::Reading;
use crate::units::Bytes;
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// Drives that hold data together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pool {
    /// What the pool is known by: its UUID, else its name.
    pub key: String,
    /// The kernel's name for it, such as `md0`.
    pub name: String,
    /// Which software holds it together.
    pub kind: PoolKind,
    /// Its layout, such as `raid5`; empty when the pool is not running.
    pub level: String,
    /// What the kernel says of it as a whole.
    pub running: Reading<PoolRunning>,
    /// How many members a whole pool has; 0 when the pool is not running.
    pub wanted: u32,
    /// How many members the kernel misses; `None` for layouts that can miss none.
    pub missing: Option<u32>,
    /// The members that the kernel still lists.
    pub members: Vec<Member>,
    /// What of it may be lost: the pool lives while each of these does. Empty when its layout is not known.
    pub groups: Vec<Group>,
    /// What the pool does besides its work.
    pub activity: Activity,
    /// Usable size.
    pub size: Reading<Bytes>,
}

/// Places of a pool of which only so many may be lost. A place can be in several groups.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Group {
    /// The places, as in [`Member::slot`].
    pub slots: Vec<u32>,
    /// How many of them may be lost at once.
    pub tolerates: u32,
}

/// Which software holds a pool together.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum PoolKind {
    /// Linux md.
    Md,
}

/// Whether a pool serves its data.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub enum PoolRunning {
    /// It serves reads, and writes unless it is read-only on purpose.
    Running,
    /// Its parts are known but it was not started (`inactive`, `clear`).
    Inactive,
    /// It can no longer serve what it holds (`broken`).
    Broken,
}

/// One member of a pool.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct Member {
    /// The kernel's name of the member, a drive or a partition, such as `sda1`.
    pub device: String,
    /// The kernel's name of the drive it is on, such as `sda`.
    pub drive_device: String,
    /// Its place in the layout, if it has one.
    pub slot: Option<u32>,
    /// What the pool thinks of it.
    pub state: MemberState,
    /// True when the block device itself is gone, whatever the pool thinks: md notices only at the next access.
    pub device_gone: bool,
}

/// What a pool thinks of a member.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum MemberState {
    /// Holds its share.
    Active,
    /// Waits to be needed.
    Spare,
    /// Is being filled.
    Rebuilding,
    /// Was thrown out.
    Faulty,
    /// The kernel's words fit none of these.
    Unknown,
}

/// What a pool does besides its work.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Activity {
    /// What is running.
    pub kind: ActivityKind,
    /// How far it has come, 0 to 1, when the kernel says.
    pub done: Option<f64>,
    /// How long it would take from here at the present speed.
    pub left: Option<Duration>,
}

impl Activity {
    /// Nothing is running.
    pub const IDLE: Self = Self { kind: ActivityKind::Idle, done: None, left: None };
}

/// Kinds of work on a pool's redundancy (Documentation/admin-guide/md.rst, `sync_action`).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum ActivityKind {
    /// None.
    Idle,
    /// Everything is read again after an unclean stop.
    Resync,
    /// A member is being filled.
    Rebuild,
    /// Redundancy is compared.
    Check,
    /// Redundancy is compared and made equal.
    Repair,
    /// The layout is being changed.
    Reshape,
    /// Held still on purpose.
    Frozen,
}
