//! `zpool list -HpvP`: a line for the pool and one for each of its vdevs, with exact sizes (zpool-list(8)). Before OpenZFS 2.3
//! `zpool status` says no sizes at all.

use super::status::{Class, VdevGroup, VdevKind};
use crate::plain::quoted;

/// How many bytes of data fit into the pool whose groups these are: what its groups for data hold, each without its parity.
/// Allocation in whole sectors and the pool's own reserve take some of that.
pub fn usable(text: &str, groups: &[VdevGroup]) -> Result<u64, String> {
    // The pool's line begins with its name, those of vdevs with a tabulator; a heading has no size.
    let rows: Vec<(&str, u64)> = text
        .lines()
        .filter_map(|line| {
            let mut fields = line.strip_prefix('\t')?.trim_start_matches('\t').split('\t');
            Some((fields.next()?, fields.next()?.parse().ok()?))
        })
        .collect();
    let size = |group: &VdevGroup| {
        let row = rows.iter().find(|(name, _)| *name == group.name);
        let (_, raw) = row.ok_or_else(|| format!("found no size of {}", quoted(&group.name)))?;
        let (data, all) = share(group).ok_or_else(|| format!("found {}, whose parity is not known", group.name))?;
        // By way of the remainder, so that no product can overflow.
        Ok(raw / all * data + raw % all * data / all)
    };
    let mut of_data = groups.iter().filter(|group| group.class == Class::Normal).map(size).peekable();
    of_data.peek().ok_or("found a pool without a group for data")?;
    of_data.try_fold(0_u64, |sum, size: Result<u64, String>| size.map(|size| sum.saturating_add(size)))
}

/// Which share of a group's size is data: of a raidz the size counts its parity, of a mirror only one copy, of a dRAID all but
/// its spares.
fn share(group: &VdevGroup) -> Option<(u64, u64)> {
    let tolerates = u64::from(group.tolerates?);
    match VdevKind::by_name(&group.name) {
        Some(VdevKind::Raidz(_)) => {
            let all = group.slots.len() as u64;
            Some((all.checked_sub(tolerates).filter(|&data| data > 0)?, all))
        }
        Some(VdevKind::Draid(_)) => {
            let data =
                group.name.split(':').find_map(|part| part.split('-').next()?.strip_suffix('d')?.parse().ok())?;
            Some((data, tolerates.checked_add(data).filter(|_| data > 0)?))
        }
        _ => Some((1, 1)),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::zfs::status::{Slot, ZfsMemberState};
    use proptest::prelude::*;

    fn group(name: &str, class: Class, tolerates: Option<u32>, places: usize) -> VdevGroup {
        let slots = vec![Slot { standing: ZfsMemberState::Active, members: Vec::new() }; places];
        VdevGroup { name: name.into(), class, tolerates, slots }
    }

    fn row(name: &str, size: &str) -> String {
        format!("\t{name}\t{size}\t236625920\t1910857728\t-\t-\t1\t11\t-\tONLINE\n")
    }

    /// The sizes are those of the pool in `zfs/samples/2.3-checksums.json`, which says there what is left of them without
    /// parity as well: `total_space` 2147483648, `def_space` 1430257664, which is two thirds in whole pieces.
    #[test]
    fn a_raidz_holds_what_is_left_without_its_parity() {
        let text = format!(
            "tank\t2147483648\t236625920\t1910857728\t-\t-\t1\t11\t1.00\tONLINE\t-\n{}{}",
            row("raidz1-0", "2147483648"),
            row("/dev/sda1", "723517440")
        );
        let found = usable(&text, &[group("raidz1-0", Class::Normal, Some(1), 3)]).unwrap();
        assert_eq!(found, 2_147_483_648 / 3 * 2 + 1);
        assert!(
            found.abs_diff(1_430_257_664) < 2_147_483_648 / 1000,
            "the tool's own number is {found} but for rounding"
        );
    }

    #[test]
    fn groups_for_data_are_added_up_and_the_others_are_not() {
        let text = [
            row("mirror-0", "1000"),
            row("/dev/disk/by-id/wren-part1", "500"),
            row("draid2:4d:7c:1s-1", "600"),
            row("special\t-", "-"),
            row("mirror-2", "70"),
        ]
        .concat();
        let groups = [
            group("mirror-0", Class::Normal, Some(1), 2),
            group("/dev/disk/by-id/wren-part1", Class::Normal, Some(0), 1),
            group("draid2:4d:7c:1s-1", Class::Normal, Some(2), 7),
            group("mirror-2", Class::Special, Some(1), 2),
        ];
        assert_eq!(usable(&text, &groups), Ok(1000 + 500 + 400));
    }

    #[test]
    fn what_is_not_told_is_not_made_up() {
        let raidz = group("raidz1-0", Class::Normal, Some(1), 3);
        assert_eq!(usable("", std::slice::from_ref(&raidz)), Err("found no size of `raidz1-0`".into()));
        assert_eq!(usable(&row("raidz1-0", "-"), &[raidz]), Err("found no size of `raidz1-0`".into()));
        let strange = group("fluff-0", Class::Normal, None, 3);
        assert_eq!(usable(&row("fluff-0", "9"), &[strange]), Err("found fluff-0, whose parity is not known".into()));
        assert_eq!(usable("", &[]), Err("found a pool without a group for data".into()));
    }

    proptest! {
        #[test]
        fn any_list_is_read_or_refused_and_never_holds_more_than_it_says(
            name in "(mirror|raidz[1-3]|draid[1-3](:[0-9]{1,2}d)?)-[0-9]", places in 0_usize..9, size: u64, text: String,
            tolerates in proptest::option::of(0_u32..4),
        ) {
            let groups = [group(&name, Class::Normal, tolerates, places)];
            let _ = usable(&text, &groups);
            if let Ok(found) = usable(&row(&name, &size.to_string()), &groups) {
                prop_assert!(found <= size);
            }
        }
    }
}
