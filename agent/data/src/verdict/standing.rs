//! How the box stands, in one word, for documents and scripts.

use serde::{Deserialize, Serialize};

/// How the box stands.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "snake_case")]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub enum Standing {
    /// Nothing wrong so far, but the machine has just started: parts may still appear, or be missing.
    Starting,
    /// Nothing wrong, all of it seen.
    Fine,
    /// Nothing wrong in what was seen, but not all of it was.
    SeenInPart,
    /// Nothing was heard for a while.
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
            Self::SeenInPart | Self::Notice | Self::Fine => 0,
        }
    }
}
