//! One btrfs file system as a pool: what its files say and what it answers when asked, put together to members with
//! their drives.

use super::files::{ErrorCounts, Operation};
use super::profiles::{self as profiles, Allocation, BtrfsMetadata, ChunkGroup};
use traylight_data::reading::Missing;
use traylight_data::units::Bytes;

/// What the files of a mounted file system say. Files of an unmounted one do not exist.
#[derive(Debug, Clone, PartialEq)]
pub struct FileSystem {
    /// What it is known by.
    pub uuid: String,
    /// What its owner calls it.
    pub label: Option<String>,
    /// What it does alone.
    pub operation: Result<Operation, Missing>,
    /// Its devices by number. A device that was absent when it was mounted is among them.
    pub devices: Vec<Device>,
    /// The block devices that it took. The kernel does not say in files which number is which.
    pub blocks: Vec<BlockDevice>,
    /// How its chunks are spread.
    pub allocations: Vec<Allocation>,
}

/// A device by its number, from `devinfo/N`.
#[derive(Debug, Clone, PartialEq)]
pub struct Device {
    /// Its number; 0 is one that is being filled to take the place of another.
    pub id: u64,
    /// It was absent when the file system was mounted. A device that is lost later is not told here.
    pub missing: Result<bool, Missing>,
    /// It holds a share.
    pub in_metadata: Result<bool, Missing>,
    /// It may be written to; a seed and a missing device may not.
    pub writeable: Result<bool, Missing>,
    /// It is being filled to take the place of another.
    pub replace_target: Result<bool, Missing>,
    /// It belongs to another file system, which this one grew from and only reads.
    pub is_seed: bool,
    /// How often it failed.
    pub errors: Result<ErrorCounts, Missing>,
}

/// A block device that the file system took, from `devices/`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct BlockDevice {
    /// The kernel's name then, such as `sda1` or `dm-3`.
    pub name: String,
    /// The drives that it is on, by the kernel's names.
    pub drives: Vec<String>,
    /// It is gone: the file system itself notices only at the next access, and calls it present until it is mounted anew.
    pub gone: bool,
    /// Its size, while it is there.
    pub size: Option<Bytes>,
}

/// What a mounted file system answered.
#[derive(Debug, Clone, PartialEq)]
pub struct MountedFileSystem {
    /// Which one it is.
    pub uuid: String,
    /// How many devices it wants.
    pub wanted: u64,
    /// Its devices.
    pub devices: Vec<MountedDevice>,
    /// Chunks of a balance that runs or is held still: how many were moved, and how many there are to move, about.
    /// `None` when there is no balance.
    pub balance: Result<Option<(u64, u64)>, Missing>,
    /// When a scrub of all its devices last ended, in seconds since 1970, by the file that its tool keeps.
    pub checked: Option<u64>,
}

/// What a mounted file system answered of one device.
#[derive(Debug, Clone, PartialEq)]
pub struct MountedDevice {
    /// Its number.
    pub id: u64,
    /// The kernel's name of its block device; `None` for one that was absent at the mount.
    pub block: Option<String>,
    /// The share of it that the file system may use.
    pub size: Bytes,
    /// What chunks take of that.
    pub allocated: Bytes,
    /// How often it failed.
    pub errors: Result<ErrorCounts, Missing>,
    /// Bytes that a running scrub has checked on it; `None` when none runs.
    pub scrubbed: Result<Option<u64>, Missing>,
}

/// One member of the pool that a file system is.
#[derive(Debug, Clone, PartialEq)]
pub struct BtrfsMember {
    /// Its number; `None` while it is not known which of several block devices has which.
    pub id: Option<u64>,
    /// Its block device, unless there was none at the mount.
    pub block: Option<BlockDevice>,
    /// What the file system thinks of it.
    pub state: BtrfsMemberState,
    /// How often it failed, when that is known of this member.
    pub errors: Option<ErrorCounts>,
}

/// What a file system thinks of a device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BtrfsMemberState {
    /// Holds its share, or so it thinks.
    Present,
    /// Is being filled to take the place of another.
    Filling,
    /// Was absent at the mount.
    Absent,
}

/// The members, by number as far as that is known.
pub fn members(of: &FileSystem, told: Option<&MountedFileSystem>) -> Vec<BtrfsMember> {
    let mut blocks: Vec<&BlockDevice> = of.blocks.iter().collect();
    let mut members = Vec::new();
    let mut without_block = Vec::new();
    for device in &of.devices {
        let answer = told.and_then(|told| told.devices.iter().find(|answer| answer.id == device.id));
        let errors = device.errors.as_ref().ok().or_else(|| answer?.errors.as_ref().ok());
        let state = state(device);
        let mut member = BtrfsMember { id: Some(device.id), block: None, state, errors: errors.copied() };
        // An absent device may be remembered by a name that another has by now.
        let name = answer.filter(|_| state != BtrfsMemberState::Absent).and_then(|answer| answer.block.as_deref());
        let at = blocks.iter().position(|block| Some(block.name.as_str()) == name);
        member.block = at.map(|at| blocks.remove(at).clone());
        match member.block.is_some() || state == BtrfsMemberState::Absent {
            true => members.push(member),
            false => without_block.push(member),
        }
    }
    members.append(&mut match_up(without_block, blocks));
    members.sort_by_key(|member| member.id.unwrap_or(u64::MAX));
    members
}

/// Devices and block devices that nobody has matched. One of each belong together. Of several it stays open which has
/// which number, and so whose errors are whose; but when there are fewer block devices, so many members are absent.
fn match_up(mut members: Vec<BtrfsMember>, blocks: Vec<&BlockDevice>) -> Vec<BtrfsMember> {
    if let ([member], [block]) = (members.as_mut_slice(), blocks.as_slice()) {
        member.block = Some((*block).clone());
        return members;
    }
    if blocks.is_empty() {
        members.iter_mut().for_each(|member| member.state = BtrfsMemberState::Absent);
        return members;
    }
    let absent = members.len().saturating_sub(blocks.len());
    let unnamed =
        |block: Option<&BlockDevice>, state| BtrfsMember { id: None, block: block.cloned(), state, errors: None };
    let present = blocks.into_iter().map(|block| unnamed(Some(block), BtrfsMemberState::Present));
    present.chain(std::iter::repeat_n(unnamed(None, BtrfsMemberState::Absent), absent)).collect()
}

fn state(device: &Device) -> BtrfsMemberState {
    if device.missing == Ok(true) {
        BtrfsMemberState::Absent
    } else if device.replace_target == Ok(true) || device.id == 0 {
        BtrfsMemberState::Filling
    } else {
        BtrfsMemberState::Present
    }
}

/// How its data is spread over those devices that hold a share, absent ones among them.
pub fn groups(of: &FileSystem) -> Vec<ChunkGroup> {
    let holds = |device: &&Device| device.in_metadata != Ok(false) && state(device) != BtrfsMemberState::Filling;
    let ids: Vec<u64> = of.devices.iter().filter(holds).map(|device| device.id).collect();
    profiles::groups(&of.allocations, &ids)
}

/// Room for metadata. What an absent or lost device has left is no room.
pub fn metadata_room(of: &FileSystem, told: &MountedFileSystem) -> Option<BtrfsMetadata> {
    let there = |id: u64| {
        let device = of.devices.iter().find(|device| device.id == id);
        device.is_some_and(|device| state(device) == BtrfsMemberState::Present && device.writeable != Ok(false))
    };
    let gone =
        |answer: &MountedDevice| of.blocks.iter().any(|block| Some(&block.name) == answer.block.as_ref() && block.gone);
    let usable = told.devices.iter().filter(|answer| there(answer.id) && !gone(answer));
    let free: Vec<u64> = usable.map(|answer| answer.size.0.saturating_sub(answer.allocated.0)).collect();
    profiles::metadata_room(&of.allocations, &free)
}

#[cfg(test)]
mod tests {
    use super::profiles::{Content, Profile, ProfileUse};
    use super::*;
    use proptest::collection::vec;
    use proptest::prelude::*;
    use traylight_data::reading::Reason;

    const NO_ERRORS: ErrorCounts = ErrorCounts { write: 0, read: 0, flush: 0, corruption: 0, generation: 0 };

    fn device(id: u64) -> Device {
        let (missing, replace_target) = (Ok(false), Ok(id == 0));
        let errors = Ok(ErrorCounts { corruption: id, ..NO_ERRORS });
        let (in_metadata, writeable) = (Ok(true), Ok(true));
        Device { id, missing, in_metadata, writeable, replace_target, is_seed: false, errors }
    }

    fn block(name: &str) -> BlockDevice {
        let drives = vec![name.trim_end_matches(|c: char| c.is_ascii_digit()).to_owned()];
        BlockDevice { name: name.to_owned(), drives, gone: false, size: Some(Bytes(734_003_200)) }
    }

    /// Two drives with a mirror, with the numbers that a stock kernel 6.12 and btrfs-progs 6.14 gave.
    fn songs(ids: &[u64], blocks: &[&str]) -> FileSystem {
        let allocation = |content, total, used| {
            let profiles = vec![ProfileUse { profile: Profile::Raid1, total, used }];
            Allocation { content, total, used, disk_total: 2 * total, disk_used: 2 * used, profiles }
        };
        FileSystem {
            uuid: "22bf3b64-4c77-46ba-a490-0dfb7c90afd3".into(),
            label: Some("songs".into()),
            operation: Ok(Operation::None),
            devices: ids.iter().copied().map(device).collect(),
            blocks: blocks.iter().copied().map(block).collect(),
            allocations: vec![
                allocation(Content::Data, 224_395_264, 104_857_600),
                allocation(Content::Metadata, 73_400_320, 245_760),
                allocation(Content::System, 41_943_040, 16_384),
            ],
        }
    }

    fn told(devices: &[(u64, Option<&str>)]) -> MountedFileSystem {
        let devices = devices.iter().map(|&(id, block)| MountedDevice {
            id,
            block: block.map(str::to_owned),
            size: Bytes(734_003_200),
            allocated: Bytes(339_738_624),
            errors: Ok(NO_ERRORS),
            scrubbed: Ok(None),
        });
        let devices: Vec<MountedDevice> = devices.collect();
        MountedFileSystem {
            uuid: String::new(),
            wanted: devices.len() as u64,
            devices,
            balance: Ok(None),
            checked: None,
        }
    }

    /// Number, block device, state and wrong checksums of every member.
    fn listed(of: &FileSystem, told: Option<&MountedFileSystem>) -> Vec<String> {
        let or_dash = |text: Option<String>| text.unwrap_or("-".into());
        let members = members(of, told).into_iter().map(|member| {
            let block = member.block.map(|block| if block.gone { format!("{} gone", block.name) } else { block.name });
            let errors = member.errors.map(|errors| errors.corruption.to_string());
            let id = member.id.map(|id| id.to_string());
            format!("{} {} {:?} {}", or_dash(id), or_dash(block), member.state, or_dash(errors))
        });
        members.collect()
    }

    #[test]
    fn numbers_and_block_devices_are_matched_by_what_the_file_system_answers() {
        let songs = songs(&[1, 2], &["sda", "sdb"]);
        let answer = told(&[(1, Some("sdb")), (2, Some("sda"))]);
        assert_eq!(listed(&songs, Some(&answer)), ["1 sdb Present 1", "2 sda Present 2"]);
        // Before it answered: who is who is open, and nobody is blamed for another's errors.
        assert_eq!(listed(&songs, None), ["- sda Present -", "- sdb Present -"]);
    }

    #[test]
    fn a_drive_taken_away_while_mounted_is_gone_although_the_file_system_calls_it_present() {
        let mut songs = songs(&[1, 2], &["sda", "sdb"]);
        songs.blocks[1].gone = true;
        let answer = told(&[(1, Some("sda")), (2, Some("sdb"))]);
        assert_eq!(listed(&songs, Some(&answer)), ["1 sda Present 1", "2 sdb gone Present 2"]);
        assert_eq!(metadata_room(&songs, &answer).map(|room| room.unallocated), Some(0));
    }

    #[test]
    fn a_device_that_was_absent_at_the_mount_is_a_member_without_a_block_device() {
        let mut songs = songs(&[1, 2], &["sda"]);
        songs.devices[1].missing = Ok(true);
        songs.devices[1].writeable = Ok(false);
        let wanted = ["1 sda Present 1", "2 - Absent 2"];
        assert_eq!(listed(&songs, None), wanted);
        assert_eq!(listed(&songs, Some(&told(&[(1, Some("sda")), (2, None)]))), wanted);
        // The name by which it is remembered may be another's by now.
        assert_eq!(listed(&songs, Some(&told(&[(2, Some("sda")), (1, Some("sda"))]))), wanted);
        // It still counts for what the mirror can lose.
        assert_eq!(groups(&songs)[0].devices, [1, 2]);
    }

    #[test]
    fn fewer_block_devices_than_numbers_is_a_loss_even_when_no_file_says_so() {
        assert_eq!(
            listed(&songs(&[1, 2, 3], &["sda", "sdb"]), None),
            ["- sda Present -", "- sdb Present -", "- - Absent -"]
        );
        assert_eq!(listed(&songs(&[1, 2], &[]), None), ["1 - Absent 1", "2 - Absent 2"]);
    }

    #[test]
    fn a_replacement_is_being_filled_and_holds_no_share_yet() {
        let mut songs = songs(&[0, 1, 2], &["sda", "sdc"]);
        songs.devices[2].missing = Ok(true);
        let answer = told(&[(0, Some("sdc")), (1, Some("sda")), (2, None)]);
        assert_eq!(listed(&songs, Some(&answer)), ["0 sdc Filling 0", "1 sda Present 1", "2 - Absent 2"]);
        assert_eq!(groups(&songs)[0].devices, [1, 2]);
    }

    /// A name that the file system remembers from before can be wrong; what is left over belongs together.
    #[test]
    fn the_last_number_goes_with_the_last_block_device() {
        let songs = songs(&[1, 2], &["sda", "dm-3"]);
        let answer = told(&[(1, Some("sda")), (2, Some("root"))]);
        assert_eq!(listed(&songs, Some(&answer)), ["1 sda Present 1", "2 dm-3 Present 2"]);
    }

    #[test]
    fn error_counts_that_have_no_file_are_asked_for() {
        let mut songs = songs(&[1], &["sda"]);
        songs.devices[0].errors = Err(Missing::of(Reason::NotAvailable));
        assert_eq!(listed(&songs, None), ["1 sda Present -"]);
        assert_eq!(listed(&songs, Some(&told(&[(1, Some("sda"))]))), ["1 sda Present 0"]);
    }

    /// `btrfs filesystem show` of the same moment: each device 700.00 MiB with 324.00 MiB used.
    #[test]
    fn room_for_metadata_is_what_no_chunk_takes() {
        let answer = told(&[(1, Some("sda")), (2, Some("sdb"))]);
        let room = metadata_room(&songs(&[1, 2], &["sda", "sdb"]), &answer);
        let unallocated = 2 * (700 - 324) * (1 << 20);
        assert_eq!(room, Some(BtrfsMetadata { unallocated, total: 73_400_320, used: 245_760 }));
    }

    proptest! {
        #[test]
        fn no_block_device_is_lost_or_there_twice(
            ids in vec(0_u64..6, 0..6),
            blocks in vec("sd[a-f]", 0..6),
            answers in vec((0_u64..6, proptest::option::of("sd[a-f]")), 0..6),
            lost in any::<[bool; 6]>(),
        ) {
            let names: Vec<&str> = blocks.iter().map(String::as_str).collect();
            let mut songs = songs(&ids, &names);
            songs.devices.iter_mut().zip(lost).for_each(|(device, lost)| device.missing = Ok(lost));
            let answers: Vec<(u64, Option<&str>)> = answers.iter().map(|(id, name)| (*id, name.as_deref())).collect();
            let told = told(&answers);
            let members = members(&songs, Some(&told));
            let mut seen: Vec<&str> =
                members.iter().filter_map(|member| Some(member.block.as_ref()?.name.as_str())).collect();
            let mut wanted = names.clone();
            seen.sort_unstable();
            wanted.sort_unstable();
            prop_assert_eq!(seen, wanted);
            prop_assert!(members.len() >= ids.len());
            let _ = (groups(&songs), metadata_room(&songs, &told));
        }
    }
}
