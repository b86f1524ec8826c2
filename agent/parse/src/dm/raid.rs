//! What the RAID target of the device mapper says: its status and the table that it was made from
//! (Documentation/admin-guide/device-mapper/dm-raid.rst; `raid_status` in drivers/md/dm-raid.c says where it differs).

use crate::plain::{quoted, whole};

/// The kernel takes no more members (dm-raid.rst, version 1.9.0).
const MOST_MEMBERS: u64 = 253;

/// A status line: `raid1 2 AA 409600/409600 idle 0 0 -`.
#[derive(Debug, Clone, PartialEq)]
pub struct RaidStatus {
    /// The layout to the letter, such as `raid5_ls`; [`level`] makes it a level.
    pub layout: String,
    /// Each member's health, in the order of their places.
    pub health: Vec<RaidMemberHealth>,
    /// What runs; old kernels (target versions before 1.5.0) do not say.
    pub action: Option<Action>,
    /// How far the action or the synchronising has come, 0 to 1.
    pub done: Option<f64>,
    /// Places where copies or parity disagreed in the last check, sectors; means nothing after anything but a check.
    pub mismatches: Option<u64>,
}

/// A member's health.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RaidMemberHealth {
    /// Holds its share.
    Active,
    /// Is there, and does not hold its share yet.
    Rebuilding,
    /// Was thrown out.
    Faulty,
    /// Is not there: its place was left empty.
    Gone,
}

/// What a RAID does about its redundancy.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Action {
    /// Nothing.
    Idle,
    /// Held still on purpose.
    Frozen,
    /// All is made equal, the first time or after an unclean stop.
    Resync,
    /// A member is being filled.
    Recover,
    /// Redundancy is compared.
    Check,
    /// Redundancy is compared and made equal.
    Repair,
    /// The layout is being changed.
    Reshape,
}

/// The status of a RAID.
pub fn status(line: &str) -> Result<RaidStatus, String> {
    let mut words = line.split_ascii_whitespace();
    let mut next = |wanted: &str| words.next().ok_or_else(|| format!("expected {wanted}, found {}", quoted(line)));
    let layout = next("a layout")?.to_owned();
    member_count(next("a count of members")?)?;
    let letters = next("the health of members")?;
    let ratio = next("a ratio")?;
    let (done, all) = ratio.split_once('/').ok_or_else(|| format!("expected a ratio, found {}", quoted(ratio)))?;
    let (done, all) = (whole(done)?, whole(all)?);
    Ok(RaidStatus {
        layout,
        // The count of members runs ahead of the letters while a member is being added: the letters are the members.
        health: health(letters)?,
        action: words.next().map(action).transpose()?,
        done: (all > 0 && done <= all).then(|| done as f64 / all as f64),
        mismatches: words.next().map(whole).transpose()?,
    })
}

/// While all is made equal, or recovery is about to begin, the kernel writes `a` for every living member, since none of
/// them is in step. Only beside a member that is in step does the letter mean one that lags behind.
fn health(letters: &str) -> Result<Vec<RaidMemberHealth>, String> {
    let one_in_step = letters.contains('A');
    let health = letters.chars().map(|letter| match letter {
        'A' => Ok(RaidMemberHealth::Active),
        'a' if one_in_step => Ok(RaidMemberHealth::Rebuilding),
        'a' => Ok(RaidMemberHealth::Active),
        'D' => Ok(RaidMemberHealth::Faulty),
        '-' => Ok(RaidMemberHealth::Gone),
        _ => Err(format!("expected only A, a, D and -, found {}", quoted(letters))),
    });
    health.collect()
}

fn action(word: &str) -> Result<Action, String> {
    match word {
        "idle" => Ok(Action::Idle),
        "frozen" => Ok(Action::Frozen),
        // `init` was the word of the first versions.
        "resync" | "init" => Ok(Action::Resync),
        "recover" => Ok(Action::Recover),
        "check" => Ok(Action::Check),
        "repair" => Ok(Action::Repair),
        "reshape" => Ok(Action::Reshape),
        _ => Err(format!("expected an action of RAID, found {}", quoted(word))),
    }
}

fn member_count(text: &str) -> Result<usize, String> {
    match whole(text)? {
        count @ 1..=MOST_MEMBERS => Ok(count as usize),
        _ => Err(format!("expected 1 to {MOST_MEMBERS} members, found {}", quoted(text))),
    }
}

/// A table line: `raid1 3 0 region_size 4096 2 253:0 253:1 253:2 253:3`.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RaidTable {
    /// The layout to the letter, such as `raid5_ls`.
    pub layout: String,
    /// How many copies a `raid10` keeps; 2 unless the table says otherwise.
    pub copies: u32,
    /// The block devices that hold data, `MAJOR:MINOR`, in the order of their places; `None` for an empty place.
    pub devices: Vec<Option<String>>,
}

/// The table of a RAID.
pub fn table(line: &str) -> Result<RaidTable, String> {
    let words: Vec<&str> = line.split_ascii_whitespace().collect();
    let wanted = |what: &str| format!("expected {what}, found {}", quoted(line));
    let [layout, count, rest @ ..] = &words[..] else { return Err(wanted("a layout and a count of parameters")) };
    let parameters = usize::try_from(whole(count)?).ok().and_then(|count| rest.split_at_checked(count));
    let (parameters, rest) = parameters.ok_or_else(|| wanted("as many parameters as it says"))?;
    let [members, places @ ..] = rest else { return Err(wanted("a count of members")) };
    if places.len() != 2 * member_count(members)? {
        return Err(wanted("two devices for each member"));
    }
    let said = parameters.iter().skip_while(|&&word| word != "raid10_copies").nth(1);
    let copies = said.map_or(Ok(2), |&copies| whole(copies))?;
    Ok(RaidTable {
        layout: (*layout).to_owned(),
        copies: u32::try_from(copies).map_err(|_| wanted("a count of copies"))?,
        devices: places.chunks(2).map(|pair| (pair[1] != "-").then(|| pair[1].to_owned())).collect(),
    })
}

/// The level of a layout: `raid5_ls` is a `raid5`.
pub fn level(layout: &str) -> &str {
    layout.split('_').next().unwrap_or(layout)
}

/// How many members a layout can lose, whichever they are; `None` for a layout that is not known.
pub fn tolerates(layout: &str, members: usize, copies: u32) -> Option<u32> {
    match level(layout) {
        "raid0" => Some(0),
        "raid1" => u32::try_from(members).ok()?.checked_sub(1),
        "raid4" | "raid5" => Some(1),
        "raid6" => Some(2),
        "raid10" => copies.checked_sub(1),
        _ => None,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    fn letters(line: &str) -> Vec<RaidMemberHealth> {
        status(line).unwrap().health
    }

    /// As a stock kernel 6.12 wrote it, before and after the drive of the second member was taken away.
    #[test]
    fn a_mirror_before_and_after_a_loss() {
        let whole = RaidStatus {
            layout: "raid1".into(),
            health: vec![RaidMemberHealth::Active, RaidMemberHealth::Active],
            action: Some(Action::Idle),
            done: Some(1.0),
            mismatches: Some(0),
        };
        assert_eq!(status("raid1 2 AA 409600/409600 idle 0 0 -"), Ok(whole.clone()));
        let health = vec![RaidMemberHealth::Active, RaidMemberHealth::Faulty];
        assert_eq!(status("raid1 2 AD 409600/409600 idle 0 0 -"), Ok(RaidStatus { health, ..whole }));
    }

    /// The example of dm-raid.rst, with the word of the first versions.
    #[test]
    fn the_example_of_the_kernel_s_own_document() {
        let found = status("raid4 5 AAAAA 2/490221568 init 0").unwrap();
        assert_eq!((found.health, found.action), (vec![RaidMemberHealth::Active; 5], Some(Action::Resync)));
        assert!(found.done.is_some_and(|done| done > 0.0 && done < 0.000_001));
        assert_eq!(status("raid4 5 AAAAA 2/490221568").unwrap().action, None);
    }

    /// `rs_get_progress` and `__raid_dev_status`, drivers/md/dm-raid.c.
    #[test]
    fn out_of_step_as_a_whole_is_nobody_s_loss() {
        use RaidMemberHealth::{Active, Faulty, Gone, Rebuilding};
        assert_eq!(letters("raid5_ls 3 aaa 4096/409600 resync 0 0 -"), [Active; 3]);
        assert_eq!(letters("raid6_zr 4 aaDa 0/409600 idle 0 0 -"), [Active, Active, Faulty, Active]);
        assert_eq!(letters("raid5_ls 3 AaA 4096/409600 recover 0 0 -"), [Active, Rebuilding, Active]);
        assert_eq!(letters("raid1 3 A-a 409600/409600 idle 0 0 -"), [Active, Gone, Rebuilding]);
    }

    #[test]
    fn lines_that_are_cut_or_absurd_are_refused() {
        let wanted = |line: &str, what: &str| assert_eq!(status(line), Err(what.into()), "{line}");
        wanted("", "expected a layout, found nothing");
        wanted("raid1 2 AA", "expected a ratio, found `raid1 2 AA`");
        wanted("raid1 2 AX 1/1 idle 0", "expected only A, a, D and -, found `AX`");
        wanted("raid1 0 AA 1/1 idle 0", "expected 1 to 253 members, found `0`");
        wanted("raid1 2 AA 1 idle 0", "expected a ratio, found `1`");
        wanted("raid1 2 AA 1/1 asleep 0", "expected an action of RAID, found `asleep`");
        wanted("raid1 2 AA 1/18446744073709551616 idle 0", "expected a whole number, found `18446744073709551616`");
        assert_eq!(status("raid1 2 AA 9/8 idle 0").unwrap().done, None);
        assert_eq!(status("raid1 2 AA 0/0 idle 0").unwrap().done, None);
    }

    /// The first as a stock kernel 6.12 wrote it, the second from the examples of dm-raid.rst.
    #[test]
    fn a_table_names_the_devices_in_the_order_of_their_places() {
        let devices =
            |line: &str| table(line).unwrap().devices.into_iter().map(|of| of.unwrap_or("-".into())).collect();
        let mirror: Vec<String> = devices("raid1 3 0 region_size 4096 2 253:0 253:1 253:2 253:3");
        assert_eq!(mirror, ["253:1", "253:3"]);
        let four: Vec<String> =
            devices("raid4 4 2048 sync min_recovery_rate 20 5 8:17 8:18 8:33 8:34 - - 8:65 8:66 - 8:82");
        assert_eq!(four, ["8:18", "8:34", "-", "8:66", "8:82"]);
        assert_eq!(table("raid10 5 128 raid10_copies 3 raid10_format near 1 - 8:1").unwrap().copies, 3);
    }

    #[test]
    fn tables_that_are_cut_are_refused() {
        let line = "raid1 3 0 region_size 4096 2 253:0 253:1 253:2 253:3";
        for cut in 0..line.len() - "253:3".len() {
            assert!(table(&line[..cut]).is_err(), "cut at {cut}");
        }
        assert!(table("raid1 18446744073709551615 0").is_err());
        assert!(table("raid10 3 128 raid10_copies x 1 - 8:1").is_err());
    }

    /// The raid types of dm-raid.rst.
    #[test]
    fn what_a_layout_can_lose() {
        let cases =
            [("raid0", Some(0)), ("raid1", Some(2)), ("raid4", Some(1)), ("raid5_ls", Some(1)), ("raid6_zr", Some(2))];
        for (layout, wanted) in cases {
            assert_eq!(tolerates(layout, 3, 2), wanted, "{layout}");
        }
        assert_eq!(tolerates("raid10_near", 4, 2), Some(1));
        assert_eq!((tolerates("raid7", 4, 2), tolerates("raid1", 0, 2), tolerates("raid10", 4, 0)), (None, None, None));
    }

    proptest! {
        #[test]
        fn any_text_is_read_or_refused(text in any::<String>(), words in "(raid1|[0-9]{1,20}|[AaD-]{1,4}|[0-9]/[0-9]|idle|sync| )*") {
            for line in [text, words.clone(), format!("raid1 2 {words}"), format!("raid1 2 AA 1/2 {words}")] {
                prop_assert!(status(&line).is_ok_and(|of| of.done.is_none_or(|done| (0.0..=1.0).contains(&done))) || status(&line).is_err());
                let _ = (table(&line), tolerates(&line, 2, 2));
            }
        }
    }
}
