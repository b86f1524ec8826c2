//! A pretend box: a small `/sys`, `/proc` and `/run/udev` in a temporary folder, with the folders and the relative links
//! that the kernel makes (Documentation/admin-guide/sysfs-rules.rst; the files of md are as a stock kernel 6.12 showed
//! them). It can lose drives, and be written to at will. Not its job: to answer anything; only files are here.
//!
//! Every step changes the tree at once and answers the box again, so that steps can be chained.

#![allow(clippy::expect_used, clippy::panic, reason = "a story without its box may stop at once")]
#![allow(clippy::disallowed_methods, reason = "making files is this module's job")]

use crate::pretend_controllers::SATA;
use crate::pretend_sensors::I2C;
use std::cell::Cell;
use std::fs;
use std::os::unix::fs::{PermissionsExt, symlink};
use std::path::{Component, Path, PathBuf};

/// The hub that USB drives hang on.
const HUB: &str = "/sys/devices/pci0000:00/0000:00:14.0/usb2/2-2";
/// One terabyte in sectors, the size of every drive.
const SECTORS: u64 = 1_953_525_168;

/// The box. Its tree is removed when it goes.
pub struct PretendBox {
    folder: tempfile::TempDir,
    /// Counts chips, ports and appearances of drives, as the kernel does.
    counted: Cell<u64>,
}

impl Default for PretendBox {
    fn default() -> Self {
        Self::new()
    }
}

impl PretendBox {
    /// The box `heron` without drives, chips and ports, with `/` mounted.
    pub fn new() -> Self {
        let folder = tempfile::tempdir().expect("there is room for a temporary folder");
        // Whoever reads the real /sys need not be its owner.
        fs::set_permissions(folder.path(), fs::Permissions::from_mode(0o755)).expect("the folder is ours");
        let heron = Self { folder, counted: Cell::new(0) };
        for folder in ["/sys/block", "/sys/class/net", "/sys/class/hwmon", "/sys/class/ata_port", "/run/udev/data"] {
            heron.folder_at(folder);
        }
        heron
            .write("/proc/sys/kernel/hostname", "heron\n")
            .write("/proc/sys/kernel/osrelease", "6.12.48+deb13-amd64\n")
            .write("/proc/sys/kernel/random/boot_id", "3f8f9dd2-62e8-4d3a-9c0b-3a6b8a0a1f11\n")
            .write("/sys/devices/virtual/dmi/id/board_name", "REED-4\n")
            .link("/sys/class/dmi/id", "/sys/devices/virtual/dmi/id")
            .write("/proc/self/mountinfo", "27 1 254:0 / / rw,relatime shared:1 - ext4 /dev/vda1 rw,discard\n");
        heron
    }

    /// The folder that stands for `/`.
    pub fn root(&self) -> &Path {
        self.folder.path()
    }

    /// Where a path of the box lies on this machine.
    pub fn path(&self, absolute: &str) -> PathBuf {
        self.root().join(absolute.trim_start_matches('/'))
    }

    /// A turning disk on a port of the SATA controller, from 1, with its `drivetemp` chip.
    pub fn sata_drive(&self, device: &str, port: u64, serial: &str, model: &str) -> &Self {
        let host = port - 1;
        let scsi = format!("{SATA}/ata{port}/host{host}/target{host}:0:0/{host}:0:0:0");
        let ata_port = format!("{SATA}/ata{port}/ata_port/ata{port}");
        if !self.path(&ata_port).exists() {
            self.write(&format!("{ata_port}/port_no"), &format!("{port}\n"))
                .write(&format!("{ata_port}/nr_pmp_links"), "0\n")
                .link(&format!("/sys/class/ata_port/ata{port}"), &ata_port);
        }
        self.write(&format!("/sys/class/ata_link/link{port}/sata_spd"), "6.0 Gbps\n");
        self.scsi_device(&scsi, device, serial, model).write(&format!("{scsi}/wwid"), &wwid(serial));
        self.thermometer(&format!("{scsi}/hwmon"), "drivetemp", &scsi)
    }

    /// A drive behind a USB bridge at a port chain such as `2-2.1`: the bridge passes no temperature on.
    pub fn usb_drive(&self, device: &str, chain: &str, serial: &str, model: &str) -> &Self {
        let host = 40 + self.next();
        let scsi = format!("{HUB}/{chain}/{chain}:1.0/host{host}/target{host}:0:0/{host}:0:0:0");
        self.scsi_device(&scsi, device, serial, model)
    }

    /// An NVMe disk behind a root port. Its kernel name is `nvmeNn1`, where N is the number of its controller.
    pub fn nvme(&self, device: &str, serial: &str, model: &str) -> &Self {
        let controller = device.strip_suffix("n1").expect("an NVMe disk of the pretend box is named nvmeNn1");
        let number = controller.trim_start_matches("nvme");
        let folder = format!("/sys/devices/pci0000:00/0000:00:1d.{number}/0000:0{number}:00.0/nvme/{controller}");
        let block = format!("{folder}/{device}");
        self.block_device(&block, device, false)
            .write(&format!("{block}/wwid"), "eui.0025388b91b3c5a1\n")
            .link(&format!("{block}/device"), &folder)
            .write(&format!("{folder}/serial"), &format!("{serial:<20}\n"))
            .write(&format!("{folder}/model"), &format!("{model:<40}\n"))
            .write(&format!("{folder}/power/runtime_status"), "active\n");
        // The class folder is left out where the parent has a class itself.
        self.thermometer(&folder, "nvme", &folder)
    }

    /// What the drive's thermometer says from now on.
    pub fn temperature(&self, device: &str, celsius: f64) -> &Self {
        self.write(&self.thermometer_of(device), &format!("{}\n", (celsius * 1000.0).round()))
    }

    /// The file of the drive's thermometer, as a path of the box.
    pub fn thermometer_of(&self, device: &str) -> String {
        let named = |below: &str| {
            let found = fs::read_dir(self.path(below)).ok()?.flatten().map(|entry| entry.file_name());
            found.filter_map(|name| name.into_string().ok()).find(|name| name.starts_with("hwmon") && name != "hwmon")
        };
        let below = [format!("/sys/block/{device}/device/hwmon"), format!("/sys/block/{device}/device")];
        let chip = below.iter().find_map(|below| Some(format!("{below}/{}", named(below)?)));
        format!("{}/temp1_input", chip.unwrap_or_else(|| panic!("{device} has no thermometer")))
    }

    /// Reads a mebibyte from the drive and writes two, as far as its counters tell.
    pub fn use_drive(&self, device: &str) -> &Self {
        let file = format!("/sys/block/{device}/stat");
        let text = fs::read_to_string(self.path(&file)).expect("the drive has counters");
        let mut columns: Vec<u64> = text.split_whitespace().map(|word| word.parse().expect("a counter")).collect();
        for (column, more) in [(0, 8), (2, 2048), (4, 16), (6, 4096)] {
            columns[column] += more;
        }
        let line: String = columns.iter().map(|count| format!("{count:>8} ")).collect();
        self.write(&file, &format!("{}\n", line.trim_end()))
    }

    /// Takes the drive away as the kernel does: its device and links are gone. What md knows of it stays as it is, and
    /// only the link below `dev-…` leads nowhere any more.
    pub fn remove_drive(&self, device: &str) -> &Self {
        let link = self.path(&format!("/sys/block/{device}"));
        let block = link.canonicalize().expect("the drive is there");
        let number = fs::read_to_string(block.join("dev")).expect("the drive has a number");
        // A SCSI disk goes with its `H:C:T:L` folder, an NVMe disk with its controller.
        let above = if block.parent().is_some_and(|parent| parent.ends_with("block")) { 2 } else { 1 };
        let gone = block.ancestors().nth(above).expect("the drive is below its device").to_owned();
        fs::remove_file(&link).expect("the link is ours");
        fs::remove_dir_all(gone).expect("the device is ours");
        let _ = fs::remove_file(self.path(&format!("/run/udev/data/b{}", number.trim())));
        let chips = fs::read_dir(self.path("/sys/class/hwmon")).expect("the folder of chips is there");
        for chip in chips.flatten().filter(|chip| !chip.path().exists()) {
            fs::remove_file(chip.path()).expect("the link is ours");
        }
        self
    }

    /// What udev knows of the drive, as `KEY=VALUE` lines.
    pub fn udev(&self, device: &str, properties: &[&str]) -> &Self {
        let number =
            fs::read_to_string(self.path(&format!("/sys/block/{device}/dev"))).expect("the drive has a number");
        let entry: String = properties.iter().map(|property| format!("E:{property}\n")).collect();
        self.write(&format!("/run/udev/data/b{}", number.trim()), &format!("I:1830211\n{entry}V:1\n"))
    }

    /// An md array over whole drives, all in sync.
    pub fn md(&self, name: &str, level: &str, members: &[&str]) -> &Self {
        let block = format!("/sys/devices/virtual/block/{name}");
        let number = name.trim_start_matches("md");
        let uuid = format!("5a1c0de5:00000000:00000000:0000{number:0>4}\n");
        let md = |file: &str, text: &str| {
            self.write(&format!("{block}/md/{file}"), text);
        };
        self.write(&format!("{block}/dev"), &format!("9:{number}\n"))
            .write(&format!("{block}/size"), &format!("{SECTORS}\n"))
            .write(&format!("{block}/removable"), "0\n")
            .link(&format!("/sys/block/{name}"), &block);
        md("array_state", "clean\n");
        md("level", &format!("{level}\n"));
        md("raid_disks", &format!("{}\n", members.len()));
        md("metadata_version", "1.2\n");
        md("uuid", &uuid);
        md("component_size", &format!("{}\n", SECTORS / 2));
        if level != "raid0" && level != "linear" {
            md("degraded", "0\n");
            md("sync_action", "idle\n");
            md("sync_completed", "none\n");
            md("sync_speed", "none\n");
            md("mismatch_cnt", "0\n");
        }
        for (slot, device) in members.iter().enumerate() {
            self.md_member(name, device, &slot.to_string(), "in_sync");
            self.link(&format!("{block}/md/rd{slot}"), &format!("{block}/md/dev-{device}"));
        }
        self
    }

    /// Adds a drive to an md array, in a slot or with `none` as a spare, with the kernel's words for its state.
    pub fn md_member(&self, name: &str, device: &str, slot: &str, state: &str) -> &Self {
        let member = format!("/sys/devices/virtual/block/{name}/md/dev-{device}");
        let drive = self.real(&format!("/sys/block/{device}"));
        self.write(&format!("{member}/slot"), &format!("{slot}\n"))
            .write(&format!("{member}/state"), &format!("{state}\n"))
            .write(&format!("{member}/errors"), "0\n")
            .write(&format!("{member}/size"), &format!("{}\n", SECTORS / 2))
            .link(&format!("{member}/block"), &drive)
    }

    /// md has let go of a member of `md0`, whose drive may be gone.
    pub fn md_member_is_faulty(&self, device: &str) -> &Self {
        let md = "/sys/devices/virtual/block/md0/md";
        let file = self.path(&format!("{md}/degraded"));
        let degraded: u32 = fs::read_to_string(file).expect("md0 is redundant").trim().parse().expect("a number");
        self.write(&format!("{md}/dev-{device}/state"), "faulty\n")
            .write(&format!("{md}/dev-{device}/slot"), "none\n")
            .write(&format!("{md}/degraded"), &format!("{}\n", degraded + 1))
    }

    /// The drive has work from now on, and finishes none of it.
    pub fn stalled(&self, device: &str) -> &Self {
        self.write(&format!("/sys/block/{device}/inflight"), "       1        0\n")
    }

    /// A memory card or flash on the board, with its type, whose number is that of a mounted file system.
    pub fn card(&self, device: &str, kind: &str, number: &str) -> &Self {
        let card = "/sys/devices/platform/fe340000.mmc/mmc_host/mmc0/mmc0:0001";
        let block = format!("{card}/block/{device}");
        self.block_device(&block, device, false)
            .write(&format!("{card}/type"), &format!("{kind}\n"))
            .link(&format!("{block}/device"), card)
            .link(&format!("/sys/dev/block/{number}"), &block)
    }

    /// The folder of a fan chip, as a path of the box.
    pub fn chip_folder(&self, address: &str) -> String {
        let below = format!("{I2C}/{address}/hwmon");
        let mut found = fs::read_dir(self.path(&below)).expect("the chip is there").flatten();
        let name = found.next().expect("the chip has a folder").file_name();
        format!("{below}/{}", name.to_string_lossy())
    }

    /// A file with this text, links on the way followed.
    pub fn write(&self, absolute: &str, text: &str) -> &Self {
        self.write_raw(absolute, text.as_bytes())
    }

    /// A file with these bytes, which need not make sense.
    pub fn write_raw(&self, absolute: &str, bytes: &[u8]) -> &Self {
        let path = self.path(absolute);
        fs::create_dir_all(path.parent().expect("a file is in a folder")).expect("the folder can be made");
        fs::write(&path, bytes).unwrap_or_else(|error| panic!("{absolute}: {error}"));
        self
    }

    /// Nothing there any more, neither file nor folder nor link.
    pub fn remove(&self, absolute: &str) -> &Self {
        let path = self.path(absolute);
        let is_folder = path.symlink_metadata().is_ok_and(|found| found.is_dir());
        let removed = if is_folder { fs::remove_dir_all(&path) } else { fs::remove_file(&path) };
        removed.unwrap_or_else(|error| panic!("{absolute}: {error}"));
        self
    }

    /// A relative link at one path of the box to another, as sysfs makes them.
    pub fn link(&self, at: &str, to: &str) -> &Self {
        let path = self.path(at);
        fs::create_dir_all(path.parent().expect("a link is in a folder")).expect("the folder can be made");
        symlink(relative(Path::new(at), Path::new(to)), &path).unwrap_or_else(|error| panic!("{at}: {error}"));
        self
    }

    fn scsi_device(&self, scsi: &str, device: &str, serial: &str, model: &str) -> &Self {
        let block = format!("{scsi}/block/{device}");
        // A vital product data page: peripheral, page code 80h, two bytes of length, the text (SPC-4, 7.8.13).
        let length = u8::try_from(serial.len()).expect("a serial is short");
        let page = [&[0, 0x80, 0, length], serial.as_bytes()].concat();
        self.block_device(&block, device, true)
            .link(&format!("{block}/device"), scsi)
            .write(&format!("{scsi}/vendor"), "ATA     \n")
            .write(&format!("{scsi}/model"), &format!("{model:<16.16}\n"))
            .write(&format!("{scsi}/state"), "running\n")
            .write(&format!("{scsi}/iotmo_cnt"), "0x0\n")
            .write(&format!("{scsi}/timeout"), "30\n")
            .write(&format!("{scsi}/power/runtime_status"), "active\n")
            .write_raw(&format!("{scsi}/vpd_pg80"), &page)
    }

    fn block_device(&self, block: &str, device: &str, rotational: bool) -> &Self {
        let sequence = self.next();
        self.write(&format!("{block}/dev"), &format!("8:{}\n", sequence * 16))
            .write(&format!("{block}/size"), &format!("{SECTORS}\n"))
            .write(&format!("{block}/removable"), "0\n")
            .write(&format!("{block}/diskseq"), &format!("{sequence}\n"))
            .write(&format!("{block}/queue/rotational"), if rotational { "1\n" } else { "0\n" })
            .write(&format!("{block}/stat"), "500 0 40000 300 700 100 56000 900 0 1200 1200 0 0 0 0 20 100\n")
            .write(&format!("{block}/inflight"), "       0        0\n")
            .link(&format!("/sys/block/{device}"), block)
    }

    fn thermometer(&self, below: &str, name: &str, device: &str) -> &Self {
        let chip = self.chip(below, name, device);
        self.write(&format!("{chip}/temp1_input"), "33000\n")
    }

    /// A monitoring chip in a folder `hwmonN`; answers that folder.
    pub(crate) fn chip(&self, below: &str, name: &str, device: &str) -> String {
        let number = format!("hwmon{}", self.next());
        let folder = format!("{below}/{number}");
        self.write(&format!("{folder}/name"), &format!("{name}\n"))
            .link(&format!("{folder}/device"), device)
            .link(&format!("/sys/class/hwmon/{number}"), &folder);
        folder
    }

    fn folder_at(&self, absolute: &str) {
        fs::create_dir_all(self.path(absolute)).expect("the folder can be made");
    }

    /// Where a path leads when its links are followed, as a path of the box.
    pub fn real(&self, absolute: &str) -> String {
        let real = self.path(absolute).canonicalize().unwrap_or_else(|error| panic!("{absolute}: {error}"));
        let root = self.root().canonicalize().expect("the box is there");
        format!("/{}", real.strip_prefix(root).expect("links stay in the box").display())
    }

    pub(crate) fn next(&self) -> u64 {
        self.counted.set(self.counted.get() + 1);
        self.counted.get()
    }
}

/// A world wide name made from the serial's end; the first digits are a maker's (NAA 5, SPC-4, 7.8.6.6.5).
fn wwid(serial: &str) -> String {
    let end = &serial.as_bytes()[serial.len().saturating_sub(4)..];
    let digits: String = end.iter().map(|byte| format!("{byte:02x}")).collect();
    format!("naa.5000c500{digits:0<8.8}\n")
}

/// The relative path from the folder of `at` to `to`: up to where both part, or to above `to` (fs/sysfs/symlink.c).
fn relative(at: &Path, to: &Path) -> PathBuf {
    let folder = at.parent().unwrap_or(Path::new("/"));
    let above = to.parent().unwrap_or(Path::new("/"));
    let shared = folder.components().zip(above.components()).take_while(|(a, b)| a == b).count();
    let up = folder.components().skip(shared).map(|_| Component::ParentDir);
    up.chain(to.components().skip(shared)).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn links_are_the_kernels() {
        let heron = PretendBox::new();
        heron.sata_drive("sda", 1, "WREN-0001", "Warbler 4T").md("md0", "raid1", &["sda"]);
        let said = |at: &str| fs::read_link(heron.path(at)).expect("a link").display().to_string();
        let drive = "pci0000:00/0000:00:1f.2/ata1/host0/target0:0:0/0:0:0:0/block/sda";
        // As seen on a stock kernel 6.12.
        assert_eq!(said("/sys/block/sda"), format!("../devices/{drive}"));
        assert_eq!(said("/sys/block/md0/md/dev-sda/block"), format!("../../../../../{drive}"));
        assert_eq!(said("/sys/block/sda/device"), "../../../0:0:0:0");
        assert_eq!(said("/sys/block/md0/md/rd0"), "dev-sda");
    }

    #[test]
    fn a_drive_that_is_taken_away_leaves_a_dangling_member_in_sync() {
        let heron = PretendBox::new();
        heron.sata_drive("sda", 1, "WREN-0001", "Warbler 4T").sata_drive("sdb", 2, "WREN-0002", "Warbler 4T");
        heron.md("md0", "raid1", &["sda", "sdb"]).remove_drive("sdb");
        let is_there = |at: &str| heron.path(at).exists();
        assert!(is_there("/sys/block/sda") && !is_there("/sys/block/sdb"));
        assert!(is_there("/sys/block/md0/md/dev-sda/block/size") && !is_there("/sys/block/md0/md/dev-sdb/block/size"));
        let state = fs::read_to_string(heron.path("/sys/block/md0/md/dev-sdb/state")).expect("md keeps its file");
        assert_eq!(state, "in_sync\n");
    }
}
