//! A ZFS pool as `zpool status` tells of it, in whichever form it was printed: its state, its passes, the tree of its
//! devices, and what that tree can lose.

use super::kstat::ZfsPoolState;
use super::scan::{Scan, ScanKind, ScanState};
use crate::plain::cleaned;

/// Deepest tree that is taken: a spare in the place of a member of a dRAID is at 4, and nothing known is deeper.
pub(super) const DEEPEST: usize = 8;

/// What is said of one pool.
#[derive(Debug, Clone, PartialEq)]
pub struct ZfsStatus {
    /// Its name: unique on a machine at one time.
    pub name: String,
    /// Its number, the same wherever its devices are plugged; only the JSON form says it.
    pub guid: Option<u64>,
    /// How it stands as a whole. A pool that is online may have counted errors.
    pub state: ZfsPoolState,
    /// What the tool has to remark, such as that devices are missing; `None` when nothing is.
    pub remark: Option<String>,
    /// The number of that remark in the tool's handbook, such as `ZFS-8000-9P`; not every remark has one.
    pub message_id: Option<String>,
    /// Passes over its data that run, or the last ones.
    pub scans: Vec<Scan>,
    /// Its devices, from the pool itself down.
    pub root: Vdev,
    /// Files and objects that are damaged for good; `None` when the tool does not say.
    pub data_errors: Option<u64>,
}

/// A device, or several that stand together (zpoolconcepts(7), "Virtual Devices").
#[derive(Debug, Clone, PartialEq)]
pub struct Vdev {
    /// As the tool names it: `raidz1-0`, a path, or a number when nothing is at the path any more.
    pub name: String,
    /// What it is.
    pub kind: VdevKind,
    /// What it is for.
    pub class: Class,
    /// How it stands.
    pub state: VdevState,
    /// Where it is, or was when it is gone; devices only.
    pub path: Option<String>,
    /// Its number.
    pub guid: Option<u64>,
    /// What it has counted since it was last cleared; spares count nothing.
    pub errors: Option<VdevErrors>,
    /// What else is said of it: words such as `too many errors` in text, a code such as `ERR_EXCEEDED` in JSON.
    pub note: Option<String>,
    /// True while the tool says that it is being filled, or waits to be.
    pub resilvering: bool,
    /// The parts it is made of.
    pub children: Vec<Vdev>,
}

/// Kinds of vdev.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum VdevKind {
    /// The pool itself.
    Root,
    /// Each part holds all of it.
    Mirror,
    /// Parts with so many parities.
    Raidz(u32),
    /// Parts with so many parities and spares spread over all of them.
    Draid(u32),
    /// A device and the spare that stands in for it.
    Spare,
    /// A device and its successor, until that is filled.
    Replacing,
    /// A disk or a partition.
    Disk,
    /// A file.
    File,
    /// One of the spares that are spread over a dRAID.
    DraidSpare,
    /// The place of a device that was taken out; holds nothing by itself.
    Hole,
    /// Something newer than this list.
    Other,
}

/// What a vdev is for.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Class {
    /// Data.
    Normal,
    /// Metadata and small blocks; as needed as data.
    Special,
    /// Tables of what was stored twice; as needed as data.
    Dedup,
    /// What was promised and is not yet in its place.
    Log,
    /// Copies for faster reading.
    Cache,
    /// Waits to stand in.
    Spare,
    /// Something newer than this list.
    Other,
}

/// States of a vdev (OpenZFS lib/libzfs/libzfs_pool.c, `zpool_state_to_name`).
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum VdevState {
    /// In use.
    Online,
    /// In use, with errors of its own or with losses below.
    Degraded,
    /// Thrown out, or what is on it is damaged.
    Faulted,
    /// Taken offline on purpose.
    Offline,
    /// Taken away while the pool was at work.
    Removed,
    /// Cannot be opened.
    Unavailable,
    /// A spare that is free.
    Available,
    /// A spare that stands in.
    InUse,
    /// None of these.
    Unknown,
}

/// Errors that a vdev has counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct VdevErrors {
    /// Failed reads.
    pub read: u64,
    /// Failed writes.
    pub write: u64,
    /// What was read was not what had been written.
    pub checksum: u64,
}

/// Places that hold data together, of which some may be lost.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct VdevGroup {
    /// The vdev's name.
    pub name: String,
    /// What it is for: data, special or dedup.
    pub class: Class,
    /// How many of its slots may be lost, whichever; `None` for a kind of vdev that is not known.
    pub tolerates: Option<u32>,
    /// Its places.
    pub slots: Vec<Slot>,
}

/// One place in a group: a device, or several while one takes over from another.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Slot {
    /// How the place stands: it holds its share if any of its devices does.
    pub standing: ZfsMemberState,
    /// The devices in it, the newest last.
    pub members: Vec<ZfsMember>,
}

/// One device of a pool.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ZfsMember {
    /// Its path, such as `/dev/disk/by-id/…-part1`, where it is or was; else its name.
    pub device: String,
    /// True when something is at that path: the tool names what has nothing there any more by its number.
    pub there: bool,
    /// Its number.
    pub guid: Option<u64>,
    /// What it is for.
    pub class: Class,
    /// How it stands.
    pub standing: ZfsMemberState,
    /// True when it is used although it has made too many errors.
    pub doubted: bool,
    /// What it has counted.
    pub errors: Option<VdevErrors>,
    /// What else is said of it.
    pub note: Option<String>,
}

/// How a device stands to its pool.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum ZfsMemberState {
    /// Holds its share.
    Active,
    /// Is being filled.
    Rebuilding,
    /// Waits to be needed.
    Spare,
    /// Was thrown out.
    Faulty,
    /// Is not there.
    Gone,
    /// Was taken offline on purpose.
    Offline,
    /// Nothing that could be told.
    Unknown,
}

impl ZfsStatus {
    /// The pass that counts most among those under way: what restores redundancy before what only checks it.
    pub fn under_way(&self) -> Option<&Scan> {
        let rank = |scan: &&Scan| match scan.kind {
            ScanKind::Resilver => 0,
            ScanKind::Expansion | ScanKind::Evacuation => 1,
            ScanKind::Scrub | ScanKind::ErrorScrub => 2,
        };
        self.scans.iter().filter(|scan| scan.under_way()).min_by_key(rank)
    }

    /// The last pass that compared everything, if the pool still has it on record: a resilver takes its place there.
    pub fn last_scrub(&self) -> Option<&Scan> {
        self.scans.iter().find(|scan| scan.kind == ScanKind::Scrub && scan.state == ScanState::Finished)
    }

    /// What holds the pool's data together: every one of these is needed. Logs, caches and spares are not among them.
    pub fn groups(&self) -> Vec<VdevGroup> {
        let needed = |vdev: &&Vdev| matches!(vdev.class, Class::Normal | Class::Special | Class::Dedup);
        self.root.children.iter().filter(needed).filter_map(|vdev| self.group(vdev)).collect()
    }

    /// Every device, each once: a spare that stands in is where it stands in.
    pub fn members(&self) -> Vec<ZfsMember> {
        let elsewhere = |vdev: &Vdev| vdev.class == Class::Spare && vdev.state == VdevState::InUse;
        let here = |vdev: &&Vdev| vdev.kind != VdevKind::Hole && !elsewhere(vdev);
        self.root.children.iter().filter(here).flat_map(|vdev| self.slot(vdev).members).collect()
    }

    fn group(&self, vdev: &Vdev) -> Option<VdevGroup> {
        let (tolerates, places) = match vdev.kind {
            VdevKind::Hole => return None,
            VdevKind::Mirror => (u32::try_from(vdev.children.len().saturating_sub(1)).ok(), &vdev.children[..]),
            VdevKind::Raidz(parity) | VdevKind::Draid(parity) => (Some(parity), &vdev.children[..]),
            VdevKind::Root | VdevKind::Other if vdev.children.is_empty() => (None, std::slice::from_ref(vdev)),
            VdevKind::Root | VdevKind::Other => (None, &vdev.children[..]),
            _ => (Some(0), std::slice::from_ref(vdev)),
        };
        let slots = places.iter().map(|place| self.slot(place)).collect();
        Some(VdevGroup { name: vdev.name.clone(), class: vdev.class, tolerates, slots })
    }

    fn slot(&self, vdev: &Vdev) -> Slot {
        if vdev.children.is_empty() {
            let member = member(vdev, false);
            return Slot { standing: member.standing, members: vec![member] };
        }
        // While one takes over from another the newest is the last.
        let newest = vdev.children.len() - 1;
        let parts = vdev.children.iter().enumerate().map(|(index, part)| {
            if index == newest && part.children.is_empty() {
                let member = member(part, self.is_filling_newest(vdev));
                Slot { standing: member.standing, members: vec![member] }
            } else {
                self.slot(part)
            }
        });
        let parts: Vec<Slot> = parts.collect();
        let any = |wanted: ZfsMemberState| parts.iter().any(|part| part.standing == wanted);
        let standing = if any(ZfsMemberState::Active) {
            ZfsMemberState::Active
        } else if any(ZfsMemberState::Rebuilding) {
            ZfsMemberState::Rebuilding
        } else {
            parts.first().map_or(ZfsMemberState::Unknown, |part| part.standing)
        };
        Slot { standing, members: parts.into_iter().flat_map(|part| part.members).collect() }
    }

    /// A `replacing` is there only until its newest is filled. A spare stays after that, and in the first phase of a
    /// resilver the tool does not yet say whom it fills.
    fn is_filling_newest(&self, vdev: &Vdev) -> bool {
        match vdev.kind {
            VdevKind::Replacing => true,
            VdevKind::Spare => self.scans.iter().any(|scan| scan.kind == ScanKind::Resilver && scan.under_way()),
            _ => false,
        }
    }
}

fn member(vdev: &Vdev, filling: bool) -> ZfsMember {
    let standing = match vdev.state {
        VdevState::Online | VdevState::Degraded if filling || vdev.resilvering => ZfsMemberState::Rebuilding,
        VdevState::Online | VdevState::Degraded => ZfsMemberState::Active,
        VdevState::Faulted => ZfsMemberState::Faulty,
        VdevState::Offline => ZfsMemberState::Offline,
        VdevState::Removed | VdevState::Unavailable => ZfsMemberState::Gone,
        VdevState::Available | VdevState::InUse => ZfsMemberState::Spare,
        VdevState::Unknown => ZfsMemberState::Unknown,
    };
    ZfsMember {
        device: vdev.path.clone().unwrap_or_else(|| vdev.name.clone()),
        there: standing != ZfsMemberState::Gone && !vdev.name.bytes().all(|byte| byte.is_ascii_digit()),
        guid: vdev.guid,
        class: vdev.class,
        standing,
        doubted: vdev.state == VdevState::Degraded,
        errors: vdev.errors,
        note: vdev.note.clone(),
    }
}

impl VdevKind {
    /// What a vdev is by its name, as the tool makes names (OpenZFS lib/libzfs/libzfs_pool.c, `zpool_vdev_name`):
    /// `mirror-0`, `raidz2-0`, `draid1:4d:11c:1s-0`, but `draid1-0-0` for a spare in it. `None` for devices.
    pub(super) fn by_name(name: &str) -> Option<Self> {
        let (stem, number) = name.rsplit_once('-')?;
        if number.is_empty() || !number.bytes().all(|byte| byte.is_ascii_digit()) {
            return None;
        }
        let parity = |digits: &str| digits.parse().ok().filter(|parity| (1..=3).contains(parity));
        match stem {
            "mirror" => return Some(Self::Mirror),
            "spare" => return Some(Self::Spare),
            "replacing" => return Some(Self::Replacing),
            "indirect" | "hole" => return Some(Self::Hole),
            _ => {}
        }
        if let Some(digits) = stem.strip_prefix("raidz") {
            return parity(digits).map(Self::Raidz);
        }
        let layout = stem.strip_prefix("draid")?;
        match layout.split_once([':', '-']) {
            None => parity(layout).map(Self::Draid),
            Some((digits, _)) if layout.contains(':') => parity(digits).map(Self::Draid),
            Some((digits, _)) => parity(digits).map(|_: u32| Self::DraidSpare),
        }
    }
}

/// The word of a vdev's state. JSON has one word for all that could not be opened, and says why beside it.
pub(super) fn vdev_state(word: &str, why: Option<&str>) -> VdevState {
    match word {
        "ONLINE" => VdevState::Online,
        "DEGRADED" => VdevState::Degraded,
        "FAULTED" => VdevState::Faulted,
        "OFFLINE" => VdevState::Offline,
        "REMOVED" => VdevState::Removed,
        "CANT_OPEN" if matches!(why, Some("CORRUPT_DATA" | "BAD_LOG")) => VdevState::Faulted,
        "UNAVAIL" | "CANT_OPEN" | "SPLIT" | "CLOSED" => VdevState::Unavailable,
        "AVAIL" => VdevState::Available,
        "INUSE" => VdevState::InUse,
        _ => VdevState::Unknown,
    }
}

/// One line of text fit to be shown: no control characters, no runs of white space, not without end.
pub(super) fn one_line(text: &str) -> Option<String> {
    const LONGEST: usize = 400;
    Some(cleaned(text, LONGEST)).filter(|text| !text.is_empty())
}
