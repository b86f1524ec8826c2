//! What drives and their partitions serve for: a drive that serves for anything may not be taken out.

use super::{drive, heron, rounds};
use traylight::reading::{DriveUse, UsedBy};
use traylight_tests::pretend_box::PretendBox;

fn uses(heron: &PretendBox, device: &str) -> Vec<(String, UsedBy)> {
    let uses = drive(&rounds(heron).round(), device).uses.value.clone().unwrap();
    uses.into_iter().map(|DriveUse { block, by }| (block, by)).collect()
}

/// A box whose first drive has three partitions besides.
fn parted() -> PretendBox {
    let heron = heron();
    for number in 1..=3 {
        let name = format!("sda{number}");
        heron.partition("sda", &name);
        heron.write(&format!("{}/{name}/dev", heron.real("/sys/block/sda")), &format!("8:{number}\n"));
    }
    heron
}

#[test]
fn holders_mounts_and_swap_are_found_on_each_partition() {
    let heron = parted();
    let disk = heron.real("/sys/block/sda");
    heron
        .write(&format!("{disk}/sda1/holders/md0/uevent"), "")
        .write(
            "/proc/self/mountinfo",
            "27 1 8:2 / / rw,relatime shared:1 - ext4 /dev/root rw\n\
             28 27 0:45 / /srv/songs rw - btrfs /dev/sda1 rw,subvolid=5\n\
             29 27 8:20 / /srv/other rw - ext4 /dev/sdb4 rw\n",
        )
        .write("/proc/swaps", "Filename\tType\tSize\tUsed\tPriority\n/dev/sda3  partition\t1048572\t0\t-2\n");
    let wanted = [
        ("sda1", UsedBy::Holder("md0".into())),
        ("sda1", UsedBy::Mount("/srv/songs".into())),
        ("sda2", UsedBy::Mount("/".into())),
        ("sda3", UsedBy::Swap),
    ];
    assert_eq!(uses(&heron, "sda"), wanted.map(|(block, by)| (block.to_owned(), by)));
    assert_eq!(uses(&heron, "sdb"), [], "a name that begins alike is another drive");
}

#[test]
fn a_box_without_swap_has_none_and_one_whose_mounts_cannot_be_read_does_not_know() {
    let heron = parted();
    assert_eq!(uses(&heron, "sda"), []);
    heron.remove("/proc/self/mountinfo");
    let snapshot = rounds(&heron).round();
    assert!(drive(&snapshot, "sda").uses.missing().is_some(), "{:?}", drive(&snapshot, "sda").uses);
}
