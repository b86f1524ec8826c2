//! Asks the device mapper: one ioctl on its control device, which asks and never changes
//! (include/uapi/linux/dm-ioctl.h).

use super::parse::dm::table::{DmTarget, targets};
use crate::reading::{Missing, Reason, WhyMissing};
use std::fs::File;
use std::io;
use std::os::fd::AsRawFd;

/// `struct dm_ioctl`.
#[repr(C)]
struct Head {
    version: [u32; 3],
    data_size: u32,
    data_start: u32,
    target_count: u32,
    open_count: i32,
    flags: u32,
    event: u32,
    padding: u32,
    device: u64,
    name: [u8; 128],
    uuid: [u8; 129],
    data: [u8; 7],
}

const _: () = assert!(size_of::<Head>() == 312);

/// `DM_TABLE_STATUS`: `_IOWR(0xfd, 12, struct dm_ioctl)`.
const TABLE_STATUS: u32 = 0xC138_FD0C;
/// Tells of the table instead of the status.
const TABLE_FLAG: u32 = 1 << 4;
/// Does not write out anything before it answers.
const NO_FLUSH_FLAG: u32 = 1 << 11;
/// Out: the answer did not fit.
const BUFFER_FULL_FLAG: u32 = 1 << 8;

/// Room for the answer: 253 members have a table of some 4 KiB.
const ROOM: usize = 16 << 10;

/// What travels: the head, and behind it the answer.
#[repr(C)]
struct DmExchange {
    head: Head,
    answer: [u8; ROOM],
}

/// What is asked of a mapped device.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum DmQuery {
    /// Its state.
    Status,
    /// How it was put together.
    Table,
}

/// The control device, open.
pub struct DmControl(File);

impl DmControl {
    /// Opens `/dev/mapper/control`.
    #[allow(clippy::disallowed_methods, reason = "the device mapper's control device is this file's edge")]
    pub fn open() -> Result<Self, Missing> {
        File::open("/dev/mapper/control").map(Self).map_err(|error| missing("mapper/control", &error))
    }

    /// The targets of the device with this name.
    pub fn targets(&self, name: &str, what: DmQuery) -> Result<Vec<DmTarget>, Missing> {
        let mut exchange = question(name, what)?;
        // SAFETY: `exchange` is one live structure that begins with the kernel's `struct dm_ioctl` (its size is asserted
        // above) and is `data_size` bytes long in all; the kernel reads and writes within those and keeps no pointer to
        // them. Any bytes that come back are valid in it.
        let done = unsafe { libc::ioctl(self.0.as_raw_fd(), TABLE_STATUS as _, std::ptr::from_mut(exchange.as_mut())) };
        if done < 0 {
            return Err(missing(name, &io::Error::last_os_error()));
        }
        answer(&exchange).map_err(|strange| Missing::found(Reason::Unreadable, format!("{name}: {strange}")))
    }
}

fn question(name: &str, what: DmQuery) -> Result<Box<DmExchange>, Missing> {
    let mut head = Head {
        version: [4, 0, 0],
        data_size: size_of::<DmExchange>() as u32,
        data_start: size_of::<Head>() as u32,
        target_count: 0,
        open_count: 0,
        flags: NO_FLUSH_FLAG | if what == DmQuery::Table { TABLE_FLAG } else { 0 },
        event: 0,
        padding: 0,
        device: 0,
        name: [0; 128],
        uuid: [0; 129],
        data: [0; 7],
    };
    // The last byte stays zero: it ends the name.
    match head.name.get_mut(..name.len()) {
        Some(place) if name.len() < 128 && !name.is_empty() => place.copy_from_slice(name.as_bytes()),
        _ => {
            let found = format!("expected a name of 1 to 127 bytes, found {}", name.len());
            return Err(Missing::found(Reason::Unreadable, found));
        }
    }
    Ok(Box::new(DmExchange { head, answer: [0; ROOM] }))
}

/// The targets, from where the kernel says that they begin to where it says that they end.
fn answer(exchange: &DmExchange) -> Result<Vec<DmTarget>, String> {
    let head = &exchange.head;
    if head.flags & BUFFER_FULL_FLAG != 0 {
        return Err(format!("expected an answer of at most {ROOM} bytes, found a longer one"));
    }
    let within = |at: u32| usize::try_from(at).ok()?.checked_sub(size_of::<Head>());
    let bytes =
        within(head.data_start).zip(within(head.data_size)).and_then(|(from, to)| exchange.answer.get(from..to));
    let bytes = bytes.ok_or_else(|| {
        format!("expected an answer after the header, found one from byte {} to {}", head.data_start, head.data_size)
    })?;
    targets(bytes, head.target_count)
}

fn missing(name: &str, error: &io::Error) -> Missing {
    match error.raw_os_error() {
        Some(libc::EPERM | libc::EACCES) => Missing::from(WhyMissing::NeedsSysAdmin).and_found(name),
        Some(libc::ENXIO | libc::ENODEV | libc::ENOENT) => Missing::from(WhyMissing::Disconnected).and_found(name),
        _ => Missing::found(Reason::Unreadable, format!("{name}: {error}")),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::mem::offset_of;

    /// Offsets from include/uapi/linux/dm-ioctl.h, counted by a C compiler.
    #[test]
    fn fields_are_where_the_kernel_has_them() {
        let found = [offset_of!(Head, data_size), offset_of!(Head, data_start), offset_of!(Head, target_count)];
        assert_eq!(found, [12, 16, 20]);
        assert_eq!([offset_of!(Head, flags), offset_of!(Head, name), offset_of!(Head, uuid)], [28, 48, 176]);
        assert_eq!(offset_of!(DmExchange, answer), 312);
        assert_eq!((TABLE_STATUS >> 16 & 0x3FFF) as usize, size_of::<Head>());
    }

    #[test]
    fn a_question_names_its_device_and_asks_to_write_nothing_out() {
        let asked = question("vg-lv", DmQuery::Table).unwrap();
        assert!(asked.head.name.starts_with(b"vg-lv\0"));
        assert_eq!(asked.head.flags, TABLE_FLAG | NO_FLUSH_FLAG);
        assert_eq!(question("vg-lv", DmQuery::Status).unwrap().head.flags, NO_FLUSH_FLAG);
        assert!(question(&"x".repeat(127), DmQuery::Status).is_ok());
        assert!(question(&"x".repeat(128), DmQuery::Status).is_err() && question("", DmQuery::Status).is_err());
    }

    #[test]
    fn an_answer_outside_its_room_is_refused() {
        let mut got = question("vg-lv", DmQuery::Status).unwrap();
        got.head.target_count = 1;
        let absurd = [(0, 400), (312, 16 << 20), (400, 350), (u32::MAX, u32::MAX)];
        for (start, size) in absurd {
            (got.head.data_start, got.head.data_size) = (start, size);
            assert!(answer(&got).is_err(), "{start} {size}");
        }
        (got.head.data_start, got.head.data_size) = (312, 400);
        got.head.flags = BUFFER_FULL_FLAG;
        assert_eq!(answer(&got), Err("expected an answer of at most 16384 bytes, found a longer one".into()));
    }
}
