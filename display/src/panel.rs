//! What a panel can do, what it costs, and what can go wrong with it.
//!
//! A real panel is in `oled`; a test or a terminal may be a panel as well.

use std::fmt;
use std::io;
use std::ops::AddAssign;

use embedded_hal::i2c::ErrorKind;

use crate::frame::{Frame, PanelSize};

/// Something that shows frames.
pub trait Panel {
    /// The size of picture it takes.
    fn size(&self) -> PanelSize;

    /// Shows the frame, sending only what differs from the picture before. After `Ok` the panel shows the frame, and only
    /// then; after an error nothing is believed about the panel, and the next frame is sent whole, with the set-up.
    fn show(&mut self, frame: &Frame) -> Result<Sent, PanelFault>;

    /// Sends the set-up and the whole frame, whatever is believed about the panel. A panel that lost power for a moment
    /// forgets both and still answers, so this is worth doing every minute and after any trouble with power. It does not
    /// darken the panel.
    fn refresh(&mut self, frame: &Frame) -> Result<Sent, PanelFault>;

    /// Makes the panel dimmer or brighter, from now on.
    fn set_brightness(&mut self, brightness: Brightness) -> Result<Sent, PanelFault>;
}

/// How brightly the panel shines. More light ages it faster.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Brightness {
    /// For a dark room: as dim as the panel can.
    Night,
    /// For a picture that stands all day.
    Dim,
    /// For something to be looked at.
    Bright,
    /// For an alarm: all the light there is.
    Full,
}

/// What a transfer put on the bus, address bytes counted.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Default)]
pub struct Sent {
    /// Messages, each from a start to a stop.
    pub messages: usize,
    /// Bytes. Each takes nine clocks of the bus.
    pub bytes: usize,
}

impl AddAssign for Sent {
    fn add_assign(&mut self, other: Sent) {
        self.messages += other.messages;
        self.bytes += other.bytes;
    }
}

/// Why a panel could not be reached. Its text says what to do.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum PanelFault {
    /// Nobody acknowledged the address.
    NotAnswering,
    /// A transfer did not end in time.
    BusStuck,
    /// Another device spoke at the same time.
    LostArbitration,
    /// A driver of the kernel owns the address.
    Busy,
    /// The machine has no I2C bus that programs may use.
    NoBuses,
    /// There are buses, but not this one.
    NoSuchBus {
        /// The bus as the owner named it.
        wanted: String,
        /// Those that there are, each with the name of its adapter.
        found: Vec<String>,
    },
    /// The bus is there and may not be used.
    NotAllowed,
    /// The adapter cannot send plain messages.
    CannotSend,
    /// The picture was drawn for another panel.
    WrongSize {
        /// The picture's.
        found: PanelSize,
        /// The panel's, as it is built in.
        wanted: PanelSize,
    },
    /// Anything else, as the bus put it.
    Other(String),
}

impl PanelFault {
    /// What an error of the Linux I2C device means (the kernel's own list: `Documentation/i2c/fault-codes.rst`).
    pub fn from_io(error: &io::Error) -> PanelFault {
        // Two codes that the standard library has no name for, as numbered on x86, ARM and RISC-V. Which of the two says
        // "not acknowledged" depends on the adapter.
        const ENXIO: i32 = 6;
        const EREMOTEIO: i32 = 121;

        match error.kind() {
            io::ErrorKind::TimedOut => PanelFault::BusStuck,
            io::ErrorKind::WouldBlock => PanelFault::LostArbitration,
            io::ErrorKind::ResourceBusy => PanelFault::Busy,
            io::ErrorKind::NotFound => PanelFault::NoBuses,
            io::ErrorKind::PermissionDenied => PanelFault::NotAllowed,
            io::ErrorKind::Unsupported => PanelFault::CannotSend,
            _ if matches!(error.raw_os_error(), Some(ENXIO | EREMOTEIO)) => PanelFault::NotAnswering,
            _ => PanelFault::Other(error.to_string()),
        }
    }

    /// What an error of any other bus means, as far as its kind tells.
    pub fn from_bus<E: embedded_hal::i2c::Error>(error: &E) -> PanelFault {
        match error.kind() {
            ErrorKind::NoAcknowledge(_) => PanelFault::NotAnswering,
            ErrorKind::ArbitrationLoss => PanelFault::LostArbitration,
            ErrorKind::Bus => PanelFault::BusStuck,
            _ => PanelFault::Other(format!("{error:?}")),
        }
    }
}

impl fmt::Display for PanelFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            PanelFault::NotAnswering => {
                "the panel does not answer: check its four wires, that it is set to I2C, and its address (a module that has \
                 0x78 printed on it answers at 0x3C, one with 0x7A at 0x3D)"
            }
            PanelFault::BusStuck => {
                "the panel's bus hangs, as it does when a transfer was cut short: re-plug the panel, or switch the box's \
                 power off and on again"
            }
            PanelFault::LostArbitration => {
                "another device used the panel's bus at the same time: if it happens often, re-plug the panel or give \
                 it a bus of its own"
            }
            PanelFault::Busy => {
                "a driver of the kernel already owns the panel's address: take its overlay for a display out of the board's \
                 boot settings, and restart"
            }
            PanelFault::NoBuses => {
                "this machine shows no I2C bus: turn I2C on in the board's boot settings and load the module i2c-dev"
            }
            PanelFault::NoSuchBus { wanted, found } => {
                return write!(f, "there is no I2C bus {wanted}: this machine has {}", found.join(", "));
            }
            PanelFault::NotAllowed => "the panel's bus may not be opened: the program's user must be in the group that owns it",
            PanelFault::CannotSend => {
                "the bus adapter cannot send plain I2C messages: connect the panel to another adapter"
            }
            PanelFault::WrongSize { found, wanted } => {
                return write!(
                    f,
                    "expected a picture of {} by {} pixels, found {} by {}",
                    wanted.width(),
                    wanted.height(),
                    found.width(),
                    found.height()
                );
            }
            PanelFault::Other(text) => return write!(f, "the panel could not be written to: {text}"),
        })
    }
}

impl std::error::Error for PanelFault {}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn each_error_of_the_linux_device_has_its_own_meaning() {
        // Numbers from the kernel's include/uapi/asm-generic/errno-base.h and errno.h, meanings from
        // Documentation/i2c/fault-codes.rst; the numbers from memory.
        let meanings = [
            (121, PanelFault::NotAnswering),
            (6, PanelFault::NotAnswering),
            (110, PanelFault::BusStuck),
            (11, PanelFault::LostArbitration),
            (16, PanelFault::Busy),
            (2, PanelFault::NoBuses),
            (13, PanelFault::NotAllowed),
            (95, PanelFault::CannotSend),
        ];
        for (number, meaning) in meanings {
            assert_eq!(PanelFault::from_io(&io::Error::from_raw_os_error(number)), meaning, "{number}");
        }
        assert!(matches!(PanelFault::from_io(&io::Error::from_raw_os_error(5)), PanelFault::Other(_)));
    }

    #[test]
    fn a_fault_says_what_to_do_in_one_sentence() {
        assert_eq!(
            PanelFault::BusStuck.to_string(),
            "the panel's bus hangs, as it does when a transfer was cut short: re-plug the panel, or switch the box's power \
             off and on again"
        );
        assert_eq!(PanelFault::Other("odd".into()).to_string(), "the panel could not be written to: odd");
        assert!(PanelFault::NotAnswering.to_string().contains("0x78 printed on it answers at 0x3C"));
    }
}
