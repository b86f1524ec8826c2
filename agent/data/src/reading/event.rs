//! What happened to a part of the box, as the kernel told it at the time: supporting evidence, never the only reason to
//! judge. Counters and states decide.

use super::DriveKey;
use crate::clock::Moment;
use crate::units::MegabitsPerSecond;
use serde::{Deserialize, Serialize};

/// Something that happened at one moment.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
pub struct Event {
    /// When, on the boot clock.
    pub at: Moment,
    /// To what.
    pub part: Part,
    /// What.
    pub what: EventKind,
    /// Who told it.
    pub teller: EventSource,
    /// The kernel's own line, cleaned and cut; empty when it was told by a message without words.
    pub line: String,
}

/// Who told of an event.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum EventSource {
    /// A message of the kernel's device model (lib/kobject_uevent.c).
    Uevent,
    /// A record of the kernel's log (Documentation/ABI/testing/dev-kmsg).
    Log,
    /// The readings of the program itself.
    Reading,
}

/// The part of the box that an event is about.
#[derive(Debug, Clone, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum Part {
    /// A drive that is or was there.
    Drive(DriveKey),
    /// A place where no known drive is or was, such as `ata3` or `sdx`.
    Place(String),
    /// A controller, by its key, see [`super::Controller`].
    Controller(String),
    /// A USB device, by the chain of its ports, such as `2.1`.
    Usb(String),
    /// A pool, by the kernel's name.
    Pool(String),
    /// A file system, by the device it is on.
    Volume(String),
    /// A network port.
    Link(String),
    /// An I2C bus, by the kernel's name, such as `i2c-1`, else by the device of its controller.
    Bus(String),
    /// The machine as a whole.
    Board,
}

/// What happened. Names of flags and bits are those of the kernel's `libata` and the AHCI and SATA standards.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
pub enum EventKind {
    /// Its device appeared.
    Appeared,
    /// Its device vanished.
    Vanished,
    /// It left standby.
    Woke,
    /// It counts more starts than before, though the board has run on: it lost its power.
    LostPower,
    /// A check, rebuild or the like began on it.
    WorkBegan,
    /// Data that was read does not agree with its checksum or its copies.
    Disagrees,
    /// It has work and finishes none.
    StandsStill,
    /// Transfers over its SATA link were damaged: ICRC, BadCRC, 10B8B, Dispar, Handshk, LinkSeq.
    TransferDamaged,
    /// Its connection came or went: PHYRdyChg, DevExch, CommWake, `connection status changed`.
    ConnectionChanged,
    /// Its link is down; the low digit of SStatus, where one was told: 0 nothing there, 1 there but no link, 4 switched off.
    LinkDown(Option<u8>),
    /// Its link is up, at a speed where one was told.
    LinkUp(Option<MegabitsPerSecond>),
    /// Its link was made slower after errors.
    LinkSlowed,
    /// A command was not answered in time.
    TimedOut,
    /// It or its link was reset.
    Reset,
    /// It is slow to become ready.
    SlowToRespond,
    /// It could not read a place.
    Unreadable,
    /// A command failed, for a reason that the line does not tell.
    CommandFailed,
    /// The kernel gave it up.
    GivenUp,
    /// A controller's registers read as all ones.
    AllOnes,
    /// A driver could not start it; the error number.
    NotStarted(i32),
    /// An error on its PCIe link, corrected.
    BusErrorCorrected,
    /// An error on its PCIe link, not corrected.
    BusError,
    /// Ports are scanned one after another, so drives come late (AHCI, staggered spin-up).
    StaggeredStart,
    /// A pool threw a member out.
    MemberFailed,
    /// A pool read a place anew from its other members.
    ReadCorrected,
    /// A pool was not started, or only by hand.
    NotAssembled,
    /// A pool was not stopped cleanly before.
    NotClean,
    /// A pool waits for members that it cannot do without.
    Suspended,
    /// A file system found an error in itself.
    FileSystemError,
    /// A file system stopped writing.
    StoppedWriting,
    /// A file system has no room for metadata.
    NoPoolMetadata,
    /// A port was switched off because too much current was drawn from it.
    OverCurrent,
    /// The board's supply is too low.
    UndervoltageBegan,
    /// The board's supply is right again.
    UndervoltageEnded,
    /// A task has waited for too long.
    TaskHung,
    /// A process was ended for want of memory.
    OutOfMemory,
    /// A network port agreed on less than it could.
    Downshifted,
    /// A network port cannot send.
    TransmitStuck,
    /// A bus does not answer, or another holds it.
    BusStuck,
    /// Lines of the kernel's log were lost, so many.
    LinesLost(u64),
}
