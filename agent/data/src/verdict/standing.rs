//! The overall state of the box in one word, for documents and scripts.

use serde::{Deserialize, Serialize};

/// Overall state of the box.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Standing {
    /// The machine has just started: parts may still appear.
    Starting,
    /// Nothing wrong.
    Fine,
    /// Nothing wrong in what could be read; some parts could not.
    PartlyReadable,
    /// No readings for a while.
    NoData,
    /// A notice is open.
    Notice,
    /// A warning is open.
    Warning,
    /// A critical condition is open.
    Critical,
}

impl Standing {
    /// The exit code that tells a script: 0 nothing wrong, 3 the box is still starting, 10 a warning is open or nothing is
    /// heard of the box, 20 a critical condition is open.
    pub fn exit_code(self) -> u8 {
        match self {
            Self::Critical => 20,
            Self::Warning | Self::NoData => 10,
            Self::Starting => 3,
            Self::PartlyReadable | Self::Notice | Self::Fine => 0,
        }
    }
}
