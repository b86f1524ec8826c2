//! Pools of the pretend box besides md: btrfs file systems and LVM RAID volumes, with the files and links that a stock
//! kernel 6.12 showed, and ZFS pools, with those of OpenZFS 2.3.9.

use crate::pretend_box::PretendBox;

/// What btrfs file systems of the pretend box are known by.
pub const UUID: &str = "22bf3b64-4c77-46ba-a490-0dfb7c90afd3";

impl PretendBox {
    /// A mounted btrfs file system over these block devices, numbered from 1, with data and metadata in one profile.
    pub fn btrfs(&self, label: &str, profile: &str, blocks: &[&str]) -> &Self {
        let folder = format!("/sys/fs/btrfs/{UUID}");
        let count = blocks.len() as u64;
        self.write("/sys/fs/btrfs/features/raid1c34", "0\n")
            .write(&format!("{folder}/label"), &format!("{label}\n"))
            .write(&format!("{folder}/exclusive_operation"), "none\n");
        for (number, block) in (1..).zip(blocks) {
            self.btrfs_device(number);
            self.link(&format!("{folder}/devices/{block}"), &self.real(&format!("/sys/class/block/{block}")));
        }
        let sizes =
            [("data", 224_395_264, 104_857_600), ("metadata", 73_400_320, 245_760), ("system", 8_388_608, 16_384)];
        for (content, total, used) in sizes {
            let file = |name: &str, bytes: u64| {
                self.write(&format!("{folder}/allocation/{content}/{name}"), &format!("{bytes}\n"));
            };
            file("total_bytes", total);
            file("bytes_used", used);
            file("disk_total", count * total);
            file("disk_used", count * used);
            file("flags", 1);
            file(&format!("{profile}/total_bytes"), total);
            file(&format!("{profile}/used_bytes"), used);
        }
        self
    }

    /// A device number of the file system, in good order.
    pub fn btrfs_device(&self, number: u64) -> &Self {
        let file = |name: &str, text: &str| {
            self.write(&format!("/sys/fs/btrfs/{UUID}/devinfo/{number}/{name}"), text);
        };
        file("missing", "0\n");
        file("in_fs_metadata", "1\n");
        file("writeable", "1\n");
        file("replace_target", "0\n");
        file("fsid", &format!("{UUID}\n"));
        file("error_stats", "write_errs 0\nread_errs 0\nflush_errs 0\ncorruption_errs 0\ngeneration_errs 0\n");
        self
    }

    /// A partition of a drive.
    pub fn partition(&self, drive: &str, name: &str) -> &Self {
        let block = format!("{}/{name}", self.real(&format!("/sys/block/{drive}")));
        self.write(&format!("{block}/size"), "1433600\n")
            .write(&format!("{block}/dev"), "8:1\n")
            .class_block(name, &block)
    }

    /// A mapped device `dm-N` on these block devices.
    pub fn mapped(&self, number: u32, name: &str, uuid: &str, on: &[&str]) -> &Self {
        let device = format!("dm-{number}");
        let block = format!("/sys/devices/virtual/block/{device}");
        self.write(&format!("{block}/dm/name"), &format!("{name}\n"))
            .write(&format!("{block}/dm/uuid"), &format!("{uuid}\n"))
            .write(&format!("{block}/dev"), &format!("253:{number}\n"))
            .write(&format!("{block}/size"), "409600\n")
            .write(&format!("{block}/removable"), "0\n")
            .link(&format!("/sys/block/{device}"), &block)
            .class_block(&device, &block);
        for below in on {
            self.link(&format!("{block}/slaves/{below}"), &self.real(&format!("/sys/class/block/{below}")));
        }
        self
    }

    /// An LVM mirror `vg-lv` on two block devices: two images, two areas for notes, and the volume itself, `dm-4`.
    pub fn lvm_mirror(&self, blocks: [&str; 2]) -> &Self {
        let group = "LVM-tcJEPkBc3ANbDoGyEuJfDUYgWno5MwJQ";
        for (place, block) in (0..).zip(blocks) {
            let uuid = |part: &str| format!("{group}{part}{place}");
            self.mapped(2 * place, &format!("vg-lv_rmeta_{place}"), &uuid("rLFTDNEyzyjf6hVuTxssLSoSidEmSzh"), &[block])
                .mapped(
                    2 * place + 1,
                    &format!("vg-lv_rimage_{place}"),
                    &uuid("HUsLoGyzEryDPD1ZGm0R5TPIU84aew3"),
                    &[block],
                );
        }
        self.mapped(4, "vg-lv", &format!("{group}tWMNmujkHU7Tba2nVc0EigC5uRwmNN3L"), &["dm-0", "dm-1", "dm-2", "dm-3"])
    }

    /// An imported ZFS pool by what the module says of it; its state can be written anew.
    pub fn zfs(&self, name: &str, guid: u64, state: &str) -> &Self {
        let folder = format!("/proc/spl/kstat/zfs/{name}");
        self.write("/proc/spl/kstat/zfs/arcstats", "9 1 0x01 147 39984 1 2\n")
            .write(&format!("{folder}/guid"), &format!("{guid}\n"))
            .write(&format!("{folder}/state"), &format!("{state}\n"))
    }

    /// A node in `/dev` for each of these block devices, and a name by identity such as `ata-WREN-0001-part1` where one is
    /// given, as udev makes them.
    pub fn nodes(&self, nodes: &[(&str, Option<&str>)]) -> &Self {
        for (block, id) in nodes {
            let node = format!("/dev/{block}");
            self.write(&node, "");
            if let Some(id) = id {
                self.link(&format!("/dev/disk/by-id/{id}"), &node);
            }
        }
        self
    }

    /// The drives so far, where partitions and mapped devices are too.
    pub fn list_drives_by_class(&self, drives: &[&str]) -> &Self {
        for drive in drives {
            self.class_block(drive, &self.real(&format!("/sys/block/{drive}")));
        }
        self
    }

    fn class_block(&self, name: &str, block: &str) -> &Self {
        self.link(&format!("/sys/class/block/{name}"), block)
    }
}
