//! Questions to a mounted btrfs file system that its files do not answer (include/uapi/linux/btrfs.h). All are answered
//! out of the kernel's memory; none changes anything.

use super::parse::btrfs::files::ErrorCounts;
use crate::reading::{Missing, Reason, WhyMissing};
use std::fs::File;
use std::io;
use std::os::fd::AsRawFd;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

/// A structure that travels to the kernel and back.
///
/// # Safety
/// `Self` must have the layout of the structure that belongs to `NUMBER`, and be valid whatever its bytes are.
unsafe trait Question: Sized {
    /// The ioctl's number, which has the size of its structure in it.
    const NUMBER: u32;
    /// Checked when the program is built.
    const FITS: () = assert!(size_of::<Self>() == (Self::NUMBER >> 16 & 0x3FFF) as usize);

    /// All zeros: nothing asked for yet.
    fn blank() -> Self {
        // SAFETY: it is valid whatever its bytes are.
        unsafe { std::mem::zeroed() }
    }
}

/// `struct btrfs_ioctl_fs_info_args`, up to what we read.
#[repr(C)]
struct FsInfo {
    highest: u64,
    devices: u64,
    uuid: [u8; 16],
    rest: [u64; 124],
}

// SAFETY: the layout is that of the kernel's header, and integers are valid with any bytes.
unsafe impl Question for FsInfo {
    /// `BTRFS_IOC_FS_INFO`.
    const NUMBER: u32 = 0x8400_941F;
}

/// `struct btrfs_ioctl_dev_info_args`.
#[repr(C)]
struct DevInfo {
    id: u64,
    uuid: [u8; 16],
    allocated: u64,
    size: u64,
    unused: [u64; 379],
    path: [u8; 1024],
}

// SAFETY: as above.
unsafe impl Question for DevInfo {
    /// `BTRFS_IOC_DEV_INFO`.
    const NUMBER: u32 = 0xD000_941E;
}

/// `struct btrfs_ioctl_get_dev_stats`.
#[repr(C)]
struct DevStats {
    id: u64,
    count: u64,
    /// Bit 0 would set all counts to zero; we never set it.
    flags: u64,
    values: [u64; 5],
    unused: [u64; 121],
}

// SAFETY: as above.
unsafe impl Question for DevStats {
    /// `BTRFS_IOC_GET_DEV_STATS`.
    const NUMBER: u32 = 0xC408_9434;
}

/// `struct btrfs_ioctl_scrub_args`, with the counts of its progress that we read by name.
#[repr(C)]
struct ScrubProgress {
    id: u64,
    start: u64,
    end: u64,
    flags: u64,
    data_extents: u64,
    tree_extents: u64,
    data_bytes: u64,
    tree_bytes: u64,
    rest: [u64; 120],
}

// SAFETY: as above.
unsafe impl Question for ScrubProgress {
    /// `BTRFS_IOC_SCRUB_PROGRESS`.
    const NUMBER: u32 = 0xC400_941D;
}

/// `struct btrfs_ioctl_balance_args`.
#[repr(C)]
struct BalanceProgress {
    flags: u64,
    state: u64,
    /// Three of `struct btrfs_balance_args`, 136 bytes each.
    filters: [[u64; 17]; 3],
    expected: u64,
    considered: u64,
    completed: u64,
    unused: [u64; 72],
}

// SAFETY: as above.
unsafe impl Question for BalanceProgress {
    /// `BTRFS_IOC_BALANCE_PROGRESS`.
    const NUMBER: u32 = 0x8400_9422;
}

/// A mounted file system, open for questions.
pub struct Mounted {
    folder: File,
    point: String,
}

/// What a file system says of itself.
pub struct Info {
    /// Which one it is.
    pub uuid: String,
    /// How many devices it wants.
    pub devices: u64,
    /// The highest number that a device of it has.
    pub highest: u64,
}

/// What a file system says of one of its devices.
pub struct DeviceInfo {
    /// Its path; `None` for one that was absent at the mount.
    pub path: Option<String>,
    /// The share of it that the file system may use, bytes.
    pub size: u64,
    /// What chunks take of that, bytes.
    pub allocated: u64,
}

impl Mounted {
    /// Opens the folder that it is mounted at.
    #[allow(clippy::disallowed_methods, reason = "the folder of a mount is this file's edge")]
    pub fn open(point: &Path) -> Result<Self, Missing> {
        let mut options = std::fs::OpenOptions::new();
        options.read(true).custom_flags(libc::O_DIRECTORY | libc::O_NONBLOCK | libc::O_CLOEXEC);
        let name = point.display().to_string();
        let folder = options.open(point).map_err(|error| missing(&name, &error))?;
        Ok(Self { folder, point: name })
    }

    /// Which file system this is, and how many devices it has.
    ///
    /// # Errors
    /// The reason why it does not say; something else than btrfs does not.
    pub fn info(&self) -> Result<Info, Missing> {
        let mut info = FsInfo::blank();
        self.ask(&mut info).map_err(|error| missing(&self.point, &error))?;
        Ok(Info { uuid: uuid(info.uuid), devices: info.devices, highest: info.highest })
    }

    /// One of its devices; `None` when none has this number.
    pub fn device(&self, id: u64) -> Result<Option<DeviceInfo>, Missing> {
        let mut info = DevInfo { id, ..DevInfo::blank() };
        if !self.ask_unless(libc::ENODEV, &mut info)? {
            return Ok(None);
        }
        let path = info.path.split(|&byte| byte == 0).next().unwrap_or_default();
        let path = String::from_utf8_lossy(path).into_owned();
        Ok(Some(DeviceInfo { path: path.starts_with('/').then_some(path), size: info.size, allocated: info.allocated }))
    }

    /// How often a device failed.
    pub fn error_counts(&self, id: u64) -> Result<ErrorCounts, Missing> {
        let mut stats = DevStats { id, count: 5, ..DevStats::blank() };
        self.ask(&mut stats).map_err(|error| missing(&self.point, &error))?;
        if stats.count < 5 {
            let found = format!("{}: expected 5 error counts, found {}", self.point, stats.count);
            return Err(Missing::found(Reason::Unreadable, found));
        }
        let [write, read, flush, corruption, generation] = stats.values;
        Ok(ErrorCounts { write, read, flush, corruption, generation })
    }

    /// How many bytes a running scrub has checked on a device; `None` when none runs there.
    ///
    /// # Errors
    /// The reason why it does not say: it needs CAP_SYS_ADMIN.
    pub fn scrubbed(&self, id: u64) -> Result<Option<u64>, Missing> {
        let mut progress = ScrubProgress { id, ..ScrubProgress::blank() };
        let runs = self.ask_unless(libc::ENOTCONN, &mut progress)?;
        Ok(runs.then(|| progress.data_bytes.saturating_add(progress.tree_bytes)))
    }

    /// How many chunks a balance has moved, and how many there are to move, about; `None` when there is no balance.
    ///
    /// # Errors
    /// The reason why it does not say: it needs CAP_SYS_ADMIN.
    pub fn balance(&self) -> Result<Option<(u64, u64)>, Missing> {
        let mut progress = BalanceProgress::blank();
        let runs = self.ask_unless(libc::ENOTCONN, &mut progress)?;
        Ok(runs.then_some((progress.completed, progress.expected)))
    }

    /// False when the answer is this error, which stands for nothing to be told.
    fn ask_unless(&self, nothing: i32, question: &mut impl Question) -> Result<bool, Missing> {
        match self.ask(question) {
            Ok(()) => Ok(true),
            Err(error) if error.raw_os_error() == Some(nothing) => Ok(false),
            Err(error) => Err(missing(&self.point, &error)),
        }
    }

    fn ask<Q: Question>(&self, question: &mut Q) -> io::Result<()> {
        let () = Q::FITS;
        // SAFETY: `question` is one live structure of the size that the number carries (asserted when built); the kernel
        // reads and writes no byte outside it and keeps no pointer to it. Any bytes that come back are valid in it.
        let done = unsafe { libc::ioctl(self.folder.as_raw_fd(), Q::NUMBER as _, std::ptr::from_mut(question)) };
        if done < 0 { Err(io::Error::last_os_error()) } else { Ok(()) }
    }
}

fn missing(point: &str, error: &io::Error) -> Missing {
    match error.raw_os_error() {
        Some(libc::EACCES) => Missing::found(Reason::Refused, point),
        Some(libc::EPERM) => Missing::from(WhyMissing::NeedsSysAdmin).and_found(point),
        Some(libc::ENOTTY) => Missing::from(WhyMissing::NotBtrfs).and_found(point),
        Some(libc::ENOENT) => Missing::from(WhyMissing::Disconnected).and_found(point),
        _ => Missing::found(Reason::Unreadable, format!("{point}: {error}")),
    }
}

/// Sixteen bytes as the kernel names folders by them.
fn uuid(bytes: [u8; 16]) -> String {
    let digits: String = bytes.iter().map(|byte| format!("{byte:02x}")).collect();
    [0..8, 8..12, 12..16, 16..20, 20..32].map(|part| &digits[part]).join("-")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sense::parse::btrfs::files::is_file_system;
    use std::mem::offset_of;

    /// Offsets from include/uapi/linux/btrfs.h, counted by a C compiler.
    #[test]
    fn fields_are_where_the_kernel_has_them() {
        assert_eq!(offset_of!(FsInfo, uuid), 16);
        assert_eq!(
            [offset_of!(DevInfo, allocated), offset_of!(DevInfo, size), offset_of!(DevInfo, path)],
            [24, 32, 3072]
        );
        assert_eq!([offset_of!(DevStats, flags), offset_of!(DevStats, values)], [16, 24]);
        assert_eq!([offset_of!(ScrubProgress, data_bytes), offset_of!(ScrubProgress, tree_bytes)], [48, 56]);
        assert_eq!([offset_of!(BalanceProgress, expected), offset_of!(BalanceProgress, completed)], [424, 440]);
    }

    #[test]
    fn a_uuid_is_written_as_the_kernel_names_its_folder() {
        let bytes = [0x22, 0xbf, 0x3b, 0x64, 0x4c, 0x77, 0x46, 0xba, 0xa4, 0x90, 0x0d, 0xfb, 0x7c, 0x90, 0xaf, 0xd3];
        assert_eq!(uuid(bytes), "22bf3b64-4c77-46ba-a490-0dfb7c90afd3");
        assert!(is_file_system(&uuid([0xff; 16])));
    }

    #[test]
    fn another_file_system_answers_nothing_and_that_is_said() {
        let folder = tempfile::tempdir().unwrap();
        let mounted = Mounted::open(folder.path()).unwrap();
        assert_eq!(mounted.info().map(|_| ()).map_err(|why| why.reason), Err(Reason::NotAvailable));
        assert!(mounted.error_counts(1).is_err() && mounted.balance().is_err() && mounted.scrubbed(1).is_err());
        let absent = Mounted::open(&folder.path().join("absent")).map(|_| ());
        assert_eq!(absent.map_err(|why| why.reason), Err(Reason::NotAvailable));
    }
}
