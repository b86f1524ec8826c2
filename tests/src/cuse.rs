//! The messages between the kernel and a program that is a character device (CUSE, a part of FUSE): bytes to requests,
//! replies to bytes. Layouts: Linux `include/uapi/linux/fuse.h`, protocol 7.31, native byte order.
//!
//! Not its job: what the device answers; that is `i2c_device.rs`.

use std::fmt;

/// One message from the kernel.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Request<'a> {
    /// The kernel's number for it; the reply carries the same.
    pub unique: u64,
    /// What is asked.
    pub call: Call<'a>,
}

/// What the kernel asks of the device.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Call<'a> {
    /// First message: who are you.
    Init,
    /// A program opens the device.
    Open,
    /// A program has closed it.
    Release {
        /// The number given in the reply to `Open`.
        handle: u64,
    },
    /// `write(2)`.
    Write {
        /// The number given in the reply to `Open`.
        handle: u64,
        /// The bytes written.
        data: &'a [u8],
    },
    /// `ioctl(2)`.
    Ioctl(Ioctl<'a>),
    /// The caller of an earlier request was interrupted. It has no reply.
    Interrupt,
    /// Anything else, by its number.
    Other(u32),
}

/// One round of an `ioctl(2)`. The kernel does not know what the argument points to; so the device says in a first round
/// what it wants to read and write there (`Reply::Again`), and gets it in the next.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Ioctl<'a> {
    /// The number given in the reply to `Open`.
    pub handle: u64,
    /// The ioctl's number.
    pub command: u32,
    /// Its argument: a value, or an address in the caller's memory.
    pub argument: u64,
    /// What was read from the caller's memory, span after span.
    pub input: &'a [u8],
    /// How many bytes may be written to the caller's memory, in bytes.
    pub output_len: u32,
}

/// A piece of the caller's memory.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Span {
    /// Its address.
    pub address: u64,
    /// Its length, in bytes.
    pub len: u64,
}

/// What the device answers.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reply {
    /// To `Init`: the device's name under `/dev`.
    Device {
        /// For example `i2c-9`.
        name: String,
    },
    /// To `Open`: the device's own number for this opening.
    Opened {
        /// Any number; it comes back with each later call.
        handle: u64,
    },
    /// To `Write`: so many bytes were taken.
    Written {
        /// In bytes.
        len: u32,
    },
    /// To `Ioctl`: done.
    Answered {
        /// What `ioctl(2)` returns.
        result: i32,
        /// The bytes for the caller's memory.
        output: Vec<u8>,
    },
    /// To `Ioctl`: ask again, with these pieces of the caller's memory.
    Again {
        /// To be read.
        read: Vec<Span>,
        /// To be written.
        write: Vec<Span>,
    },
    /// To any call without an answer of its own, such as `Release`.
    Done,
    /// The call failed with this error number, such as 121 for EREMOTEIO.
    Failed {
        /// A positive number from `errno.h`.
        errno: i32,
    },
}

/// A message that is too short for what it says it is.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct ShortMessage {
    found: usize,
    wanted: usize,
    part: &'static str,
}

impl fmt::Display for ShortMessage {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        write!(f, "a message of {} bytes ends inside its {}, which needs {}", self.found, self.part, self.wanted)
    }
}

impl std::error::Error for ShortMessage {}

/// The kernel wants to hand over a whole message at once: this many bytes hold the largest (a write of `MAX_WRITE`).
pub const READ_BUFFER: usize = MAX_WRITE as usize + 4096;

const MAX_WRITE: u32 = 64 * 1024;
const PROTOCOL: (u32, u32) = (7, 31);
const UNRESTRICTED_IOCTL: u32 = 1;
const IOCTL_RETRY: u32 = 1 << 2;

const HEADER: usize = 40;
const WRITE_HEADER: usize = 40;
const IOCTL_HEADER: usize = 32;

mod opcode {
    pub const OPEN: u32 = 14;
    pub const WRITE: u32 = 16;
    pub const RELEASE: u32 = 18;
    pub const INTERRUPT: u32 = 36;
    pub const IOCTL: u32 = 39;
    pub const CUSE_INIT: u32 = 4096;
}

impl<'a> Request<'a> {
    /// Takes one message of the kernel apart.
    ///
    /// # Errors
    /// When the message ends before all of its fields were there.
    pub fn from_bytes(message: &'a [u8]) -> Result<Self, ShortMessage> {
        let header = Fields::of(message, 0, HEADER, "header")?;
        let call = match header.u32_at(4) {
            opcode::CUSE_INIT => Call::Init,
            opcode::OPEN => Call::Open,
            opcode::RELEASE => Call::Release { handle: Fields::of(message, HEADER, 8, "file handle")?.u64_at(0) },
            opcode::WRITE => {
                let write = Fields::of(message, HEADER, WRITE_HEADER, "write header")?;
                let len = write.u32_at(16) as usize;
                let data = Fields::of(message, HEADER + WRITE_HEADER, len, "written data")?;
                Call::Write { handle: write.u64_at(0), data: data.0 }
            }
            opcode::IOCTL => {
                let ioctl = Fields::of(message, HEADER, IOCTL_HEADER, "ioctl header")?;
                let len = ioctl.u32_at(24) as usize;
                let input = Fields::of(message, HEADER + IOCTL_HEADER, len, "ioctl input")?;
                Call::Ioctl(Ioctl {
                    handle: ioctl.u64_at(0),
                    command: ioctl.u32_at(12),
                    argument: ioctl.u64_at(16),
                    input: input.0,
                    output_len: ioctl.u32_at(28),
                })
            }
            opcode::INTERRUPT => Call::Interrupt,
            other => Call::Other(other),
        };
        Ok(Self { unique: header.u64_at(8), call })
    }
}

impl Reply {
    /// The message for the kernel, as the answer to the request with this number.
    pub fn to_bytes(&self, unique: u64) -> Vec<u8> {
        let mut body = Vec::new();
        let mut error = 0i32;
        match self {
            Self::Device { name } => {
                put_u32s(&mut body, &[PROTOCOL.0, PROTOCOL.1, 0, UNRESTRICTED_IOCTL, MAX_WRITE, MAX_WRITE]);
                // Device number 0:0 (the kernel picks one), then ten spare words.
                put_u32s(&mut body, &[0; 12]);
                body.extend(format!("DEVNAME={name}\0").bytes());
            }
            Self::Opened { handle } => {
                body.extend(handle.to_ne_bytes());
                put_u32s(&mut body, &[0, 0]);
            }
            Self::Written { len } => put_u32s(&mut body, &[*len, 0]),
            Self::Answered { result, output } => {
                body.extend(result.to_ne_bytes());
                put_u32s(&mut body, &[0, 0, 0]);
                body.extend(output);
            }
            Self::Again { read, write } => {
                put_u32s(&mut body, &[0, IOCTL_RETRY, read.len() as u32, write.len() as u32]);
                for span in read.iter().chain(write) {
                    body.extend(span.address.to_ne_bytes());
                    body.extend(span.len.to_ne_bytes());
                }
            }
            Self::Done => {}
            Self::Failed { errno } => error = -errno,
        }
        let mut message = Vec::with_capacity(16 + body.len());
        put_u32s(&mut message, &[16 + body.len() as u32]);
        message.extend(error.to_ne_bytes());
        message.extend(unique.to_ne_bytes());
        message.extend(body);
        message
    }
}

fn put_u32s(bytes: &mut Vec<u8>, values: &[u32]) {
    bytes.extend(values.iter().flat_map(|value| value.to_ne_bytes()));
}

/// A part of a message that is known to be long enough for the fields read from it.
struct Fields<'a>(&'a [u8]);

impl<'a> Fields<'a> {
    fn of(message: &'a [u8], start: usize, len: usize, part: &'static str) -> Result<Self, ShortMessage> {
        message.get(start..start + len).map(Self).ok_or(ShortMessage {
            found: message.len(),
            wanted: start + len,
            part,
        })
    }

    fn u32_at(&self, offset: usize) -> u32 {
        u32::from_ne_bytes(std::array::from_fn(|i| self.0[offset + i]))
    }

    fn u64_at(&self, offset: usize) -> u64 {
        u64::from_ne_bytes(std::array::from_fn(|i| self.0[offset + i]))
    }
}

/// Messages as the kernel builds them, for the tests of this file and of `i2c_device.rs`.
#[cfg(test)]
mod tests {
    use super::*;

    /// `struct fuse_in_header`: len, opcode, unique, nodeid, uid, gid, pid, padding.
    fn message(opcode: u32, unique: u64, body: &[u8]) -> Vec<u8> {
        let mut bytes = Vec::new();
        put_u32s(&mut bytes, &[40 + body.len() as u32, opcode]);
        bytes.extend(unique.to_ne_bytes());
        bytes.extend(1u64.to_ne_bytes());
        put_u32s(&mut bytes, &[0, 0, 4321, 0]);
        bytes.extend(body);
        bytes
    }

    #[test]
    fn a_write_carries_its_handle_and_exactly_its_data() {
        // struct fuse_write_in: fh, offset, size, write_flags, lock_owner, flags, padding.
        let mut body = Vec::new();
        body.extend(7u64.to_ne_bytes());
        body.extend(0u64.to_ne_bytes());
        put_u32s(&mut body, &[3, 0]);
        body.extend(0u64.to_ne_bytes());
        put_u32s(&mut body, &[0, 0]);
        body.extend([0x00, 0xAE, 0xAF]);
        let bytes = message(16, 99, &body);
        let request = Request::from_bytes(&bytes).unwrap();
        assert_eq!(request, Request { unique: 99, call: Call::Write { handle: 7, data: &[0x00, 0xAE, 0xAF] } });
    }

    #[test]
    fn an_ioctl_carries_its_number_argument_and_rooms() {
        // struct fuse_ioctl_in: fh, flags, cmd, arg, in_size, out_size.
        let mut body = Vec::new();
        body.extend(7u64.to_ne_bytes());
        put_u32s(&mut body, &[2, 0x0705]);
        body.extend(0x7FFF_0000_1000u64.to_ne_bytes());
        put_u32s(&mut body, &[2, 8]);
        body.extend([0xAA, 0xBB]);
        let bytes = message(39, 5, &body);
        let wanted =
            Ioctl { handle: 7, command: 0x0705, argument: 0x7FFF_0000_1000, input: &[0xAA, 0xBB], output_len: 8 };
        assert_eq!(Request::from_bytes(&bytes).unwrap().call, Call::Ioctl(wanted));
    }

    #[test]
    fn a_message_cut_anywhere_is_an_error_and_never_a_panic() {
        let mut body = vec![0; WRITE_HEADER];
        body[16] = 4;
        body.extend([1, 2, 3, 4]);
        let bytes = message(16, 1, &body);
        for cut in 0..bytes.len() {
            assert!(Request::from_bytes(&bytes[..cut]).is_err(), "cut after {cut} bytes");
        }
        assert_eq!(
            Request::from_bytes(&bytes[..82]).unwrap_err().to_string(),
            "a message of 82 bytes ends inside its written data, which needs 84"
        );
    }

    #[test]
    fn an_unknown_request_keeps_its_number() {
        assert_eq!(Request::from_bytes(&message(40, 1, &[])).unwrap().call, Call::Other(40));
    }

    #[test]
    fn the_first_reply_names_the_device_and_asks_for_free_ioctls() {
        let bytes = Reply::Device { name: "i2c-9".into() }.to_bytes(1);
        // struct cuse_init_out is 72 bytes without the header: seven fields and spare[10], then the name.
        assert_eq!(bytes.len(), 16 + 72 + "DEVNAME=i2c-9".len() + 1);
        assert_eq!(bytes[0..4], (bytes.len() as u32).to_ne_bytes());
        assert_eq!(bytes[16 + 12..16 + 16], 1u32.to_ne_bytes());
        assert!(bytes.ends_with(b"DEVNAME=i2c-9\0"));
    }

    #[test]
    fn asking_again_lists_what_to_read_before_what_to_write() {
        let reply = Reply::Again {
            read: vec![Span { address: 0x1000, len: 16 }],
            write: vec![Span { address: 0x2000, len: 8 }],
        };
        let bytes = reply.to_bytes(3);
        // struct fuse_ioctl_out: result, flags, in_iovs, out_iovs; then struct fuse_ioctl_iovec: base, len.
        assert_eq!(bytes.len(), 16 + 16 + 2 * 16);
        assert_eq!(bytes[20..24], 4u32.to_ne_bytes());
        assert_eq!(bytes[32..40], 0x1000u64.to_ne_bytes());
        assert_eq!(bytes[48..56], 0x2000u64.to_ne_bytes());
    }

    #[test]
    fn a_failure_is_a_header_with_the_negative_error_number() {
        let bytes = Reply::Failed { errno: 121 }.to_bytes(8);
        assert_eq!(bytes.len(), 16);
        assert_eq!(bytes[4..8], (-121i32).to_ne_bytes());
        assert_eq!(bytes[8..16], 8u64.to_ne_bytes());
    }
}
