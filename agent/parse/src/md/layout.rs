//! Which members of an md array may be lost, from its level and layout.

use crate::plain::{quoted, whole};
use std::collections::BTreeSet;
use traylight_data::reading::Group;

/// The groups of an array. Empty when the level or its layout is none that is known, as while the array is inactive.
///
/// `raid_disks` and `layout` are the numbers of sysfs; only of raid10 the layout decides. What each level survives: md(4), from memory, and `max_degraded` in
/// drivers/md.
pub fn groups(level: &str, raid_disks: u32, layout: u32) -> Vec<Group> {
    let all = |tolerates| vec![Group { slots: (0..raid_disks).collect(), tolerates }];
    match level {
        _ if raid_disks == 0 => Vec::new(),
        "raid0" | "linear" => all(0),
        "raid1" => all(raid_disks - 1),
        "raid4" | "raid5" => all(1),
        "raid6" => all(2),
        "raid10" => copies(raid_disks, layout),
        _ => Vec::new(),
    }
}

/// True for a level that can do without a member: only arrays of such have files about what they lack and repair.
pub fn is_redundant(level: &str) -> bool {
    matches!(level, "raid1" | "raid4" | "raid5" | "raid6" | "raid10")
}

/// `layout` of a raid10 of so many members. Two of them, as while the array changes from one to the other, are none.
///
/// # Errors
/// What was found, if it is no layout that md would run.
pub fn raid10(text: &str, raid_disks: u32) -> Result<u32, String> {
    let layout = whole(text).ok().and_then(|layout| u32::try_from(layout).ok());
    let layout = layout.filter(|layout| near_and_far(raid_disks, *layout).is_some());
    layout.ok_or_else(|| format!("expected a layout of raid10 on {raid_disks} members, found {}", quoted(text)))
}

/// How many near and far copies a layout of raid10 has: two to one on each member, by `setup_geo` and `setup_conf` of
/// drivers/md/raid10.c (from memory). Bits 17 and 18 are the ways of sets, of which there are three.
fn near_and_far(raid_disks: u32, layout: u32) -> Option<(u32, u32)> {
    let (near, far) = (layout & 0xFF, layout >> 8 & 0xFF);
    ((2..=raid_disks).contains(&(near * far)) && layout >> 17 <= 2).then_some((near, far))
}

/// The members that hold the copies of one chunk are a group; how chunks are laid out follows drivers/md/raid10.c,
/// `__raid10_find_phys` and `setup_geo`. None for layouts that make no sense: any member may then be the last with its copy.
fn copies(raid_disks: u32, layout: u32) -> Vec<Group> {
    let Some((near, far)) = near_and_far(raid_disks, layout) else { return Vec::new() };
    let set_size = match layout >> 17 {
        1 => (raid_disks / far).max(1),
        2 => (far * near).min(raid_disks),
        _ => raid_disks,
    };
    let last_start = (raid_disks / set_size - 1) * set_size;
    let last_size = set_size + raid_disks % set_size;
    let next_far = |device: u32| {
        let set = device / set_size;
        let moved = device + near;
        if raid_disks % set_size != 0 && moved > last_start {
            (moved - last_start) % last_size + last_start
        } else {
            moved % set_size + set_size * set
        }
    };
    // After so many chunks the first member is reached again.
    let groups: BTreeSet<Group> = (0..raid_disks)
        .map(|chunk| {
            let first = chunk * near % raid_disks;
            let mut slots = BTreeSet::new();
            for copy in 0..near {
                let mut device = (first + copy) % raid_disks;
                slots.insert(device);
                for _ in 1..far {
                    device = next_far(device);
                    slots.insert(device);
                }
            }
            let tolerates = (slots.len() as u32).saturating_sub(1);
            Group { slots: slots.into_iter().collect(), tolerates }
        })
        .collect();
    groups.into_iter().collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const NEAR_2: u32 = 0x102;
    const FAR_2: u32 = 0x201;
    const OFFSET_2: u32 = 0x1_0201;

    fn sets(raid_disks: u32, layout: u32) -> Vec<Vec<u32>> {
        groups("raid10", raid_disks, layout).into_iter().map(|group| group.slots).collect()
    }

    /// md(4) draws these layouts (from memory): near copies side by side, also across the end with an odd number of members;
    /// far and offset copies on the next member.
    #[test]
    fn copies_lie_where_the_manual_draws_them() {
        assert_eq!(sets(4, NEAR_2), [[0, 1], [2, 3]]);
        assert_eq!(sets(5, NEAR_2), [[0, 1], [0, 4], [1, 2], [2, 3], [3, 4]]);
        assert_eq!(sets(4, FAR_2), [[0, 1], [0, 3], [1, 2], [2, 3]]);
        assert_eq!(sets(4, OFFSET_2), sets(4, FAR_2));
        assert_eq!(sets(6, 0x103), [[0, 1, 2], [3, 4, 5]], "three near copies");
        assert_eq!(sets(2, NEAR_2), [[0, 1]]);
    }

    #[test]
    fn a_layout_that_makes_no_sense_has_no_groups() {
        assert_eq!(raid10("258", 4), Ok(NEAR_2));
        // Too few copies, too many, a way of sets that is none, and no number.
        for odd in ["0", "257", "1", "1281", "393730", "4294967295", "513 (258)", "", "near"] {
            assert!(raid10(odd, 4).is_err(), "{odd}");
        }
        assert_eq!((sets(4, 0), sets(4, 0x105), sets(4, 0x6_0102)), (vec![], vec![], vec![]));
        assert_eq!(sets(1, NEAR_2), Vec::<Vec<u32>>::new(), "one member cannot hold two copies");
    }

    #[test]
    fn every_level_has_its_tolerance() {
        for (level, tolerates) in [("raid0", 0), ("linear", 0), ("raid1", 3), ("raid4", 1), ("raid5", 1), ("raid6", 2)]
        {
            assert_eq!(groups(level, 4, 0), [Group { slots: vec![0, 1, 2, 3], tolerates }], "{level}");
        }
        assert_eq!(groups("", 0, 0), []);
        assert_eq!(groups("multipath", 2, 0), []);
    }

    proptest! {
        #[test]
        fn any_layout_that_makes_sense_has_groups_within_its_members(raid_disks in 0..40_u32, layout in 0..0x8_0000_u32) {
            let groups = groups("raid10", raid_disks, layout);
            prop_assert_eq!(groups.is_empty(), raid10(&layout.to_string(), raid_disks).is_err());
            prop_assert_eq!(groups.iter().flat_map(|group| &group.slots).collect::<BTreeSet<_>>().len(), if groups.is_empty() { 0 } else { raid_disks as usize });
            for group in groups {
                prop_assert!(group.slots.iter().all(|slot| *slot < raid_disks));
                prop_assert_eq!(group.tolerates as usize, group.slots.len() - 1);
            }
        }
    }
}
