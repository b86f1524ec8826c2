//! ZFS pools as pools: what the module itself says, what `zpool` told last, and whether the drives are still there.

use super::unknown;
use crate::clock::{self, Moment};
use crate::reading::{
    Activity, ActivityKind, AfterCrash, Group, LastCheck, Member, MemberErrorKind, MemberErrors, MemberRole,
    MemberState, Missing, Pool, PoolKind, PoolRunning, Reading, Source, WhyMissing,
};
use crate::sense::beneath;
use crate::sense::host::{Host, parts};
use crate::sense::parse::zfs;
use crate::sense::parse::zfs::kstat::ZfsPoolState;
use crate::sense::parse::zfs::scan::{ScanKind, ScanState, When};
use crate::sense::parse::zfs::status::{Class, Vdev, VdevKind, ZfsMemberState, ZfsStatus};
use crate::sense::zfs::{ListedZfsPool, ZpoolOutput};
use crate::units::{Bytes, BytesPerSecond};
use std::collections::BTreeMap;
use std::path::PathBuf;

/// What `zpool` told, and where each device was at that time: the paths of drives that are pulled lead nowhere.
#[derive(Debug, Clone, PartialEq)]
pub struct ZpoolReport {
    /// What it is made of and how that stands.
    pub status: ZfsStatus,
    /// How much data fits into it.
    size: Result<Bytes, Missing>,
    /// When everything was last compared, in seconds since 1970.
    checked: Option<u64>,
    /// By the device's path.
    places: BTreeMap<String, DevicePlace>,
}

/// A block device, and the drive that it is on.
#[derive(Debug, Clone, PartialEq, Eq)]
struct DevicePlace {
    block: String,
    drive: String,
}

impl ZpoolReport {
    /// With the kernel's names of the devices that are there now.
    pub fn new(host: &Host, answer: ZpoolOutput) -> Self {
        let ZpoolOutput { status, size } = answer;
        // What the pool has lost may be at the path of another by now.
        let there = status.members().into_iter().filter(|member| member.there);
        let places = there.filter_map(|member| Some((member.device.clone(), place(host, &member.device)?))).collect();
        let checked = status.last_scrub().and_then(|scrub| match scrub.ended.as_ref()? {
            When::Epoch(seconds) => Some(*seconds),
            When::Calendar(text) => clock::seconds_of_ctime(text),
        });
        Self { status, size, checked, places }
    }

    /// The block devices that are gone since.
    pub fn gone(&self, host: &Host) -> Vec<String> {
        self.places.values().filter(|place| is_gone(host, place)).map(|place| place.block.clone()).collect()
    }
}

fn class(host: &Host, block: &str) -> PathBuf {
    host.path("/sys/class/block").join(block)
}

/// Nothing for files and for paths that lead nowhere.
fn place(host: &Host, path: &str) -> Option<DevicePlace> {
    let real = host.resolve(&host.path(path)).ok().filter(|real| real.starts_with("/dev"))?;
    let block = parts(&real).next_back()?.to_owned();
    let below = beneath::drives(host, &class(host, &block));
    let drive = below.iter().find(|below| below.gone).or(below.first())?.drive.clone();
    Some(DevicePlace { block, drive })
}

fn is_gone(host: &Host, place: &DevicePlace) -> bool {
    let link = class(host, &place.block);
    beneath::is_gone(host, &link) || beneath::drives(host, &link).iter().any(|below| below.gone)
}

/// A device that the pool counts on at a path where nothing is: it was pulled before `zpool` was asked, and the pool has not
/// noticed. Where no path of the pool leads anywhere, it is this program that cannot see `/dev`.
fn leads_nowhere(host: &Host, told: &ZpoolReport, of: &zfs::status::ZfsMember) -> bool {
    of.there && of.device.starts_with("/dev/") && !told.places.is_empty() && !host.exists(&host.path(&of.device))
}

/// The pool as it stands: `state` is the module's word as far as it is believed, and what `zpool` told is only as new as
/// its last answer.
pub fn pool(
    host: &Host,
    spotted: &ListedZfsPool,
    state: &Result<ZfsPoolState, Missing>,
    told: Option<&ZpoolReport>,
    now: Moment,
) -> Pool {
    // Names are unique on a machine at one time; a number that only `zpool` knows would come and go with its answers.
    let key = spotted.guid.map_or_else(|| spotted.name.clone(), |guid| guid.to_string());
    let running = state.clone().or_else(|why| told.map(|told| told.status.state).ok_or(why)).and_then(running);
    let is_suspended = running == Ok(PoolRunning::Suspended);
    let known = unknown(PoolKind::Zfs, key, spotted.name.clone(), running, now);
    let known = Pool { after_crash: Some(AfterCrash::Nothing), ..known };
    // The module says that something is lost, and `zpool` has not told what: one at least.
    let is_lacking = *state == Ok(ZfsPoolState::Degraded);
    let Some(told) = told else { return Pool { missing: is_lacking.then_some(1), ..known } };
    let layout = Layout::of(host, told);
    let is_explained = told.status.state != ZfsPoolState::Online && layout.members.iter().any(is_amiss);
    let is_news = is_lacking && !is_explained;
    Pool {
        level: level(&told.status.root),
        wanted: layout.places,
        missing: Some(layout.lacking.max(u32::from(is_news))),
        members: layout.members,
        groups: layout.groups,
        // Nothing moves in a pool that is suspended, whatever ran before.
        activity: if is_suspended { Activity::IDLE } else { activity(&told.status, layout.places) },
        size: Reading::new(told.size.clone(), now, Source::Pool),
        last_check: told.checked.map(|ended| LastCheck::by(ended, None)),
        lost_data: told.status.data_errors,
        ..known
    }
}

fn is_amiss(member: &Member) -> bool {
    let is_well = matches!(member.state, MemberState::Active | MemberState::Spare | MemberState::Unknown);
    !is_well || member.device_gone || member.doubted
}

fn running(state: ZfsPoolState) -> Result<PoolRunning, Missing> {
    match state {
        ZfsPoolState::Online | ZfsPoolState::Degraded => Ok(PoolRunning::Running),
        ZfsPoolState::Suspended => Ok(PoolRunning::Suspended),
        ZfsPoolState::Faulted | ZfsPoolState::Unavailable => Ok(PoolRunning::Broken),
        ZfsPoolState::Offline | ZfsPoolState::Removed | ZfsPoolState::Split => Ok(PoolRunning::Inactive),
        ZfsPoolState::Transitioning => Err(Missing::from(WhyMissing::NoSettledState)),
        ZfsPoolState::Unknown => Err(Missing::from(WhyMissing::NoSettledState)),
    }
}

/// The devices in their places, counted through all groups.
#[derive(Default)]
struct Layout {
    places: u32,
    lacking: u32,
    members: Vec<Member>,
    groups: Vec<Group>,
}

impl Layout {
    fn of(host: &Host, told: &ZpoolReport) -> Self {
        let mut layout = Self::default();
        for group in told.status.groups() {
            let first = layout.places;
            for slot in group.slots {
                let holds = matches!(slot.standing, ZfsMemberState::Active | ZfsMemberState::Unknown);
                layout.lacking += u32::from(!holds);
                let place = Some(layout.places);
                layout.members.extend(slot.members.into_iter().map(|of| member(host, told, of, place)));
                layout.places += 1;
            }
            // Of a kind of group that is newer than this program it is not known what it can lose.
            let slots = (first..layout.places).collect();
            layout.groups.extend(group.tolerates.map(|tolerates| Group { slots, tolerates }));
        }
        let is_beside =
            |of: &zfs::status::ZfsMember| !matches!(of.class, Class::Normal | Class::Special | Class::Dedup);
        let beside = told.status.members().into_iter().filter(is_beside);
        layout.members.extend(beside.map(|of| member(host, told, of, None)));
        layout
    }
}

fn member(host: &Host, told: &ZpoolReport, of: zfs::status::ZfsMember, slot: Option<u32>) -> Member {
    let place = told.places.get(&of.device);
    let name = || of.device.rsplit('/').next().unwrap_or_default().to_owned();
    let errors = of.errors.map(|errors| {
        let kinds = [
            (MemberErrorKind::Read, errors.read),
            (MemberErrorKind::Write, errors.write),
            (MemberErrorKind::Checksum, errors.checksum),
        ];
        kinds.map(|(kind, count)| MemberErrors { kind, count }).to_vec()
    });
    Member {
        device: place.map_or_else(name, |place| place.block.clone()),
        drive_device: place.map_or_else(name, |place| place.drive.clone()),
        slot,
        role: match of.class {
            Class::Log => MemberRole::Log,
            Class::Cache => MemberRole::Cache,
            Class::Spare => MemberRole::Spare,
            Class::Normal | Class::Special | Class::Dedup | Class::Other => MemberRole::Data,
        },
        doubted: of.doubted,
        state: match of.standing {
            ZfsMemberState::Active => MemberState::Active,
            ZfsMemberState::Rebuilding => MemberState::Rebuilding,
            ZfsMemberState::Spare => MemberState::Spare,
            ZfsMemberState::Faulty | ZfsMemberState::Gone => MemberState::Faulty,
            ZfsMemberState::Offline => MemberState::Offline,
            ZfsMemberState::Unknown => MemberState::Unknown,
        },
        device_gone: of.standing == ZfsMemberState::Gone
            || place.map_or_else(|| leads_nowhere(host, told, &of), |place| is_gone(host, place)),
        errors: errors.unwrap_or_default(),
    }
}

/// How the pool is laid out, each kind once: `raidz1`, `mirror`, `raidz2 + special mirror`.
fn level(root: &Vdev) -> String {
    let mut words: Vec<String> = Vec::new();
    let of_class = |wanted: Class| root.children.iter().filter(move |vdev| vdev.class == wanted);
    let alone = of_class(Class::Normal).filter(|vdev| vdev.kind != VdevKind::Hole).count() == 1;
    for (class, what) in [(Class::Normal, ""), (Class::Special, "special "), (Class::Dedup, "dedup ")] {
        for vdev in of_class(class) {
            let kind = match vdev.kind {
                VdevKind::Hole => continue,
                VdevKind::Mirror => "mirror".to_owned(),
                VdevKind::Raidz(parity) => format!("raidz{parity}"),
                VdevKind::Draid(parity) => format!("draid{parity}"),
                VdevKind::Root | VdevKind::Other => vdev.name.clone(),
                _ if alone || class != Class::Normal => "single".to_owned(),
                _ => "stripe".to_owned(),
            };
            let word = format!("{what}{kind}");
            if !words.contains(&word) {
                words.push(word);
            }
        }
    }
    words.join(" + ")
}

fn activity(status: &ZfsStatus, places: u32) -> Activity {
    let Some(scan) = status.under_way() else { return Activity::IDLE };
    let kind = match (scan.state, scan.kind) {
        (ScanState::Paused, _) => ActivityKind::Frozen,
        (_, ScanKind::Scrub | ScanKind::ErrorScrub) => ActivityKind::Check,
        (_, ScanKind::Resilver) => ActivityKind::Rebuild,
        (_, ScanKind::Expansion | ScanKind::Evacuation) => ActivityKind::Reshape,
    };
    // The tool counts what all members together were read.
    let speed = scan.bytes_per_second.map(|speed| BytesPerSecond(speed as f64 / f64::from(places.max(1))));
    Activity { kind, done: scan.share, left: scan.left, speed }
}
