//! What a pool can still lose: how many members whichever they are, and which members it cannot spare.

use std::collections::{BTreeMap, BTreeSet};
use traylight_data::reading::{Group, Member, MemberState, Pool, PoolRunning, Snapshot};
use traylight_data::verdict::{Down, Redundancy};

/// What a pool can still lose, by the members that are there.
pub fn standing(pool: &Pool) -> Redundancy {
    let holds: BTreeSet<u32> =
        pool.members.iter().filter(|member| holds_its_share(member)).filter_map(|m| m.slot).collect();
    let places: BTreeSet<u32> = pool.groups.iter().flat_map(|group| group.slots.iter().copied()).collect();
    let lost: BTreeSet<u32> = places.difference(&holds).copied().collect();
    let seen = if places.is_empty() { pool.wanted.saturating_sub(holds.len() as u32) } else { lost.len() as u32 };
    // The kernel may count more than can be seen; which members it means is then not known.
    let unseen = pool.missing.unwrap_or(0).saturating_sub(seen);
    let by_layout = after(&pool.groups, &lost);
    let lives = places.is_empty() || by_layout.is_some_and(|spare| spare >= unseen);
    let doubtful = doubtful(pool, &lost);
    let at_worst = &lost | &doubtful;
    let spare = after(&pool.groups, if unseen == 0 { &at_worst } else { &lost });
    let spare = spare.map_or(0, |spare| spare.saturating_sub(unseen));
    let vital = match unseen {
        // Where the layout is not known, any that is left may hold the last copy.
        _ if places.is_empty() && (seen + unseen > 0 || pool.is_read_in_part()) => holds,
        0 => &vital(&pool.groups, &at_worst) | &doubtful,
        _ if spare == 0 => places.difference(&lost).copied().collect(),
        _ => BTreeSet::new(),
    };
    Redundancy {
        lost: seen + unseen,
        lives,
        spare,
        vital,
        // A pool of unknown layout that serves without some of its members is one in which some may be lost.
        is_redundant: pool.groups.iter().any(|group| group.tolerates > 0) || (places.is_empty() && seen + unseen > 0),
        down: down(pool, lives),
    }
}

/// The places of members that could not be read, unless the kernel's own count leaves no room for a loss there. It leaves
/// out those whose drives have gone without its notice.
fn doubtful(pool: &Pool, lost: &BTreeSet<u32>) -> BTreeSet<u32> {
    let is_unnoticed = |member: &&Member| member.device_gone && member.state == MemberState::Active;
    let unnoticed: BTreeSet<u32> = pool.members.iter().filter(is_unnoticed).filter_map(|member| member.slot).collect();
    let noticed = lost.difference(&unnoticed).count() as u32;
    let unread = pool.members.iter().filter(|member| member.state == MemberState::Unknown && !member.device_gone);
    match pool.missing {
        Some(missing) if missing <= noticed => BTreeSet::new(),
        _ => unread.filter_map(|member| member.slot).collect(),
    }
}

/// What each pool can still lose, by its key.
pub fn of_all(snapshot: &Snapshot) -> BTreeMap<String, Redundancy> {
    snapshot.pools.iter().map(|pool| (pool.key.clone(), standing(pool))).collect()
}

/// Why a pool does not serve its data, if it does not.
fn down(pool: &Pool, lives: bool) -> Option<Down> {
    match pool.running.get()? {
        PoolRunning::Inactive => Some(Down::Inactive),
        PoolRunning::Broken => Some(Down::TooManyLost),
        PoolRunning::Suspended => Some(Down::Suspended),
        PoolRunning::Running => (!lives).then_some(Down::TooManyLost),
    }
}

/// How many further losses are survived whichever places they hit, once these are lost; `None` when these are already too
/// many. The weakest group decides.
fn after(groups: &[Group], lost: &BTreeSet<u32>) -> Option<u32> {
    let left = |group: &Group| group.tolerates.checked_sub(lost_of(group, lost));
    groups.iter().map(left).reduce(|one, other| Some(one?.min(other?)))?
}

/// The places whose loss would be one too many.
fn vital(groups: &[Group], lost: &BTreeSet<u32>) -> BTreeSet<u32> {
    let at_its_end = groups.iter().filter(|group| group.tolerates <= lost_of(group, lost));
    at_its_end.flat_map(|group| group.slots.iter().copied()).filter(|slot| !lost.contains(slot)).collect()
}

fn lost_of(group: &Group, lost: &BTreeSet<u32>) -> u32 {
    group.slots.iter().filter(|slot| lost.contains(slot)).count() as u32
}

/// A state that could not be read is no loss: the kernel's own count says when there is one.
pub fn holds_its_share(member: &Member) -> bool {
    matches!(member.state, MemberState::Active | MemberState::Unknown) && !member.device_gone && member.slot.is_some()
}

#[cfg(test)]
mod tests {
    use super::*;
    use traylight_parse::md;

    /// Whether all data of an array can still be read, by trying to read it: the first chunks of a mirror in all its
    /// copies, or a stripe with its parity. This is the definition that [`after`] and [`vital`] are measured against.
    fn can_be_read(level: &str, raid_disks: u32, near: u32, far: u32, lost: &BTreeSet<u32>) -> bool {
        let is_there = |device: u32| !lost.contains(&device);
        match level {
            "raid10" => (0..raid_disks * near).all(|chunk| {
                let first = chunk * near % raid_disks;
                let mut places = (0..near).map(|copy| (first + copy) % raid_disks);
                places.any(|place| (0..far).any(|copy| is_there((place + copy * near) % raid_disks)))
            }),
            "raid1" => (0..raid_disks).any(is_there),
            _ => {
                let parity = match level {
                    "raid6" => 2,
                    "raid4" | "raid5" => 1,
                    _ => 0,
                };
                (0..raid_disks).filter(|device| is_there(*device)).count() as u32 + parity >= raid_disks
            }
        }
    }

    fn subsets(of: u32) -> impl Iterator<Item = BTreeSet<u32>> {
        (0..1_u32 << of).map(move |bits| (0..of).filter(|place| bits >> place & 1 == 1).collect())
    }

    /// Every set of losses of every small layout.
    #[test]
    fn what_is_left_is_what_trying_every_loss_finds() {
        let mut tried = 0;
        // Level, near and far copies, and the fewest members that make sense.
        let layouts = [
            ("raid0", 1, 1, 1),
            ("raid1", 1, 1, 1),
            ("raid5", 1, 1, 2),
            ("raid6", 1, 1, 4),
            ("raid10", 2, 1, 2),
            ("raid10", 3, 1, 3),
            ("raid10", 1, 2, 2),
            ("raid10", 1, 3, 3),
            ("raid10", 2, 2, 4),
        ];
        for (level, near, far, fewest) in layouts {
            for raid_disks in fewest..=7 {
                let groups = md::layout::groups(level, raid_disks, far << 8 | near);
                let lives = |lost: &BTreeSet<u32>| can_be_read(level, raid_disks, near, far, lost);
                for lost in subsets(raid_disks) {
                    tried += 1;
                    let name = format!("{level} near {near} far {far} of {raid_disks}, lost {lost:?}");
                    let left = after(&groups, &lost);
                    assert_eq!(left.is_some(), lives(&lost), "{name}");
                    if left.is_none() {
                        continue;
                    }
                    let further: Vec<BTreeSet<u32>> = subsets(raid_disks)
                        .filter(|set| set.is_disjoint(&lost) && !lives(&lost.union(set).copied().collect()))
                        .collect();
                    let fatal = further.iter().map(|set| set.len() as u32).min();
                    assert_eq!(left, fatal.map(|fatal| fatal - 1), "{name}");
                    let alone = further.iter().filter(|set| set.len() == 1).flatten().copied().collect();
                    assert_eq!(vital(&groups, &lost), alone, "{name}");
                }
            }
        }
        assert!(tried > 2_000, "{tried} sets of losses were tried");
    }
}
