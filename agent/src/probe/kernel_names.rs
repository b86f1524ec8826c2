//! Which drive the kernel meant by a name at a moment. Names move: `sde` may be another drive a second later, and a line
//! about a drive often comes when it is gone. So it is remembered who bore a name from when until when.

use crate::clock::Moment;
use crate::reading::DriveKey;
use std::collections::BTreeMap;

/// So many names are remembered; beyond, those of drives that left first are forgotten.
const MOST: usize = 1024;

/// A drive as a round has seen it.
#[derive(Debug, Clone)]
pub struct NamedDrive {
    /// What it is known by.
    pub key: DriveKey,
    /// The kernel's name of its disk.
    pub device: String,
    /// The kernel's number of its appearance; 0 where it does not count.
    pub instance: u64,
    /// All names that mean it: of its disk, its port, its address, its controller.
    pub names: Vec<String>,
}

/// The events of a name: that a drive came or went.
#[derive(Debug, Default)]
pub struct Marks {
    came: BTreeMap<String, Vec<Moment>>,
    went: BTreeMap<String, Moment>,
}

impl Marks {
    /// A drive of this name came.
    pub fn came(&mut self, name: &str, at: Moment) {
        self.came.entry(name.to_owned()).or_default().push(at);
    }

    /// A drive of this name went.
    pub fn went(&mut self, name: &str, at: Moment) {
        let last = self.went.entry(name.to_owned()).or_default();
        *last = at.max(*last);
    }

    /// When whoever bears the name now has begun to, if another did before.
    fn last_change(&self, name: &str) -> Option<Moment> {
        let again = self.came.get(name).filter(|came| came.len() > 1).and_then(|came| came.iter().max());
        self.went.get(name).or(again).copied()
    }
}

/// Who bore which name.
#[derive(Debug, Default)]
pub struct KernelNames {
    bearers: BTreeMap<String, Vec<Bearer>>,
    /// The last round.
    looked: Option<Moment>,
}

#[derive(Debug)]
struct Bearer {
    key: DriveKey,
    device: String,
    instance: u64,
    from: Moment,
    /// Another drive bears the name since; a drive that is gone keeps its name until then.
    until: Option<Moment>,
    /// The last round that saw it.
    seen: Moment,
}

impl KernelNames {
    /// Takes in the drives of a round, and the events of names since the round before.
    pub fn look(&mut self, sights: &[NamedDrive], marks: &Marks, now: Moment) {
        let before = self.looked.replace(now);
        let pairs = || sights.iter().flat_map(|sight| sight.names.iter().map(move |name| (name, sight)));
        let mut new = Vec::new();
        for (name, sight) in pairs() {
            let bearers = self.bearers.entry(name.clone()).or_default();
            match bearers.iter_mut().find(|one| one.device == sight.device && one.instance == sight.instance) {
                Some(bearer) => (bearer.key, bearer.seen, bearer.until) = (sight.key.clone(), now, None),
                None => new.push((name, sight)),
            }
        }
        for (name, sight) in new {
            let bearers = self.bearers.entry(name.clone()).or_default();
            let gone = || bearers.iter().filter(|bearer| bearer.seen < now && bearer.until.is_none());
            // Without a word of it, nobody knows when within that time one took the place of the other.
            let was_there = gone().any(|bearer| Some(bearer.seen) == before);
            let without_event = if was_there { now } else { before.unwrap_or_default() };
            let change = marks.last_change(name);
            let from = change.unwrap_or(without_event);
            for bearer in bearers.iter_mut().filter(|bearer| bearer.seen < now && bearer.until.is_none()) {
                bearer.until = Some(change.unwrap_or(if was_there { bearer.seen } else { from }));
            }
            let NamedDrive { key, device, instance, .. } = sight.clone();
            bearers.push(Bearer { key, device, instance, from, until: None, seen: now });
        }
        self.forget();
    }

    /// Who bore the name then; nobody when none is known, or more than one.
    pub fn who(&self, name: &str, at: Moment) -> Option<&DriveKey> {
        let bore = |bearer: &&Bearer| bearer.from <= at && bearer.until.is_none_or(|until| at < until);
        let mut keys = self.bearers.get(name)?.iter().filter(bore).map(|bearer| &bearer.key);
        let key = keys.next()?;
        keys.all(|other| other == key).then_some(key)
    }

    /// The drive of this appearance of a disk.
    pub fn appearance(&self, device: &str, instance: u64) -> Option<&DriveKey> {
        let mut bearers = self.bearers.get(device)?.iter();
        bearers.find(|bearer| bearer.device == device && bearer.instance == instance).map(|bearer| &bearer.key)
    }

    fn forget(&mut self) {
        while self.bearers.len() > MOST {
            let last_seen = |bearers: &Vec<Bearer>| bearers.iter().map(|bearer| bearer.seen).max();
            let first_left = self.bearers.iter().min_by_key(|(_, bearers)| last_seen(bearers));
            let Some(name) = first_left.map(|(name, _)| name.clone()) else { return };
            self.bearers.remove(&name);
        }
        /// Of one name, so many drives.
        const DRIVES: usize = 8;
        for bearers in self.bearers.values_mut() {
            let surplus = bearers.len().saturating_sub(DRIVES);
            bearers.drain(..surplus);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::time::Duration;

    fn at(seconds: u64) -> Moment {
        Moment::after_boot(Duration::from_secs(seconds))
    }

    fn sight(key: &str, device: &str, instance: u64, others: &[&str]) -> NamedDrive {
        let names = [&[device], others].concat().into_iter().map(str::to_owned).collect();
        NamedDrive { key: DriveKey(key.to_owned()), device: device.to_owned(), instance, names }
    }

    fn who(names: &KernelNames, name: &str, second: u64) -> Option<String> {
        names.who(name, at(second)).map(|key| key.0.clone())
    }

    fn wren(number: u64, device: &str, instance: u64) -> NamedDrive {
        sight(&format!("WREN-{number}"), device, instance, &["ata3"])
    }

    #[test]
    fn a_drive_has_its_names_from_before_it_was_seen_and_after_it_is_gone() {
        let mut names = KernelNames::default();
        names.look(&[wren(1, "sdb", 2)], &Marks::default(), at(100));
        assert_eq!(who(&names, "sdb", 3).as_deref(), Some("WREN-1"), "from the start of the machine");
        names.look(&[], &Marks::default(), at(102));
        assert_eq!(who(&names, "ata3", 103).as_deref(), Some("WREN-1"));
        assert_eq!(who(&names, "ata4", 103), None);
        assert_eq!(names.appearance("sdb", 2).map(|key| &*key.0), Some("WREN-1"));
        assert_eq!(names.appearance("sdb", 3), None);
    }

    #[test]
    fn a_name_that_another_drive_takes_later_means_each_in_its_time() {
        let mut names = KernelNames::default();
        names.look(&[wren(1, "sdb", 2)], &Marks::default(), at(100));
        names.look(&[], &Marks::default(), at(102));
        names.look(&[], &Marks::default(), at(104));
        names.look(&[wren(2, "sdb", 3)], &Marks::default(), at(106));
        for (second, wanted) in [(101, "WREN-1"), (103, "WREN-1"), (104, "WREN-2"), (107, "WREN-2")] {
            assert_eq!(who(&names, "sdb", second).as_deref(), Some(wanted), "at {second} s");
        }
        assert_eq!(names.appearance("sdb", 2).map(|key| &*key.0), Some("WREN-1"));
    }

    #[test]
    fn between_two_rounds_the_moment_heard_parts_them_and_without_one_nobody_is_meant() {
        let swapped = |marks: &Marks| {
            let mut names = KernelNames::default();
            names.look(&[wren(1, "sdb", 2)], &Marks::default(), at(100));
            names.look(&[wren(2, "sdb", 3)], marks, at(110));
            [100, 104, 106, 110].map(|second| who(&names, "sdb", second).map_or("-".into(), |key| key[5..].to_owned()))
        };
        let mut marks = Marks::default();
        assert_eq!(swapped(&marks), ["-", "-", "-", "2"], "the last sight of the first is its end");
        marks.went("sdb", at(105));
        assert_eq!(swapped(&marks), ["1", "1", "2", "2"]);
    }

    /// At the start the log of the boot is read, and may tell of drives that bore a name before.
    #[test]
    fn what_was_before_the_first_round_may_be_about_another_drive() {
        let began = |marks: &Marks| {
            let mut names = KernelNames::default();
            names.look(&[wren(2, "sdb", 7)], marks, at(1_000));
            [10, 400, 600].map(|second| who(&names, "sdb", second).is_some())
        };
        let mut marks = Marks::default();
        marks.came("sdb", at(5));
        assert_eq!(began(&marks), [true; 3], "it came once, and that was this one");
        marks.came("sdb", at(500));
        assert_eq!(began(&marks), [false, false, true]);
        marks.went("sdb", at(300));
        assert_eq!(began(&marks), [false, true, true]);
    }

    #[test]
    fn two_drives_on_one_port_are_told_apart_or_not_named() {
        let mut names = KernelNames::default();
        let both = [sight("WREN-1", "sda", 1, &["ata3", "ata3.0"]), sight("WREN-2", "sdb", 2, &["ata3", "ata3.1"])];
        names.look(&both, &Marks::default(), at(10));
        assert_eq!(who(&names, "ata3", 11), None);
        assert_eq!(who(&names, "ata3.1", 11).as_deref(), Some("WREN-2"));
        names.look(&both[..1], &Marks::default(), at(12));
        assert_eq!(who(&names, "ata3", 13), None, "the other is gone, and may be the one that is meant");
    }

    #[test]
    fn names_are_not_remembered_without_end() {
        let mut names = KernelNames::default();
        let stays = sight("WREN-1", "sda", 1, &[]);
        for number in 0..3_000 {
            let comes = sight("NEST-1", "sdb", number + 2, &[&format!("host{number}")]);
            names.look(&[stays.clone(), comes], &Marks::default(), at(number));
        }
        assert!(names.bearers.len() <= MOST, "{}", names.bearers.len());
        assert_eq!(who(&names, "sda", 3_000).as_deref(), Some("WREN-1"));
        assert_eq!(who(&names, "host2999", 3_000).as_deref(), Some("NEST-1"));
    }
}
