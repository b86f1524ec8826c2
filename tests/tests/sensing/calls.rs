//! Which files the probe waits on. That the kernel ends the wait is seen in the virtual machine: a tree of files calls
//! nobody.

use std::path::Path;
use traylight::sense::host::Host;
use traylight::sense::pools::md::files_that_tell;
use traylight_tests::pretend_box::PretendBox;

fn told_by(heron: &PretendBox) -> Vec<String> {
    let inside = |path: &Path| format!("/{}", path.strip_prefix(heron.root()).unwrap().display());
    files_that_tell(&Host::at(heron.root())).iter().map(|path| inside(path)).collect()
}

/// A stock kernel 6.12 with md was seen to call by these and no others of its files: `degraded` alone missed the second
/// failure of a RAID 5.
#[test]
fn an_array_tells_by_its_members_its_lack_its_work_and_the_table() {
    let heron = PretendBox::new();
    heron.sata_drive("sda", 1, "WREN-0001", "Warbler 4T").sata_drive("sdb", 2, "WREN-0002", "Warbler 4T");
    assert_eq!(told_by(&heron), [""; 0], "without arrays nothing tells of them");

    heron.md("md0", "raid1", &["sda", "sdb"]).write("/proc/mdstat", "Personalities : [raid1]\n");
    let wanted = ["dev-sda/state", "dev-sdb/state", "degraded", "sync_action"];
    let wanted: Vec<String> = wanted.iter().map(|file| format!("/sys/block/md0/md/{file}")).collect();
    assert_eq!(told_by(&heron), [wanted, vec!["/proc/mdstat".to_owned()]].concat());
}

#[test]
fn an_array_that_can_lose_nothing_has_no_files_for_its_lack_and_its_work() {
    let heron = PretendBox::new();
    heron.sata_drive("sda", 1, "WREN-0001", "Warbler 4T").md("md127", "raid0", &["sda"]);
    assert_eq!(told_by(&heron), ["/sys/block/md127/md/dev-sda/state"]);
}
