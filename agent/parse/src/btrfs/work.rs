//! What a btrfs file system does besides serving its files, and how far it has come.

use super::files::Operation;
use super::members::{MountedDevice, MountedFileSystem};
use super::profiles::Allocation;

/// What a file system does besides its work.
#[derive(Debug, Clone, Copy, PartialEq)]
pub struct BtrfsWork {
    /// What runs.
    pub kind: BtrfsWorkKind,
    /// How far it has come, 0 to 1, when that is known.
    pub done: Option<f64>,
}

/// Kinds of work.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum BtrfsWorkKind {
    /// All that is held is read and compared with its checksums.
    Scrub,
    /// Something that is done alone; [`Operation::None`] is nothing at all.
    Operation(Operation),
}

/// What runs. What is done alone comes first: a scrub may run beside a balance.
pub fn work(operation: Operation, allocations: &[Allocation], told: Option<&MountedFileSystem>) -> BtrfsWork {
    let devices = told.map_or(&[][..], |told| &told.devices);
    match operation {
        Operation::None => scrub(allocations, devices),
        Operation::Balance | Operation::BalancePaused => {
            let told = told.and_then(|told| told.balance.as_ref().ok().copied().flatten());
            BtrfsWork {
                kind: BtrfsWorkKind::Operation(operation),
                done: told.and_then(|(done, all)| share(done as f64, all as f64)),
            }
        }
        // The kernel carries a replacement out as a scrub of the device that goes.
        Operation::DeviceReplace => {
            BtrfsWork { kind: BtrfsWorkKind::Operation(operation), ..scrub(allocations, devices) }
        }
        other => BtrfsWork { kind: BtrfsWorkKind::Operation(other), done: None },
    }
}

/// Devices are checked beside each other; the slowest says when all is done.
fn scrub(allocations: &[Allocation], devices: &[MountedDevice]) -> BtrfsWork {
    let sum = |of: fn(&Allocation) -> u64| allocations.iter().map(|one| of(one) as f64).sum::<f64>();
    let filled = sum(|one| one.disk_used) / sum(|one| one.disk_total);
    // A scrub reads what a device's chunks hold: their size there, by the share of all chunks that is filled.
    let done = |device: &MountedDevice| {
        let scrubbed = device.scrubbed.as_ref().ok().copied().flatten()?;
        Some(share(scrubbed as f64, device.allocated.0 as f64 * filled))
    };
    let each: Vec<Option<f64>> = devices.iter().filter_map(done).collect();
    if each.is_empty() {
        return BtrfsWork { kind: BtrfsWorkKind::Operation(Operation::None), done: None };
    }
    let all_known = each.into_iter().collect::<Option<Vec<f64>>>();
    BtrfsWork { kind: BtrfsWorkKind::Scrub, done: all_known.and_then(|each| each.into_iter().reduce(f64::min)) }
}

/// `None` when it cannot be true.
fn share(done: f64, all: f64) -> Option<f64> {
    let share = done / all;
    (0.0..=1.0).contains(&share).then_some(share)
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::btrfs::profiles::Content;
    use proptest::prelude::*;
    use traylight_data::reading::{Missing, Reason};
    use traylight_data::units::Bytes;

    /// A mirror on two drives: what a stock kernel 6.12 said of its chunks when a scrub had read 105119744 bytes of each.
    const USED: u64 = 210_239_488;
    const TOTAL: u64 = 679_477_248;
    const ALLOCATED: u64 = 339_738_624;
    const SCRUBBED: u64 = 105_119_744;

    fn at_work(operation: Operation, told: &MountedFileSystem) -> BtrfsWork {
        at_work_on(operation, told, USED, TOTAL)
    }

    fn at_work_on(operation: Operation, told: &MountedFileSystem, disk_used: u64, disk_total: u64) -> BtrfsWork {
        let content = Content::Data;
        work(
            operation,
            &[Allocation { content, total: 0, used: 0, disk_total, disk_used, profiles: vec![] }],
            Some(told),
        )
    }

    fn told(scrubbed: &[Result<Option<u64>, Missing>], balance: Option<(u64, u64)>) -> MountedFileSystem {
        let device = |(at, scrubbed): (usize, &Result<Option<u64>, Missing>)| MountedDevice {
            id: at as u64 + 1,
            block: None,
            size: Bytes(734_003_200),
            allocated: Bytes(ALLOCATED),
            errors: Err(Missing::of(Reason::NotRead)),
            scrubbed: scrubbed.clone(),
        };
        let devices: Vec<MountedDevice> = scrubbed.iter().enumerate().map(device).collect();
        MountedFileSystem {
            uuid: String::new(),
            wanted: devices.len() as u64,
            devices,
            balance: Ok(balance),
            checked: None,
        }
    }

    #[test]
    fn the_slowest_device_says_how_far_a_scrub_is() {
        let scrub = |done| BtrfsWork { kind: BtrfsWorkKind::Scrub, done };
        let both = |one, other| at_work(Operation::None, &told(&[Ok(Some(one)), Ok(Some(other))], None));
        assert_eq!(both(SCRUBBED, SCRUBBED), scrub(Some(1.0)));
        assert_eq!(both(SCRUBBED, SCRUBBED / 4), scrub(Some(0.25)));
        assert_eq!(both(0, 0), scrub(Some(0.0)));
        assert_eq!(both(0, u64::MAX), scrub(None));
        // The other device is through, and no scrub runs there any more.
        assert_eq!(at_work(Operation::None, &told(&[Ok(None), Ok(Some(SCRUBBED / 2))], None)), scrub(Some(0.5)));
    }

    #[test]
    fn nothing_runs_or_nobody_may_know() {
        let nothing = BtrfsWork { kind: BtrfsWorkKind::Operation(Operation::None), done: None };
        let refused = Err(Missing::of(Reason::Refused));
        assert_eq!(at_work(Operation::None, &told(&[Ok(None), refused], None)), nothing);
        assert_eq!(work(Operation::None, &[], None), nothing);
    }

    #[test]
    fn a_balance_counts_its_chunks_and_comes_before_a_scrub() {
        let balance = |done| BtrfsWork { kind: BtrfsWorkKind::Operation(Operation::Balance), done };
        let counted = |chunks| at_work(Operation::Balance, &told(&[Ok(Some(1))], chunks));
        assert_eq!(counted(Some((3, 12))), balance(Some(0.25)));
        for odd in [None, Some((13, 12)), Some((0, 0)), Some((u64::MAX, 0))] {
            assert_eq!(counted(odd), balance(None), "{odd:?}");
        }
        let remove = BtrfsWork { kind: BtrfsWorkKind::Operation(Operation::DeviceRemove), done: None };
        assert_eq!(at_work(Operation::DeviceRemove, &told(&[Ok(Some(1))], Some((3, 12)))), remove);
    }

    /// As seen on a stock kernel 6.1: the device that goes has a scrub under way, the others have none.
    #[test]
    fn a_replacement_is_as_far_as_the_scrub_of_the_device_that_goes() {
        let replace = BtrfsWork { kind: BtrfsWorkKind::Operation(Operation::DeviceReplace), done: Some(0.25) };
        assert_eq!(at_work(Operation::DeviceReplace, &told(&[Ok(None), Ok(Some(SCRUBBED / 4))], None)), replace);
    }

    proptest! {
        #[test]
        fn any_counts_are_a_share_or_none(counts in any::<[u64; 5]>()) {
            let [scrubbed, moved, all, used, total] = counts;
            let told = told(&[Ok(Some(scrubbed))], Some((moved, all)));
            for operation in [Operation::None, Operation::Balance] {
                let done = at_work_on(operation, &told, used, total).done;
                prop_assert!(done.is_none_or(|done| (0.0..=1.0).contains(&done)));
            }
        }
    }
}
