//! The way to NVMe drives: the kernel's admin command (include/uapi/linux/nvme_ioctl.h).

use super::command::Command;
use super::{Failure, Reply, Transport};
use crate::reading::{Missing, Reason};
use crate::sense::parse::sense_data::Answering;
use std::fs::File;
use std::io;
use std::os::fd::AsRawFd;
use std::path::Path;

/// `NVME_IOCTL_ADMIN_CMD`: `_IOWR('N', 0x41, struct nvme_admin_cmd)`.
const ADMIN_COMMAND: u64 = 0xC048_4E41;
const LONGEST_MS: u32 = 20_000;

/// `struct nvme_admin_cmd`.
#[repr(C)]
#[derive(Default)]
struct AdminCommand {
    opcode: u8,
    flags: u8,
    reserved: u16,
    name_space: u32,
    dword_2: u32,
    dword_3: u32,
    metadata: u64,
    address: u64,
    metadata_length: u32,
    data_length: u32,
    dwords_10_to_15: [u32; 6],
    timeout_ms: u32,
    result: u32,
}

const _: () = assert!(size_of::<AdminCommand>() == 72);

/// An NVMe drive that is open for commands.
pub struct NvmeAdmin {
    device: File,
}

impl NvmeAdmin {
    /// Opens a drive for reading.
    ///
    /// # Errors
    /// The reason why it cannot be opened.
    #[allow(clippy::disallowed_methods, reason = "a drive's own device is this file's edge")]
    pub fn open(device: &Path) -> Result<Self, Missing> {
        let open = File::open(device).map_err(|error| {
            let refused = error.kind() == io::ErrorKind::PermissionDenied;
            let reason = if refused { Reason::Refused } else { Reason::Unreadable };
            Missing::new(reason, format!("{}: {error}", device.display()))
        });
        open.map(|device| Self { device })
    }
}

impl Transport for NvmeAdmin {
    fn send(&mut self, command: &Command) -> Result<Reply, Failure> {
        let Command::Nvme(command) = command else {
            return Err(Failure::NotSupported("found a SCSI command on an NVMe device".to_owned()));
        };
        let mut data = vec![0_u8; command.data_length()];
        let (opcode, name_space, dword_10, dword_11) = command.words();
        let mut admin = AdminCommand {
            opcode,
            name_space,
            address: data.as_mut_ptr() as u64,
            data_length: data.len() as u32,
            dwords_10_to_15: [dword_10, dword_11, 0, 0, 0, 0],
            timeout_ms: LONGEST_MS,
            ..AdminCommand::default()
        };
        // SAFETY: the structure has the kernel's layout (its size is asserted above). `address` is to a live buffer of
        // `data_length` bytes, which the kernel fills during the call and does not keep.
        let status = unsafe { libc::ioctl(self.device.as_raw_fd(), ADMIN_COMMAND as _, &mut admin) };
        match status {
            0 => Ok(Reply { data, sense: Vec::new() }),
            ..0 => {
                let error = io::Error::last_os_error();
                let refused = matches!(error.raw_os_error(), Some(libc::EPERM | libc::EACCES));
                let (reason, what) = match refused {
                    true => (Reason::Refused, "logs of an NVMe drive need CAP_SYS_ADMIN".to_owned()),
                    false => (Reason::Unreadable, error.to_string()),
                };
                Err(Failure::Missing(Missing::new(reason, what)))
            }
            // Status code and type; the drive had the command and said no (NVMe 1.4, clause 4.6.1).
            code => Err(Failure::NotSupported(format!("found NVMe status {:03X}h", code & 0x7FF))),
        }
    }

    fn answering(&self) -> Answering {
        Answering::Scsi
    }
}
