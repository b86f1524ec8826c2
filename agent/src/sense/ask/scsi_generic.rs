//! The way to SATA, SAS and USB drives: the kernel's SG_IO (include/scsi/sg.h, drivers/scsi/scsi_ioctl.c).

use super::command::DriveCommand;
use super::{Failure, Reply, Transport};
use crate::reading::{Missing, Reason, WhyMissing};
use crate::sense::parse::scsi::sense_data::{Answering, Meaning, sense};
use std::fs::File;
use std::io;
use std::os::fd::AsRawFd;
use std::os::unix::fs::OpenOptionsExt;
use std::path::Path;

/// `SG_IO`; the number carries no size and is the same everywhere.
const SG_IO: u64 = 0x2285;
/// A command that takes longer is ended by the kernel with a reset of the link, so this must outlast a spin-up.
const LONGEST_MS: u32 = 60_000;
const TO_NOBODY: i32 = -1;
const TO_DRIVE: i32 = -2;
const FROM_DRIVE: i32 = -3;
const CHECK_CONDITION: u8 = 0x02;

/// `struct sg_io_hdr`.
#[repr(C)]
struct Header {
    interface_id: i32,
    dxfer_direction: i32,
    cmd_len: u8,
    mx_sb_len: u8,
    iovec_count: u16,
    dxfer_len: u32,
    dxferp: *mut u8,
    cmdp: *const u8,
    sbp: *mut u8,
    timeout: u32,
    flags: u32,
    pack_id: i32,
    usr_ptr: *mut u8,
    status: u8,
    masked_status: u8,
    msg_status: u8,
    sb_len_wr: u8,
    host_status: u16,
    driver_status: u16,
    resid: i32,
    duration: u32,
    info: u32,
}

// The sizes in the header file: 88 bytes with pointers of eight bytes, 64 with pointers of four.
const _: () = assert!(size_of::<Header>() == if size_of::<usize>() == 8 { 88 } else { 64 });

/// A drive that is open for commands.
pub struct ScsiGeneric {
    device: File,
    answering: Answering,
}

impl ScsiGeneric {
    /// Opens a drive, never for writing: closing a device that was open for writing makes udev read the drive.
    #[allow(clippy::disallowed_methods, reason = "a drive's own device is this file's edge")]
    pub fn open(device: &Path, answering: Answering) -> Result<Self, Missing> {
        let mut options = std::fs::OpenOptions::new();
        options.read(true).custom_flags(libc::O_NONBLOCK | libc::O_CLOEXEC);
        let device = options.open(device).map_err(|error| missing(&error, device))?;
        Ok(Self { device, answering })
    }
}

fn missing(error: &io::Error, device: &Path) -> Missing {
    let device = device.display();
    match error.kind() {
        io::ErrorKind::PermissionDenied => Missing::found(Reason::Refused, device.to_string()),
        _ => Missing::found(Reason::Unreadable, format!("{device}: {error}")),
    }
}

impl Transport for ScsiGeneric {
    fn send(&mut self, command: &DriveCommand) -> Result<Reply, Failure> {
        let (block, length, page) = match command {
            DriveCommand::Ata(command) => (command.block().to_vec(), command.data_length(), command.page_out()),
            DriveCommand::Scsi(command) => (command.block(), command.data_length(), None),
            DriveCommand::Nvme(_) => {
                return Err(Failure::NotSupported("found an NVMe command on a SCSI device".to_owned()));
            }
        };
        let (direction, mut data) = match page {
            Some(page) => (TO_DRIVE, page.to_vec()),
            None if length == 0 => (TO_NOBODY, Vec::new()),
            None => (FROM_DRIVE, vec![0; length]),
        };
        let mut sense_data = [0_u8; 64];
        let mut header = Header {
            interface_id: i32::from(b'S'),
            dxfer_direction: direction,
            cmd_len: block.len() as u8,
            mx_sb_len: sense_data.len() as u8,
            iovec_count: 0,
            dxfer_len: data.len() as u32,
            dxferp: data.as_mut_ptr(),
            cmdp: block.as_ptr(),
            sbp: sense_data.as_mut_ptr(),
            timeout: LONGEST_MS,
            flags: 0,
            pack_id: 0,
            usr_ptr: std::ptr::null_mut(),
            status: 0,
            masked_status: 0,
            msg_status: 0,
            sb_len_wr: 0,
            host_status: 0,
            driver_status: 0,
            resid: 0,
            duration: 0,
            info: 0,
        };
        // SAFETY: the header has the layout of the kernel's structure (its size is asserted above). Its three pointers
        // are to live buffers of the lengths beside them, of which the kernel writes `data` and `sense_data` only,
        // and none of them is kept after the call.
        let done = unsafe { libc::ioctl(self.device.as_raw_fd(), SG_IO as _, &mut header) };
        if done < 0 {
            return Err(refused(&io::Error::last_os_error()));
        }
        if header.host_status != 0 {
            return Err(transport_trouble(header.host_status));
        }
        let missing = usize::try_from(header.resid).unwrap_or(0);
        data.truncate(length.saturating_sub(missing));
        let reply = Reply { data, sense: sense_data[..usize::from(header.sb_len_wr).min(sense_data.len())].to_vec() };
        match header.status {
            0 => Ok(reply),
            CHECK_CONDITION => checked(reply, self.answering),
            other => Err(Failure::Missing(Missing::found(
                Reason::Unreadable,
                format!("expected SCSI status 00h, found {other:02X}h"),
            ))),
        }
    }

    fn answering(&self) -> Answering {
        self.answering
    }
}

/// A command that ended with sense data: registers that were asked for, or the reason why it was not carried out.
fn checked(reply: Reply, answering: Answering) -> Result<Reply, Failure> {
    let told = sense(&reply.sense, answering);
    match told.as_ref().map(|sense| sense.meaning()) {
        Ok(Some(Meaning::RegistersReturned)) => Ok(reply),
        Ok(Some(meaning @ (Meaning::Aborted | Meaning::UnknownCommand | Meaning::UnknownField))) => {
            Err(Failure::NotSupported(meaning.to_string()))
        }
        Ok(meaning) => Err(Failure::Missing(Missing::found(
            Reason::Unreadable,
            format!("expected an answer, found sense {:02X?} ({meaning:?})", reply.sense),
        ))),
        Err(why) => Err(Failure::Missing(Missing::found(Reason::Unreadable, why.clone()))),
    }
}

fn refused(error: &io::Error) -> Failure {
    match error.raw_os_error() {
        Some(libc::EPERM | libc::EACCES) => Failure::Missing(WhyMissing::NeedsRawIo.into()),
        Some(libc::ENOTTY | libc::EINVAL) => Failure::NotSupported(error.to_string()),
        Some(libc::ENODEV | libc::ENXIO) => Failure::Missing(WhyMissing::Disconnected.into()),
        _ => Failure::Missing(Missing::found(Reason::Unreadable, error.to_string())),
    }
}

/// Host status (include/scsi/scsi_status.h). A command that took too long ends as "timed out" on SATA, but as "aborted"
/// or "reset" behind a USB bridge (drivers/usb/storage/usb.c, drivers/usb/storage/uas.c): the kernel has reset the
/// bridge, and the next question could bring the next reset.
fn transport_trouble(status: u16) -> Failure {
    const NO_CONNECTION: u16 = 1;
    const TIMED_OUT: u16 = 3;
    const ABORTED: u16 = 5;
    const RESET: u16 = 8;
    Failure::Missing(match status {
        TIMED_OUT | ABORTED | RESET => WhyMissing::KernelGaveUp.into(),
        NO_CONNECTION => WhyMissing::Disconnected.into(),
        other => Missing::found(Reason::Unreadable, format!("expected host status 0, found {other}")),
    })
}

#[cfg(test)]
mod tests {
    use super::*;

    /// DID_TIME_OUT, DID_ABORT, DID_RESET, DID_NO_CONNECT and DID_ERROR of include/scsi/scsi_status.h.
    #[test]
    fn a_command_that_the_kernel_gave_up_has_timed_out() {
        let reason = |status| match transport_trouble(status) {
            Failure::Missing(why) => Some(why.reason),
            Failure::NotSupported(_) => None,
        };
        assert_eq!([3, 5, 8].map(reason), [Some(Reason::TimedOut); 3]);
        assert_eq!([1, 7].map(reason), [Some(Reason::NotAvailable), Some(Reason::Unreadable)]);
    }
}
