//! The mount table, `/proc/self/mountinfo` (Documentation/filesystems/proc.rst, 3.5), and which of its lines are
//! volumes that an owner would want to know the room of.

use crate::plain::quoted;
use std::collections::HashMap;
use traylight_data::reading::Writing;

/// One mount.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Mount {
    /// Which file system: the kernel's device number, the same for every mount of it.
    pub device: String,
    /// The folder of that file system that is mounted.
    pub root: String,
    /// Where.
    pub point: String,
    /// The file system's type.
    pub file_system: String,
    /// What is mounted.
    pub source: String,
    /// Whether it can be written to.
    pub writing: Writing,
    /// The options of the file system, escapes still in.
    pub options: String,
}

impl Mount {
    /// True when the file system stops writing at its first error (ext4(5)).
    pub fn stops_at_errors(&self) -> bool {
        self.options.split(',').any(|option| option == "errors=remount-ro")
    }

    /// True for the same mount, whatever became of its options.
    pub fn is_same(&self, other: &Self) -> bool {
        (&self.device, &self.root, &self.point, &self.source)
            == (&other.device, &other.root, &other.point, &other.source)
    }

    /// The ZFS pool that it is on: its data sets are named after it, `tank/songs`.
    pub fn zfs_pool(&self) -> Option<&str> {
        self.source.split('/').next().filter(|_| self.file_system == "zfs")
    }
}

/// All lines that can be read as mounts; others are passed over, the kernel may be in the middle of a change.
pub fn mounts(table: &[u8]) -> Vec<Mount> {
    table.split(|&byte| byte == b'\n').filter_map(mount).collect()
}

/// Checks that every line is a mount. The last one may be cut: the kernel may be in the middle of a change.
///
/// # Errors
/// The first line that is none.
pub fn check(table: &[u8]) -> Result<(), String> {
    let whole = table.rsplitn(2, |&byte| byte == b'\n').nth(1).unwrap_or_default();
    let mut lines = whole.split(|&byte| byte == b'\n').filter(|line| !line.is_empty());
    match lines.find(|line| mount(line).is_none()) {
        Some(odd) => Err(format!("expected a mount, found {}", quoted(&String::from_utf8_lossy(odd)))),
        None => Ok(()),
    }
}

fn mount(line: &[u8]) -> Option<Mount> {
    // Mount points may hold any byte; what is not UTF-8 is shown with a mark, and is then no path to ask.
    let line = String::from_utf8_lossy(line);
    let fields: Vec<&str> = line.split(' ').collect();
    let dash = fields.iter().skip(6).position(|&field| field == "-")? + 6;
    // The options behind the source end a whole line; one that was cut is no mount.
    let of_file_system = fields.get(dash + 3).filter(|options| !options.is_empty())?;
    Some(Mount {
        device: (*fields.get(2)?).to_owned(),
        root: unescaped(fields.get(3)?),
        point: unescaped(fields.get(4)?),
        file_system: unescaped(fields.get(dash + 1)?),
        source: unescaped(fields.get(dash + 2)?),
        writing: writing(of_file_system),
        options: (*of_file_system).to_owned(),
    })
}

/// From the options of the file system. Those of the mount are passed over: under `ProtectSystem=strict` every mount that
/// the program sees is read-only, whatever the box does; and a second mount that can only be read is nobody's fault. Since
/// Linux 6.15 ext4 says `emergency_ro` beside `rw` when an
/// error made it stop writing, and `shutdown` (fs/ext4/super.c). Stable kernels before that may say `rw` and no more.
fn writing(of_file_system: &str) -> Writing {
    let has = |option: &str| of_file_system.split(',').any(|found| found == option);
    if has("shutdown") {
        Writing::ShutDown
    } else if has("emergency_ro") {
        Writing::StoppedByError
    } else if has("ro") {
        Writing::ReadOnly
    } else {
        Writing::Allowed
    }
}

/// The mounts to watch: file systems on local storage, each once, at its shortest mount point of its whole tree.
///
/// Left out are file systems without storage of their own, images that are full by design, network and FUSE mounts
/// (asking one whose other end is gone can block for good), and single files.
pub fn volumes(mounts: Vec<Mount>) -> Vec<Mount> {
    let mut chosen: HashMap<String, Mount> = HashMap::new();
    for mount in mounts.into_iter().filter(|mount| is_on_storage(&mount.file_system)) {
        // Every ZFS dataset has a device number of its own; their room is the pool's.
        let one_of = mount.zfs_pool().unwrap_or(&mount.device).to_owned();
        let better = |other: &Mount| preference(&mount) < preference(other);
        if chosen.get(&one_of).is_none_or(better) {
            chosen.insert(one_of, mount);
        }
    }
    let mut found: Vec<Mount> = chosen.into_values().collect();
    found.sort_by(|a, b| a.point.cmp(&b.point));
    found
}

/// True for file systems that lie on drives of this box.
pub fn is_on_storage(file_system: &str) -> bool {
    const ON_STORAGE: [&str; 12] =
        ["ext2", "ext3", "ext4", "xfs", "btrfs", "zfs", "f2fs", "bcachefs", "jfs", "vfat", "exfat", "ntfs3"];
    ON_STORAGE.contains(&file_system)
}

/// A whole tree before a part of one (a bind mount, a subvolume), then the shortest name.
fn preference(mount: &Mount) -> (bool, usize, &str) {
    (mount.root != "/", mount.point.len(), &mount.point)
}

/// Spaces and the like are written as a backslash and three octal digits (fs/proc_namespace.c, `mangle`).
pub(super) fn unescaped(field: &str) -> String {
    let mut bytes = Vec::with_capacity(field.len());
    let mut rest = field.as_bytes();
    while let [first, tail @ ..] = rest {
        let octal =
            (*first == b'\\').then(|| tail.get(..3).and_then(|digits| std::str::from_utf8(digits).ok())).flatten();
        match octal.and_then(|digits| u8::from_str_radix(digits, 8).ok()) {
            Some(byte) => {
                bytes.push(byte);
                rest = &tail[3..];
            }
            None => {
                bytes.push(*first);
                rest = tail;
            }
        }
    }
    String::from_utf8_lossy(&bytes).into_owned()
}

#[cfg(test)]
mod tests {
    use super::*;

    const TABLE: &[u8] = b"22 27 0:21 / /proc rw,relatime - proc proc rw\n\
        27 1 254:0 / / rw,relatime shared:1 - ext4 /dev/vda rw,discard\n\
        30 27 9:0 / /srv rw,relatime shared:5 master:2 - ext4 /dev/md0 rw\n\
        31 27 9:0 /songs /home/keeper/songs rw - ext4 /dev/md0 rw\n\
        32 27 0:50 /@home /mnt/b/home rw - btrfs /dev/sdb rw\n\
        33 27 0:50 / /mnt/b rw - btrfs /dev/sdb rw\n\
        34 27 0:60 / /mnt/away rw - nfs4 nest:/songs rw\n\
        35 27 8:17 / /media/my\\040card rw - vfat /dev/sdb1 rw\n\
        36 27 0:70 / /tank rw - zfs tank rw\n\
        37 27 0:71 / /tank/songs rw - zfs tank/songs rw\n\
        38 27 7:0 / /snap/x ro - squashfs /dev/loop0 ro\n";

    #[test]
    fn each_local_file_system_is_watched_once() {
        let points: Vec<String> = volumes(mounts(TABLE)).into_iter().map(|mount| mount.point).collect();
        assert_eq!(points, ["/", "/media/my card", "/mnt/b", "/srv", "/tank"]);
    }

    #[test]
    fn lines_cut_in_the_middle_are_passed_over() {
        for cut in 0..TABLE.len() {
            let found = mounts(&TABLE[..cut]);
            assert!(found.len() <= 11);
            assert!(found.iter().all(|mount| !mount.file_system.is_empty()), "cut at {cut}");
        }
        assert_eq!(mounts(b"\xff\xfe - - - -\n\n- - -"), []);
    }

    /// The options as Linux 6.6 and, for the third, 6.15 print them (fs/ext4/super.c, from memory).
    #[test]
    fn a_volume_that_stopped_writing_is_known_although_it_says_rw() {
        let of = |of_mount: &str, of_file_system: &str| {
            let line = format!("30 27 9:0 / /srv {of_mount} shared:5 - ext4 /dev/md0 {of_file_system}\n");
            mounts(line.as_bytes())[0].writing
        };
        assert_eq!(of("rw,relatime", "rw"), Writing::Allowed);
        assert_eq!(of("rw,relatime", "ro,errors=remount-ro"), Writing::ReadOnly);
        assert_eq!(of("rw,relatime", "rw,emergency_ro"), Writing::StoppedByError);
        assert_eq!(of("rw,relatime", "rw,shutdown"), Writing::ShutDown);
        assert_eq!(of("ro,relatime", "rw"), Writing::Allowed, "as a service with a protected system sees it");
        assert_eq!(of("rw,norotate", "rw,errors=remount-ro"), Writing::Allowed, "words that only look like it");
    }

    #[test]
    fn only_three_octal_digits_after_a_backslash_are_an_escape() {
        assert_eq!(unescaped(r"my\040card"), "my card");
        assert_eq!(unescaped(r"src\040\0431"), "src #1");
        assert_eq!(unescaped(r"odd\04"), r"odd\04");
        assert_eq!(unescaped(r"odd\999\"), r"odd\999\");
    }
}
