//! How a btrfs file system spreads its data: profiles, what each survives, and the room for another chunk
//! (`btrfs_raid_array` in fs/btrfs/volumes.c).

use std::fmt;

/// What a file system keeps apart: each of these has its own chunks, and may have its own profile.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Content {
    /// The contents of files.
    Data,
    /// Names, places, checksums: without it there are no files.
    Metadata,
    /// Where the chunks are.
    System,
}

impl Content {
    /// All three, with the most valuable last.
    pub const ALL: [Self; 3] = [Self::Data, Self::Metadata, Self::System];

    /// Its folder in `allocation`.
    pub fn folder(self) -> &'static str {
        match self {
            Self::Data => "data",
            Self::Metadata => "metadata",
            Self::System => "system",
        }
    }
}

/// How the copies of a chunk are spread over devices.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord)]
pub enum Profile {
    /// One copy on one device.
    Single,
    /// Two copies on one device.
    Dup,
    /// One copy in stripes.
    Raid0,
    /// Two copies on two devices, however many there are.
    Raid1,
    /// Three copies on three devices.
    Raid1c3,
    /// Four copies on four devices.
    Raid1c4,
    /// Two copies in stripes.
    Raid10,
    /// Stripes with one parity.
    Raid5,
    /// Stripes with two parities.
    Raid6,
}

impl Profile {
    const ALL: [Self; 9] = [
        Self::Single,
        Self::Dup,
        Self::Raid0,
        Self::Raid1,
        Self::Raid1c3,
        Self::Raid1c4,
        Self::Raid10,
        Self::Raid5,
        Self::Raid6,
    ];

    /// The profile whose folder in `allocation/*/` has this name; other folders and files there are none.
    pub fn named(folder: &str) -> Option<Self> {
        Self::ALL.into_iter().find(|profile| profile.name() == folder)
    }

    /// The kernel's name.
    pub fn name(self) -> &'static str {
        match self {
            Self::Single => "single",
            Self::Dup => "dup",
            Self::Raid0 => "raid0",
            Self::Raid1 => "raid1",
            Self::Raid1c3 => "raid1c3",
            Self::Raid1c4 => "raid1c4",
            Self::Raid10 => "raid10",
            Self::Raid5 => "raid5",
            Self::Raid6 => "raid6",
        }
    }

    /// How many devices it can lose, whichever they are (`tolerated_failures`).
    pub fn tolerates(self) -> u32 {
        match self {
            Self::Single | Self::Dup | Self::Raid0 => 0,
            Self::Raid1 | Self::Raid10 | Self::Raid5 => 1,
            Self::Raid1c3 | Self::Raid6 => 2,
            Self::Raid1c4 => 3,
        }
    }

    /// How many devices must have room for a new chunk (`devs_min`).
    fn fewest_devices(self) -> u32 {
        self.tolerates() + 1
    }
}

impl fmt::Display for Profile {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(self.name())
    }
}

/// The room that chunks of one profile take, for one kind of content.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct ProfileUse {
    /// How the chunks are spread.
    pub profile: Profile,
    /// What they can hold, bytes, copies counted once.
    pub total: u64,
    /// What they hold.
    pub used: u64,
}

/// One of the three allocations of a file system.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Allocation {
    /// What is in it.
    pub content: Content,
    /// What its chunks can hold, bytes, copies counted once.
    pub total: u64,
    /// What they hold.
    pub used: u64,
    /// What its chunks take on the devices, bytes, every copy counted; parity is not (`btrfs_bg_type_to_factor`).
    pub disk_total: u64,
    /// The same of what they hold.
    pub disk_used: u64,
    /// By profile. Two at once are a conversion under way, or one that was left half done.
    pub profiles: Vec<ProfileUse>,
}

/// Content that is spread in one way over the devices.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ChunkGroup {
    /// What is in it.
    pub content: Content,
    /// How it is spread.
    pub profile: Profile,
    /// The numbers of the devices that it may be on: btrfs does not say which chunk is where, so all of them.
    pub devices: Vec<u64>,
    /// How many of these may be lost.
    pub tolerates: u32,
}

/// The groups of a file system. A profile whose chunks are empty counts only where no other holds anything: empty
/// chunks of another profile are what a conversion or the making of the file system leaves, and have nothing to lose.
pub fn groups(allocations: &[Allocation], devices: &[u64]) -> Vec<ChunkGroup> {
    let of_one = |allocation: &Allocation| {
        let holds_some = allocation.profiles.iter().any(|of| of.used > 0);
        let counts = move |of: &&ProfileUse| if holds_some { of.used > 0 } else { of.total > 0 };
        let groups = allocation.profiles.iter().filter(counts).map(|of| ChunkGroup {
            content: allocation.content,
            profile: of.profile,
            devices: devices.to_vec(),
            tolerates: of.profile.tolerates(),
        });
        groups.collect::<Vec<_>>()
    };
    allocations.iter().flat_map(of_one).collect()
}

/// How many devices a file system can lose and still have everything: what its weakest group can. `None` when it is not
/// known how anything is spread.
pub fn tolerates(groups: &[ChunkGroup]) -> Option<u32> {
    groups.iter().map(|group| group.tolerates).min()
}

/// The profile that is said first of a file system: that of its data, of several the one that survives least.
pub fn level(groups: &[ChunkGroup]) -> Option<Profile> {
    groups.iter().map(|group| (group.content, group.tolerates, group.profile)).min().map(|(.., profile)| profile)
}

/// Room for metadata: when there is none, no file can be made, however much is free for data.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct BtrfsMetadata {
    /// What no chunk takes yet and a chunk of metadata could, bytes on the devices, every copy counted.
    pub unallocated: u64,
    /// What the chunks of metadata can hold, bytes, copies counted once.
    pub total: u64,
    /// What they hold.
    pub used: u64,
}

/// The room for metadata, from what is free of chunks on each device. `None` when there is no metadata to be seen.
pub fn metadata_room(allocations: &[Allocation], free: &[u64]) -> Option<BtrfsMetadata> {
    let metadata = allocations.iter().find(|allocation| allocation.content == Content::Metadata)?;
    // Two profiles at once: the one that holds most stands for both.
    let profile = metadata.profiles.iter().max_by_key(|of| (of.used, of.total))?.profile;
    Some(BtrfsMetadata { unallocated: room_for(profile, free), total: metadata.total, used: metadata.used })
}

/// What chunks of a profile could still take of these devices, bytes, every copy counted. Each copy must be on another
/// device: what one device alone has left is no room for a mirror.
pub fn room_for(profile: Profile, free: &[u64]) -> u64 {
    let copies = u128::from(profile.fewest_devices());
    let fits = |each: u128| free.iter().map(|&room| u128::from(room).min(each)).sum::<u128>() >= copies * each;
    let (mut least, mut beyond) = (0, free.iter().map(|&room| u128::from(room)).sum::<u128>() / copies + 1);
    while beyond - least > 1 {
        let middle = least + (beyond - least) / 2;
        if fits(middle) { least = middle } else { beyond = middle }
    }
    u64::try_from(least * copies).unwrap_or(u64::MAX)
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::collection::vec;
    use proptest::prelude::*;

    const GIB: u64 = 1 << 30;

    fn holding(content: Content, profiles: &[(Profile, u64, u64)]) -> Allocation {
        let profiles: Vec<ProfileUse> =
            profiles.iter().map(|&(profile, total, used)| ProfileUse { profile, total, used }).collect();
        let (total, used) = (profiles.iter().map(|of| of.total).sum(), profiles.iter().map(|of| of.used).sum());
        Allocation { content, total, used, disk_total: 2 * total, disk_used: 2 * used, profiles }
    }

    fn told(allocations: &[Allocation]) -> Vec<String> {
        let told = |group: ChunkGroup| format!("{:?} {} -{}", group.content, group.profile, group.tolerates);
        groups(allocations, &[1, 2, 3]).into_iter().map(told).collect()
    }

    /// `ncopies`, `nparity` and `tolerated_failures` of `btrfs_raid_array`, fs/btrfs/volumes.c.
    #[test]
    fn each_profile_survives_what_the_kernel_says() {
        let words = ["single", "dup", "raid0", "raid1", "raid1c3", "raid1c4", "raid10", "raid5", "raid6"];
        let survives = words.map(|word| Profile::named(word).map(Profile::tolerates));
        assert_eq!(survives, [0, 0, 0, 1, 2, 3, 1, 1, 2].map(Some));
        assert_eq!(["raid7", "total_bytes", "", "RAID1"].map(Profile::named), [None; 4]);
    }

    #[test]
    fn data_and_metadata_may_survive_different_losses() {
        let box_of_three = [
            holding(Content::Data, &[(Profile::Single, 8 * GIB, 5 * GIB)]),
            holding(Content::Metadata, &[(Profile::Raid1c3, GIB, 1)]),
        ];
        assert_eq!(told(&box_of_three), ["Data single -0", "Metadata raid1c3 -2"]);
        let groups = groups(&box_of_three, &[1, 2, 3]);
        assert_eq!((tolerates(&groups), level(&groups)), (Some(0), Some(Profile::Single)));
        assert!(groups.iter().all(|group| group.devices == [1, 2, 3]));
    }

    #[test]
    fn a_half_done_conversion_is_as_weak_as_its_weaker_half() {
        let half = [holding(Content::Data, &[(Profile::Raid1, 4 * GIB, 3 * GIB), (Profile::Single, GIB, 1)])];
        assert_eq!(told(&half), ["Data raid1 -1", "Data single -0"]);
        let groups = groups(&half, &[1, 2]);
        assert_eq!((tolerates(&groups), level(&groups)), (Some(0), Some(Profile::Single)));
    }

    #[test]
    fn empty_chunks_that_a_conversion_left_have_nothing_to_lose() {
        let left_over = [holding(Content::Data, &[(Profile::Raid1, 4 * GIB, 3 * GIB), (Profile::Single, GIB, 0)])];
        assert_eq!(told(&left_over), ["Data raid1 -1"]);
        let fresh = [holding(Content::Data, &[(Profile::Raid1, GIB, 0)])];
        assert_eq!(told(&fresh), ["Data raid1 -1"]);
        assert_eq!((tolerates(&[]), level(&[])), (None, None));
    }

    /// Two devices of 734003200 bytes with 490733568 in chunks on each: `btrfs filesystem usage` of btrfs-progs 6.14
    /// said unallocated 486539264.
    #[test]
    fn unallocated_room_is_what_the_tool_of_the_file_system_says() {
        assert_eq!(room_for(Profile::Raid1, &[243_269_632, 243_269_632]), 486_539_264);
    }

    #[test]
    fn what_one_device_alone_has_left_is_no_room_for_a_mirror() {
        assert_eq!(room_for(Profile::Single, &[0, 4 * GIB]), 4 * GIB);
        assert_eq!(room_for(Profile::Raid1, &[0, 4 * GIB]), 0);
        assert_eq!(room_for(Profile::Raid1, &[GIB, GIB, 4 * GIB]), 4 * GIB);
        assert_eq!(room_for(Profile::Raid1c3, &[GIB, GIB, 4 * GIB]), 3 * GIB);
        assert_eq!(room_for(Profile::Raid1c4, &[GIB, GIB, 4 * GIB]), 0);
        assert_eq!(room_for(Profile::Raid1, &[]), 0);
    }

    #[test]
    fn room_for_metadata_is_judged_by_its_own_profile() {
        let room = |profile| {
            let allocations = [
                holding(Content::Data, &[(Profile::Single, GIB, GIB)]),
                holding(Content::Metadata, &[(profile, 1000, 900)]),
            ];
            metadata_room(&allocations, &[0, 4 * GIB])
        };
        assert_eq!(room(Profile::Dup), Some(BtrfsMetadata { unallocated: 4 * GIB, total: 1000, used: 900 }));
        assert_eq!(room(Profile::Raid1), Some(BtrfsMetadata { unallocated: 0, total: 1000, used: 900 }));
        assert_eq!(metadata_room(&[], &[GIB]), None);
    }

    proptest! {
        /// Against laying the copies out one unit after another, each on the devices with most room.
        #[test]
        fn room_is_what_laying_out_chunks_one_by_one_would_find(mut free in vec(0_u64..12, 0..6), which in 0..9_usize) {
            let profile = Profile::ALL[which];
            let found = room_for(profile, &free);
            let copies = profile.fewest_devices() as usize;
            let mut laid = 0;
            loop {
                free.sort_unstable_by(|a, b| b.cmp(a));
                if free.len() < copies || free[copies - 1] == 0 {
                    break;
                }
                free[..copies].iter_mut().for_each(|room| *room -= 1);
                laid += copies as u64;
            }
            prop_assert_eq!(found, laid);
        }

        #[test]
        fn absurd_sizes_are_counted_without_running_over(free in vec(any::<u64>(), 0..8), which in 0..9_usize) {
            let total = free.iter().fold(0_u64, |sum, &room| sum.saturating_add(room));
            prop_assert!(room_for(Profile::ALL[which], &free) <= total);
        }

        #[test]
        fn any_name_is_a_profile_or_none(name in any::<String>()) {
            prop_assert!(Profile::named(&name).is_none_or(|profile| profile.name() == name));
        }
    }
}
