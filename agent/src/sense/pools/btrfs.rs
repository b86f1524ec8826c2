//! btrfs file systems over several devices as pools: what their files say, and what they answered when they were asked.

use super::{at_work, unknown};
use crate::clock::Moment;
use crate::reading::{
    Activity, ActivityKind, AfterCrash, Group, LastCheck, Member, MemberErrorKind, MemberErrors, MemberRole,
    MemberState, MetadataSpace, Pool, PoolKind, PoolRunning, Reading, Source,
};
use crate::sense::parse::btrfs::files::{ErrorCounts, Operation};
use crate::sense::parse::btrfs::members;
use crate::sense::parse::btrfs::members::{BtrfsMemberState, FileSystem, MountedFileSystem};
use crate::sense::parse::btrfs::profiles;
use crate::sense::parse::btrfs::profiles::{Content, Profile};
use crate::sense::parse::btrfs::work::{BtrfsWorkKind, work};
use crate::units::Bytes;
use std::collections::BTreeSet;

/// The pool that a file system is; nothing for one on a single device.
pub fn pool(of: &FileSystem, told: Option<&MountedFileSystem>, now: Moment) -> Option<Pool> {
    // The kernel numbers devices from 1; 0 is one that is being filled to take the place of another.
    if of.devices.iter().filter(|device| device.id > 0).count() < 2 {
        return None;
    }
    let spread = members::groups(of);
    let places: BTreeSet<u64> = spread.iter().flat_map(|group| group.devices.iter().copied()).collect();
    let groups: BTreeSet<Group> = spread.iter().map(|group| group_of(&group.devices, group.tolerates)).collect();
    let members = members_of(of, told, &places);
    let absent = |member: &&Member| member.slot.is_some() && member.device_gone;
    let level = level(&spread);
    let known = unknown(PoolKind::Btrfs, of.uuid.clone(), name(of), Ok(PoolRunning::Running), now);
    let size = told.zip(profiles::level(&spread)).map(|(told, profile)| usable(profile, told));
    Some(Pool {
        level,
        wanted: places.len() as u32,
        missing: Some(members.iter().filter(absent).count() as u32),
        members,
        groups: groups.into_iter().collect(),
        activity: activity(of, told),
        size: size.map_or(known.size, |size| Reading::new(Ok(size), now, Source::Pool)),
        last_check: told.and_then(|told| told.checked).map(|ended| LastCheck::by(ended, None)),
        after_crash: Some(AfterCrash::Nothing),
        is_partial: false,
        metadata: told.and_then(|told| members::metadata_room(of, told)).map(|room| MetadataSpace {
            unallocated: Bytes(room.unallocated),
            total: Bytes(room.total),
            used: Bytes(room.used),
        }),
        ..known
    })
}

/// What its owner calls it; without a label, what its UUID begins with.
fn name(of: &FileSystem) -> String {
    of.label.clone().unwrap_or_else(|| of.uuid.split('-').next().unwrap_or_default().to_owned())
}

/// How data and metadata are spread, one word where both are alike. System chunks go with the metadata.
fn level(spread: &[profiles::ChunkGroup]) -> String {
    let mut words: Vec<&str> = Vec::new();
    for group in spread.iter().filter(|group| group.content != Content::System) {
        if !words.contains(&group.profile.name()) {
            words.push(group.profile.name());
        }
    }
    words.join(" + ")
}

fn group_of(devices: &[u64], tolerates: u32) -> Group {
    Group { slots: devices.iter().filter_map(|&id| u32::try_from(id).ok()).collect(), tolerates }
}

/// The members, each that holds a share in a place. All places are alike, since chunks may be anywhere: as long as nobody
/// says which block device has which number, the numbers that are left are given out in turn.
fn members_of(of: &FileSystem, told: Option<&MountedFileSystem>, places: &BTreeSet<u64>) -> Vec<Member> {
    let found = members::members(of, told);
    let mut left: Vec<u64> = places.iter().copied().filter(|id| found.iter().all(|of| of.id != Some(*id))).collect();
    left.reverse();
    let member = |member: members::BtrfsMember| {
        let place = match member.id {
            Some(id) => places.contains(&id).then_some(id),
            None => left.pop(),
        };
        let device = member.block.as_ref().map(|block| block.name.clone());
        let device = device.unwrap_or_else(|| member.id.map_or("missing".to_owned(), |id| format!("device {id}")));
        let drive = member.block.as_ref().and_then(|block| block.drives.first().cloned());
        Member {
            drive_device: drive.unwrap_or_else(|| device.clone()),
            device,
            slot: place.and_then(|id| u32::try_from(id).ok()),
            state: match member.state {
                BtrfsMemberState::Present => MemberState::Active,
                BtrfsMemberState::Filling => MemberState::Rebuilding,
                BtrfsMemberState::Absent => MemberState::Faulty,
            },
            role: MemberRole::Data,
            doubted: false,
            device_gone: member.block.is_none_or(|block| block.gone),
            errors: member.errors.map(errors).unwrap_or_default(),
        }
    };
    found.into_iter().map(member).collect()
}

fn errors(counts: ErrorCounts) -> Vec<MemberErrors> {
    let kinds = [
        (MemberErrorKind::Read, counts.read),
        (MemberErrorKind::Write, counts.write),
        (MemberErrorKind::Flush, counts.flush),
        (MemberErrorKind::Checksum, counts.corruption),
        (MemberErrorKind::Generation, counts.generation),
    ];
    kinds.map(|(kind, count)| MemberErrors { kind, count }).to_vec()
}

fn activity(of: &FileSystem, told: Option<&MountedFileSystem>) -> Activity {
    let operation = of.operation.as_ref().copied().unwrap_or(Operation::None);
    let work = work(operation, &of.allocations, told);
    let kind = match work.kind {
        BtrfsWorkKind::Scrub => ActivityKind::Check,
        BtrfsWorkKind::Operation(Operation::None | Operation::SwapActivate) => ActivityKind::Idle,
        BtrfsWorkKind::Operation(Operation::Balance) => ActivityKind::Balance,
        BtrfsWorkKind::Operation(Operation::BalancePaused) => ActivityKind::Frozen,
        BtrfsWorkKind::Operation(Operation::DeviceReplace) => ActivityKind::Rebuild,
        BtrfsWorkKind::Operation(Operation::DeviceAdd | Operation::DeviceRemove | Operation::Resize) => {
            ActivityKind::Reshape
        }
    };
    at_work(kind, work.done)
}

/// What devices of these sizes hold in one profile, copies counted once and parity not at all. Chunks are as wide as there
/// are devices with room left, as the kernel allots them (`init_alloc_chunk_ctl` in fs/btrfs/volumes.c).
fn usable(profile: Profile, told: &MountedFileSystem) -> Bytes {
    let mut sizes: Vec<u64> = told.devices.iter().filter(|of| of.id > 0).map(|of| of.size.0).collect();
    let copies = u64::from(profile.tolerates()) + 1;
    let all = |sizes: &[u64]| sizes.iter().fold(0, |sum: u64, size| sum.saturating_add(*size));
    Bytes(match profile {
        Profile::Single | Profile::Raid0 => all(&sizes),
        Profile::Dup => all(&sizes) / 2,
        Profile::Raid1 | Profile::Raid1c3 | Profile::Raid1c4 | Profile::Raid10 => {
            profiles::room_for(profile, &sizes) / copies
        }
        Profile::Raid5 | Profile::Raid6 => {
            sizes.sort_unstable();
            let (mut sum, mut taken) = (0_u64, 0);
            for (index, size) in sizes.iter().enumerate() {
                let width = (sizes.len() - index) as u64;
                let data = width.saturating_sub(u64::from(profile.tolerates()));
                sum = sum.saturating_add((size - taken).saturating_mul(data));
                taken = *size;
            }
            sum
        }
    })
}
