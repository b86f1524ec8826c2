//! How likely a rebuild meets a sector that cannot be read, by the error rates that makers state, with the arithmetic
//! and with what is taken for granted.

use serde::{Deserialize, Serialize};
use traylight_data::reading::DriveKind;
use traylight_data::units::Bytes;

/// What a drive is sold as, which decides the error rate that its data sheet states: unrecoverable read errors per bits
/// read, worded as "fewer than 1 in". The rates are those usual for the class (data sheets; from memory).
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum DriveClass {
    /// Turning disks for desktops and portable cases: 1 in 10^14.
    DesktopDisk,
    /// Turning disks for shelves and servers: 1 in 10^15.
    ServerDisk,
    /// Flash for desktops: 1 in 10^16.
    DesktopFlash,
    /// Flash for servers: 1 in 10^17.
    ServerFlash,
}

impl DriveClass {
    /// The class to take a drive for when nobody says: the worse one of its kind.
    pub fn assumed(kind: DriveKind) -> Self {
        match kind {
            DriveKind::Hdd | DriveKind::Unknown => Self::DesktopDisk,
            DriveKind::Ssd => Self::DesktopFlash,
        }
    }

    /// How many bits are read for one error.
    pub fn bits_per_error(self) -> f64 {
        match self {
            Self::DesktopDisk => 1e14,
            Self::ServerDisk => 1e15,
            Self::DesktopFlash => 1e16,
            Self::ServerFlash => 1e17,
        }
    }
}

/// What must be read from one of the members that remain.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Read {
    /// How much.
    pub bytes: Bytes,
    /// From what.
    pub class: DriveClass,
    /// True when nobody said so, and the class follows from the kind of drive.
    #[serde(default)]
    pub is_guess: bool,
}

impl Read {
    /// Of a drive of which no more is known than its kind.
    pub fn guess(bytes: Bytes, kind: DriveKind) -> Self {
        Self { bytes, class: DriveClass::assumed(kind), is_guess: true }
    }
}

/// What the chance takes for granted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
pub enum Assumption {
    /// Each drive errs as often as the data sheet of its class allows at most; most err less.
    WorstByDataSheet,
    /// Errors come one by one, each bit for itself; in truth they cluster, which makes fewer rebuilds meet any.
    ErrorsAreIndependent,
    /// It is about sectors, not about lost data: where parity or a copy remains, the pool reads it from there.
    NothingSparesTheData,
    /// The class of a drive was guessed from its kind.
    ClassByKind,
}

/// How likely a sector cannot be read on the way.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Risk {
    /// The chance of at least one, 0 to 1: `1 - (1 - rate)^bits` over all that is read.
    pub chance: f64,
    /// How many are to be expected: the sum of `rate * bits`.
    pub expected: f64,
    /// What must be read.
    pub reads: Vec<Read>,
    /// What this takes for granted.
    pub assumptions: Vec<Assumption>,
}

impl Risk {
    /// The risk of reading all of this.
    pub fn of(reads: Vec<Read>) -> Self {
        let bits = |read: &Read| 8.0 * read.bytes.0 as f64;
        // The logarithm of the chance that all goes well: small chances would drown in 1 - (1 - rate)^bits.
        let all_well: f64 = reads.iter().map(|read| bits(read) * (-1.0 / read.class.bits_per_error()).ln_1p()).sum();
        let mut assumptions =
            vec![Assumption::WorstByDataSheet, Assumption::ErrorsAreIndependent, Assumption::NothingSparesTheData];
        if reads.iter().any(|read| read.is_guess) {
            assumptions.push(Assumption::ClassByKind);
        }
        Self {
            // Not `-`, which would make a chance of minus zero.
            chance: 0.0 - all_well.exp_m1(),
            expected: reads.iter().map(|read| bits(read) / read.class.bits_per_error()).sum(),
            reads,
            assumptions,
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use proptest::prelude::*;

    const TB: u64 = 1_000_000_000_000;
    const CLASSES: [DriveClass; 4] =
        [DriveClass::DesktopDisk, DriveClass::ServerDisk, DriveClass::DesktopFlash, DriveClass::ServerFlash];

    /// Made by `tests/outside/rebuild.py` with mpmath at 60 digits.
    const REFERENCE: &str = include_str!("../../../../../tests/outside/rebuild.json");

    #[derive(Deserialize)]
    struct Reference {
        made_with: String,
        risks: Vec<Set>,
    }

    #[derive(Deserialize)]
    struct Set {
        reads: Vec<Read>,
        chance: f64,
    }

    fn chance(members: u64, bytes: u64, class: DriveClass) -> f64 {
        Risk::of((0..members).map(|_| Read { bytes: Bytes(bytes), class, is_guess: false }).collect()).chance
    }

    #[test]
    fn chances_are_those_of_arithmetic_with_sixty_digits() {
        let reference: Reference = serde_json::from_str(REFERENCE).expect("the reference is JSON");
        assert!(reference.made_with.contains("mpmath 1."), "{}", reference.made_with);
        assert_eq!(reference.risks.len(), 12);
        for set in reference.risks {
            let found = Risk::of(set.reads.clone()).chance;
            assert!((found - set.chance).abs() <= 1e-13 * set.chance, "{:?}: {found}, {}", set.reads, set.chance);
        }
    }

    /// Worked by hand with 1 - e^(-8 bytes / bits per error): what is left of a RAID 5 of 3 x 4, 4 x 8 and 6 x 12 TB.
    #[test]
    fn three_rebuilds_of_raid5_come_out_as_by_hand() {
        let percent = |members, tb, class| (1000.0 * chance(members, tb * TB, class)).round() / 10.0;
        let both =
            |members, tb| [DriveClass::DesktopDisk, DriveClass::ServerDisk].map(|class| percent(members, tb, class));
        assert_eq!(both(2, 4), [47.3, 6.2]);
        assert_eq!(both(3, 8), [85.3, 17.5]);
        assert_eq!(both(5, 12), [99.2, 38.1]);
        let risk = Risk::of(vec![Read::guess(Bytes(8 * TB), DriveKind::Hdd); 3]);
        assert!((risk.expected - 1.92).abs() < 1e-12, "{}", risk.expected);
        assert!(risk.assumptions.contains(&Assumption::ClassByKind));
    }

    #[test]
    fn nothing_to_read_is_no_risk() {
        assert_eq!((Risk::of(Vec::new()).chance, Risk::of(Vec::new()).expected), (0.0, 0.0));
        assert_eq!(chance(3, 0, DriveClass::DesktopDisk), 0.0);
    }

    #[test]
    fn a_drive_of_which_nobody_knows_the_class_is_taken_for_the_worse_one() {
        for (kind, worst) in [
            (DriveKind::Hdd, DriveClass::DesktopDisk),
            (DriveKind::Unknown, DriveClass::DesktopDisk),
            (DriveKind::Ssd, DriveClass::DesktopFlash),
        ] {
            assert_eq!(DriveClass::assumed(kind), worst);
        }
    }

    proptest! {
        #[test]
        fn the_chance_is_a_chance_and_grows_with_what_is_read(
            reads in prop::collection::vec((any::<u64>(), 0..4_usize), 0..20), more: u64, class in 0..4_usize,
        ) {
            let read = |(bytes, class): (u64, usize)| Read { bytes: Bytes(bytes), class: CLASSES[class], is_guess: false };
            let mut reads: Vec<Read> = reads.into_iter().map(read).collect();
            let before = Risk::of(reads.clone());
            reads.push(read((more, class)));
            let after = Risk::of(reads.clone());
            prop_assert!((0.0..=1.0).contains(&before.chance) && before.chance <= after.chance);
            prop_assert!(after.chance <= after.expected, "one or more is never likelier than their number");
            // A better class of drive cannot be worse.
            reads.iter_mut().for_each(|read| read.class = DriveClass::ServerFlash);
            prop_assert!(Risk::of(reads).chance <= after.chance);
        }
    }
}
