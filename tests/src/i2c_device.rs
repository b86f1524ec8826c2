//! An I2C bus as its character device shows it: ioctls and writes in, transfers to the bus out.
//! Numbers and structures: Linux `include/uapi/linux/i2c.h` and `i2c-dev.h`, 64-bit callers.
//!
//! Not its job: the messages of the kernel (`cuse.rs`), and what is on the bus (the caller's [`Bus`]).

use crate::cuse::{Call, Ioctl, Reply, Span};
use std::collections::HashMap;

/// What is on the bus.
pub trait Bus {
    /// One write to the device at a 7-bit address; the error is an error number.
    ///
    /// # Errors
    /// [`EREMOTEIO`] when nothing answers there.
    fn write(&mut self, address: u16, bytes: &[u8]) -> Result<(), i32>;
}

/// "Remote I/O error": nobody acknowledged.
pub const EREMOTEIO: i32 = 121;
const EINVAL: i32 = 22;
const ENOTTY: i32 = 25;
const ENOSYS: i32 = 38;
const EOPNOTSUPP: i32 = 95;

const I2C_SLAVE: u32 = 0x0703;
const I2C_FUNCS: u32 = 0x0705;
const I2C_RDWR: u32 = 0x0707;
const I2C_PEC: u32 = 0x0708;

/// Plain I2C messages are understood, none of the SMBus forms.
const FUNC_I2C: u64 = 1;
/// `struct i2c_rdwr_ioctl_data`: address of the messages, their number, padding.
const RDWR_LEN: usize = 16;
/// `struct i2c_msg`: address, flags, length, padding, address of the data.
const MESSAGE_LEN: usize = 16;
/// `I2C_RDWR_IOCTL_MAX_MSGS`.
const MAX_MESSAGES: usize = 42;
/// The longest message that i2c-dev takes.
const MAX_MESSAGE: usize = 8192;

/// The device file.
#[derive(Debug)]
pub struct I2cDevice<B> {
    name: String,
    bus: B,
    /// The address that each opening has chosen.
    chosen: HashMap<u64, u16>,
    next_handle: u64,
}

impl<B: Bus> I2cDevice<B> {
    /// A device file of this name (such as `i2c-9`) for this bus.
    pub fn new(name: &str, bus: B) -> Self {
        Self { name: name.into(), bus, chosen: HashMap::new(), next_handle: 1 }
    }

    /// Answers one call; `None` where the kernel wants no reply.
    pub fn answer(&mut self, call: &Call<'_>) -> Option<Reply> {
        Some(match call {
            Call::Init => Reply::Device { name: self.name.clone() },
            Call::Open => {
                let handle = self.next_handle;
                self.next_handle += 1;
                Reply::Opened { handle }
            }
            Call::Release { handle } => {
                self.chosen.remove(handle);
                Reply::Done
            }
            Call::Write { handle, data } => match self.chosen.get(handle).copied() {
                Some(address) => or_failed(self.bus.write(address, data), Reply::Written { len: data.len() as u32 }),
                None => Reply::Failed { errno: EINVAL },
            },
            Call::Ioctl(ioctl) => self.ioctl(ioctl),
            Call::Interrupt => return None,
            Call::Other(_) => Reply::Failed { errno: ENOSYS },
        })
    }

    fn ioctl(&mut self, ioctl: &Ioctl<'_>) -> Reply {
        match ioctl.command {
            I2C_SLAVE => match u16::try_from(ioctl.argument) {
                Ok(address) if address < 0x80 => {
                    self.chosen.insert(ioctl.handle, address);
                    done()
                }
                _ => Reply::Failed { errno: EINVAL },
            },
            // The caller's `unsigned long` has to be asked for before it can be written.
            I2C_FUNCS if ioctl.output_len == 0 => {
                Reply::Again { read: vec![], write: vec![Span { address: ioctl.argument, len: 8 }] }
            }
            I2C_FUNCS => Reply::Answered { result: 0, output: FUNC_I2C.to_ne_bytes().to_vec() },
            I2C_RDWR => self.transfer(ioctl),
            // Error codes are for SMBus transfers; i2c-dev takes the wish from everybody, and so do programs rely on it.
            I2C_PEC => done(),
            _ => Reply::Failed { errno: ENOTTY },
        }
    }

    /// I2C_RDWR in four rounds: nothing is here; the outer structure is; the messages are too; their data is too.
    fn transfer(&mut self, ioctl: &Ioctl<'_>) -> Reply {
        let mut wanted = vec![Span { address: ioctl.argument, len: RDWR_LEN as u64 }];
        let Some((outer, rest)) = ioctl.input.split_at_checked(RDWR_LEN) else {
            return Reply::Again { read: wanted, write: vec![] };
        };
        let count = u32_at(outer, 8) as usize;
        if count == 0 || count > MAX_MESSAGES {
            return Reply::Failed { errno: EINVAL };
        }
        wanted.push(Span { address: u64_at(outer, 0), len: (count * MESSAGE_LEN) as u64 });
        let Some((headers, mut data)) = rest.split_at_checked(count * MESSAGE_LEN) else {
            return Reply::Again { read: wanted, write: vec![] };
        };
        let messages: Vec<Message> = headers.chunks_exact(MESSAGE_LEN).map(Message::from_bytes).collect();
        if messages.iter().any(|message| message.flags != 0) {
            return Reply::Failed { errno: EOPNOTSUPP };
        }
        if messages.iter().any(|message| message.len > MAX_MESSAGE) {
            return Reply::Failed { errno: EINVAL };
        }
        if data.len() < messages.iter().map(|message| message.len).sum() {
            wanted.extend(messages.iter().map(|message| Span { address: message.data, len: message.len as u64 }));
            return Reply::Again { read: wanted, write: vec![] };
        }
        for message in &messages {
            let (bytes, later) = data.split_at(message.len);
            data = later;
            if let Err(errno) = self.bus.write(message.address, bytes) {
                return Reply::Failed { errno };
            }
        }
        Reply::Answered { result: count as i32, output: vec![] }
    }
}

/// `struct i2c_msg`.
struct Message {
    address: u16,
    flags: u16,
    len: usize,
    data: u64,
}

impl Message {
    /// From exactly [`MESSAGE_LEN`] bytes.
    fn from_bytes(bytes: &[u8]) -> Self {
        let word = |offset: usize| u16::from_ne_bytes([bytes[offset], bytes[offset + 1]]);
        Self { address: word(0), flags: word(2), len: usize::from(word(4)), data: u64_at(bytes, 8) }
    }
}

fn done() -> Reply {
    Reply::Answered { result: 0, output: vec![] }
}

fn or_failed(outcome: Result<(), i32>, reply: Reply) -> Reply {
    outcome.map_or_else(|errno| Reply::Failed { errno }, |()| reply)
}

fn u32_at(bytes: &[u8], offset: usize) -> u32 {
    u32::from_ne_bytes(std::array::from_fn(|i| bytes[offset + i]))
}

fn u64_at(bytes: &[u8], offset: usize) -> u64 {
    u64::from_ne_bytes(std::array::from_fn(|i| bytes[offset + i]))
}

#[cfg(test)]
mod tests {
    use super::*;

    /// Answers at 0x3C only, and remembers what came.
    #[derive(Default)]
    struct Recorder(Vec<Vec<u8>>);

    impl Bus for Recorder {
        fn write(&mut self, address: u16, bytes: &[u8]) -> Result<(), i32> {
            if address != 0x3C {
                return Err(EREMOTEIO);
            }
            self.0.push(bytes.to_vec());
            Ok(())
        }
    }

    fn device() -> I2cDevice<Recorder> {
        I2cDevice::new("i2c-9", Recorder::default())
    }

    fn ioctl(command: u32, argument: u64, input: &[u8], output_len: u32) -> Call<'_> {
        Call::Ioctl(Ioctl { handle: 1, command, argument, input, output_len })
    }

    fn message(address: u16, flags: u16, len: u16, data: u64) -> Vec<u8> {
        let mut bytes = Vec::new();
        bytes.extend([address, flags, len, 0].iter().flat_map(|word| word.to_ne_bytes()));
        bytes.extend(data.to_ne_bytes());
        bytes
    }

    /// Plays the kernel's part: copies whatever is asked for out of a pretended memory, until the device is content.
    fn rdwr(device: &mut I2cDevice<Recorder>, memory: &[(u64, Vec<u8>)]) -> (Reply, usize) {
        let mut input = Vec::new();
        for round in 1.. {
            match device.answer(&ioctl(I2C_RDWR, 0x1000, &input, 0)).unwrap() {
                Reply::Again { read, .. } => {
                    input = read
                        .iter()
                        .flat_map(|span| {
                            let (_, bytes) = memory.iter().find(|(address, _)| *address == span.address).unwrap();
                            bytes[..span.len as usize].to_vec()
                        })
                        .collect();
                }
                reply => return (reply, round),
            }
            assert!(round < 5, "the device never stops asking");
        }
        unreachable!()
    }

    fn memory_with(messages: &[Vec<u8>], data: &[(u64, Vec<u8>)]) -> Vec<(u64, Vec<u8>)> {
        let mut outer = 0x2000u64.to_ne_bytes().to_vec();
        outer.extend((messages.len() as u32).to_ne_bytes());
        outer.extend([0; 4]);
        let mut memory = vec![(0x1000, outer), (0x2000, messages.concat())];
        memory.extend(data.to_vec());
        memory
    }

    #[test]
    fn two_messages_reach_the_bus_after_two_more_rounds_of_asking() {
        let mut device = device();
        let messages = [message(0x3C, 0, 2, 0x3000), message(0x3C, 0, 3, 0x4000)];
        let memory = memory_with(&messages, &[(0x3000, vec![0x00, 0xAF]), (0x4000, vec![0x40, 1, 2])]);
        let (reply, rounds) = rdwr(&mut device, &memory);
        assert_eq!(reply, Reply::Answered { result: 2, output: vec![] });
        assert_eq!(rounds, 4);
        assert_eq!(device.bus.0, [vec![0x00, 0xAF], vec![0x40, 1, 2]]);
    }

    #[test]
    fn an_empty_message_is_a_probe_and_needs_no_data() {
        let mut device = device();
        let (reply, _) = rdwr(&mut device, &memory_with(&[message(0x3C, 0, 0, 0x3000)], &[]));
        assert_eq!(reply, Reply::Answered { result: 1, output: vec![] });
    }

    #[test]
    fn nobody_at_the_address_is_a_remote_io_error() {
        let mut device = device();
        let memory = memory_with(&[message(0x3D, 0, 1, 0x3000)], &[(0x3000, vec![0])]);
        assert_eq!(rdwr(&mut device, &memory).0, Reply::Failed { errno: 121 });
    }

    #[test]
    fn reading_and_absurd_counts_are_refused() {
        let mut device = device();
        let read = memory_with(&[message(0x3C, 1, 1, 0x3000)], &[]);
        assert_eq!(rdwr(&mut device, &read).0, Reply::Failed { errno: EOPNOTSUPP });
        let crowd = memory_with(&vec![message(0x3C, 0, 1, 0x3000); 43], &[]);
        assert_eq!(rdwr(&mut device, &crowd).0, Reply::Failed { errno: EINVAL });
    }

    #[test]
    fn a_plain_write_goes_to_the_address_chosen_before_and_nowhere_without_one() {
        let mut device = device();
        let write = Call::Write { handle: 1, data: &[0x00, 0xAE] };
        assert_eq!(device.answer(&write), Some(Reply::Failed { errno: EINVAL }));
        assert_eq!(device.answer(&ioctl(I2C_SLAVE, 0x3C, &[], 0)), Some(done()));
        assert_eq!(device.answer(&write), Some(Reply::Written { len: 2 }));
        device.answer(&Call::Release { handle: 1 });
        assert_eq!(device.answer(&write), Some(Reply::Failed { errno: EINVAL }));
        assert_eq!(device.bus.0, [vec![0x00, 0xAE]]);
    }

    #[test]
    fn the_functions_are_written_to_memory_that_was_asked_for() {
        let mut device = device();
        let asked = device.answer(&ioctl(I2C_FUNCS, 0x9000, &[], 0));
        assert_eq!(asked, Some(Reply::Again { read: vec![], write: vec![Span { address: 0x9000, len: 8 }] }));
        let answered = device.answer(&ioctl(I2C_FUNCS, 0x9000, &[], 8));
        assert_eq!(answered, Some(Reply::Answered { result: 0, output: 1u64.to_ne_bytes().to_vec() }));
    }

    #[test]
    fn what_i2c_dev_takes_from_everybody_is_taken_and_the_rest_refused() {
        assert_eq!(device().answer(&ioctl(I2C_PEC, 0, &[], 0)), Some(done()));
        let smbus = 0x0720;
        assert_eq!(device().answer(&ioctl(smbus, 0x1000, &[], 0)), Some(Reply::Failed { errno: ENOTTY }));
    }

    #[test]
    fn each_opening_gets_its_own_handle_and_an_interrupt_no_reply() {
        let mut device = device();
        assert_eq!(device.answer(&Call::Open), Some(Reply::Opened { handle: 1 }));
        assert_eq!(device.answer(&Call::Open), Some(Reply::Opened { handle: 2 }));
        assert_eq!(device.answer(&Call::Interrupt), None);
    }
}
