//! Which parts of the box cannot be looked at, and why.

use crate::reading::{Listing, Missing};
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// A part of the box that cannot be looked at.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub struct UnseenPart {
    /// Which part.
    pub part: PartName,
    /// Why.
    pub why: Missing,
    /// For how long, of what a single look does not decide.
    pub lasted: Option<Duration>,
}

/// A part of the box by its name.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum PartName {
    /// All of it: no readings arrive.
    Everything,
    /// A list that could not be read.
    List(Listing),
    /// Channels of a chip.
    Chip {
        /// The chip's name.
        chip: String,
        /// Their labels.
        channels: Vec<String>,
    },
    /// A sensor that belongs to no chip.
    Sensor {
        /// Its label.
        label: String,
    },
    /// A network port.
    Port {
        /// The kernel's name of it.
        name: String,
    },
    /// A controller.
    Controller {
        /// Where it is plugged.
        key: String,
    },
    /// The health of a drive.
    Health {
        /// The shortest name of the drive.
        drive: String,
    },
    /// The space of a volume.
    Space {
        /// Its mount point.
        mount: String,
    },
    /// The state of a pool.
    Pool {
        /// Its name.
        name: String,
    },
    /// Something about the board.
    Board(BoardPart),
}

/// Something about the board that can be read, or not.
#[derive(Debug, Clone, Copy, PartialEq, Eq, PartialOrd, Ord, Serialize, Deserialize)]
#[serde(rename_all = "lowercase")]
pub enum BoardPart {
    /// How busy the processor is.
    Load,
    /// Whether memory ran out.
    Memory,
    /// Whether the processor is slowed down.
    Throttling,
    /// What the disk of the system has written.
    #[serde(rename = "system disk")]
    SystemDisk,
    /// The kernel's messages of parts that come and go.
    #[serde(rename = "kernel messages")]
    KernelMessages,
    /// The kernel's log.
    #[serde(rename = "kernel log")]
    KernelLog,
}
