//! One pool as read: its members, whether it runs, and what it does besides.

use super::Reading;
use crate::units::{Bytes, BytesPerSecond};
use serde::{Deserialize, Serialize};
use std::time::Duration;
use strum::IntoStaticStr;

/// Drives that hold data together.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Pool {
    /// What the pool is known by: its UUID, else its name.
    pub key: String,
    /// The name people know it by: the kernel's, such as `md0`, or the one that its owner gave it.
    pub name: String,
    /// Which software holds it together.
    pub kind: PoolKind,
    /// Its layout, such as `raid5`; empty when the pool is not running.
    pub level: String,
    /// What the kernel says of it as a whole.
    pub running: Reading<PoolRunning>,
    /// How many members a whole pool has; 0 when the pool is not running.
    pub wanted: u32,
    /// How many members the kernel misses; `None` for layouts that can miss none, and where that could not be read.
    pub missing: Option<u32>,
    /// The members that the kernel still lists.
    pub members: Vec<Member>,
    /// What of it may be lost: the pool lives while each of these does. Empty when its layout is not known.
    pub groups: Vec<Group>,
    /// What the pool does besides its work.
    pub activity: Activity,
    /// Usable size.
    pub size: Reading<Bytes>,
    /// Sectors that did not agree when its redundancy was compared last; `None` while that runs, or if it never did.
    pub mismatches: Option<u64>,
    /// When its redundancy was last compared as a whole, by the record that the pool or its tool keeps of it.
    pub last_check: Option<LastCheck>,
    /// Pieces of data that are lost for good, by the pool's own count.
    pub lost_data: Option<u64>,
    /// What an unclean stop costs.
    pub after_crash: Option<AfterCrash>,
    /// Room for metadata, where that can run out by itself.
    pub metadata: Option<MetadataSpace>,
    /// True when something could not be read that decides over its members: which they are, how they lie, or how many are
    /// missing.
    #[serde(default)]
    pub is_partial: bool,
}

impl Pool {
    /// How many members hold their share.
    pub fn working(&self) -> u32 {
        self.members.iter().filter(|member| member.is_working()).count() as u32
    }

    /// True when its members or its layout could not be read as a whole: what it lacks is then known only as far as it is
    /// counted in [`Self::missing`].
    pub fn is_read_in_part(&self) -> bool {
        let has_unread = || self.members.iter().any(|member| member.state == MemberState::Unknown);
        self.is_running() && (self.is_partial || has_unread())
    }

    /// True for a level such as `multipath`, of which it is not known how many members may be lost.
    pub fn has_unknown_level(&self) -> bool {
        self.is_running() && !self.is_partial && !self.level.is_empty() && self.groups.is_empty()
    }

    fn is_running(&self) -> bool {
        self.running.get() == Some(&PoolRunning::Running)
    }
}

/// The end of a comparison of a pool's redundancy, as it was noted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct LastCheck {
    /// Seconds since 1970, by the clock of then.
    pub ended: u64,
    /// How long ago that was; `None` while no time service has set the clock, and for a time that is yet to come.
    pub ago: Option<Duration>,
}

impl LastCheck {
    /// With what the calendar says now, in seconds since 1970, if it can be believed.
    pub fn by(ended: u64, calendar: Option<u64>) -> Self {
        Self { ended, ago: calendar.and_then(|now| now.checked_sub(ended)).map(Duration::from_secs) }
    }
}

/// How a pool recovers from an unclean shutdown (`consistency_policy`, Documentation/admin-guide/md.rst).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum AfterCrash {
    /// Everything is read again, which takes hours.
    FullResync,
    /// Only what was being written is read again: it has a bitmap, a journal or a partial parity log.
    Minutes,
    /// Nothing: there is no redundancy to resync, or the pool keeps itself consistent.
    Nothing,
}

/// Room for metadata (btrfs).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct MetadataSpace {
    /// What belongs to neither data nor metadata yet.
    pub unallocated: Bytes,
    /// What is set aside for metadata.
    pub total: Bytes,
    /// What of that is filled.
    pub used: Bytes,
}

/// Places of a pool of which only so many may be lost. A place can be in several groups.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub struct Group {
    /// The places, as in [`Member::slot`].
    pub slots: Vec<u32>,
    /// How many of them may be lost at once.
    pub tolerates: u32,
}

/// md, ZFS, btrfs or LVM.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum PoolKind {
    /// Linux md.
    Md,
    /// OpenZFS.
    Zfs,
    /// btrfs over its devices.
    Btrfs,
    /// LVM, by the kernel's dm-raid.
    Lvm,
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
    /// It waits for members that it cannot do without; whoever uses it waits as well.
    Suspended,
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
    /// What it is for.
    #[serde(default)]
    pub role: MemberRole,
    /// What the pool thinks of it.
    pub state: MemberState,
    /// True when the pool has seen so many errors on it that it trusts it no more, and uses it all the same (`DEGRADED` of
    /// a single device in ZFS).
    #[serde(default)]
    pub doubted: bool,
    /// True when the block device itself is gone, whatever the pool thinks: md notices only at the next access.
    pub device_gone: bool,
    /// Errors that the pool has counted on it, by kind; empty when it counts none.
    pub errors: Vec<MemberErrors>,
}

impl Member {
    /// True for one that holds its share, on a block device that is there.
    pub fn is_working(&self) -> bool {
        self.state == MemberState::Active && !self.device_gone
    }
}

/// What a member is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default, Serialize, Deserialize, IntoStaticStr)]
#[strum(serialize_all = "kebab-case")]
#[serde(rename_all = "lowercase")]
pub enum MemberRole {
    /// Data, or what the data cannot be found without.
    #[default]
    Data,
    /// Writes that are promised and not yet in their place.
    Log,
    /// Copies for faster reading.
    Cache,
    /// Standing in for another.
    Spare,
}

/// Errors that a pool has counted on a member.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct MemberErrors {
    /// What went wrong.
    pub kind: MemberErrorKind,
    /// How often, since whenever the pool counts from.
    pub count: u64,
}

/// What can go wrong with a member.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize, IntoStaticStr)]
#[strum(serialize_all = "kebab-case")]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum MemberErrorKind {
    /// It could not be read; the pool had the data elsewhere if it is whole.
    Read,
    /// It could not be written.
    Write,
    /// It would not make sure that data is safe.
    Flush,
    /// What was read was not what had been written.
    Checksum,
    /// It holds older data than it should.
    Generation,
}

/// What a pool thinks of a member.
#[derive(Debug, Clone, Copy, PartialEq, Eq, IntoStaticStr, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
#[strum(serialize_all = "lowercase")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum MemberState {
    /// Holds its share.
    Active,
    /// Waits to be needed.
    Spare,
    /// Is being filled.
    Rebuilding,
    /// Was thrown out.
    Faulty,
    /// Was taken offline by its owner: no fault of its drive, but its share is missing all the same.
    Offline,
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
    /// The present speed, on each member.
    pub speed: Option<BytesPerSecond>,
}

impl Activity {
    /// Nothing is running.
    pub const IDLE: Self = Self { kind: ActivityKind::Idle, done: None, left: None, speed: None };
}

/// Kinds of work on a pool's redundancy (Documentation/admin-guide/md.rst, `sync_action`).
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize, IntoStaticStr)]
#[strum(serialize_all = "kebab-case")]
#[serde(rename_all = "lowercase")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum ActivityKind {
    /// None.
    Idle,
    /// Everything is read again after an unclean stop.
    Resync,
    /// A member is being rebuilt.
    Rebuild,
    /// Redundancy is being checked.
    Check,
    /// Mismatches are being repaired.
    Repair,
    /// The layout is being changed.
    Reshape,
    /// Data is being redistributed over the members.
    Balance,
    /// Paused on purpose.
    Frozen,
}

impl ActivityKind {
    /// True for work that reads or writes the members.
    pub fn is_work(self) -> bool {
        !matches!(self, Self::Idle | Self::Frozen)
    }
}
