//! The way to NVMe drives: the kernel's admin command (include/uapi/linux/nvme_ioctl.h).

use super::command::DriveCommand;
use super::{Failure, Reply, Transport};
use crate::reading::{Missing, Reason, WhyMissing};
use crate::sense::parse::scsi::sense_data::Answering;
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
    #[allow(clippy::disallowed_methods, reason = "a drive's own device is this file's edge")]
    pub fn open(device: &Path) -> Result<Self, Missing> {
        let open = File::open(device).map_err(|error| {
            let device = device.display();
            match error.kind() {
                io::ErrorKind::PermissionDenied => Missing::found(Reason::Refused, device.to_string()),
                _ => Missing::found(Reason::Unreadable, format!("{device}: {error}")),
            }
        });
        open.map(|device| Self { device })
    }
}

impl Transport for NvmeAdmin {
    fn send(&mut self, command: &DriveCommand) -> Result<Reply, Failure> {
        let DriveCommand::Nvme(command) = command else {
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
            ..0 => Err(Failure::Missing(not_sent(&io::Error::last_os_error()))),
            status => Err(declined(status)),
        }
    }

    fn answering(&self) -> Answering {
        Answering::Scsi
    }
}

fn not_sent(error: &io::Error) -> Missing {
    match error.raw_os_error() {
        Some(libc::EPERM | libc::EACCES) => Missing::from(WhyMissing::NeedsSysAdmin),
        // The kernel cancels what is under way when it resets a controller that did not answer (nvme_execute_rq in
        // drivers/nvme/host/core.c).
        Some(libc::EINTR) => Missing::from(WhyMissing::KernelGaveUp),
        Some(libc::ENODEV | libc::ENXIO) => Missing::from(WhyMissing::Disconnected),
        _ => Missing::found(Reason::Unreadable, error.to_string()),
    }
}

/// By status code type and code (NVMe 1.4 clause 4.6.1; linux/nvme.h): the drive had the command and does not know it
/// or this form of it, or something else went wrong.
fn declined(status: i32) -> Failure {
    const UNKNOWN: [i32; 5] = [0x001, 0x002, 0x00B, 0x016, 0x109];
    let code = status & 0x7FF;
    let found = format!("found NVMe status {code:03X}h");
    if UNKNOWN.contains(&code) {
        Failure::NotSupported(found)
    } else {
        Failure::Missing(Missing::found(Reason::Unreadable, format!("expected 000h, {found}")))
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The emulated drive of the virtual machine has no log 06h and answers 4002h; 0x371 is what the kernel itself says
    /// of a command that it cancelled (linux/nvme.h, NVME_SC_HOST_ABORTED_CMD).
    #[test]
    fn only_what_the_drive_does_not_know_is_not_supported() {
        assert_eq!(declined(0x4002), Failure::NotSupported("found NVMe status 002h".into()));
        assert_eq!(declined(0x4109), Failure::NotSupported("found NVMe status 109h".into()));
        for other in [0x0006, 0x0371, 0x0281] {
            assert!(matches!(declined(other), Failure::Missing(why) if why.reason == Reason::Unreadable), "{other:X}h");
        }
    }

    #[test]
    fn a_controller_that_was_reset_has_timed_out() {
        let reason = |number| not_sent(&io::Error::from_raw_os_error(number)).reason;
        assert_eq!(
            [libc::EINTR, libc::ENODEV, libc::EACCES, libc::EIO].map(reason),
            [Reason::TimedOut, Reason::NotAvailable, Reason::Refused, Reason::Unreadable]
        );
    }
}
