//! What may be done with trays while an incident is open.

use serde::{Deserialize, Serialize};

/// What may be done with trays while an incident is open. Only one of these allows to take a drive out.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
pub enum Handling {
    /// It is not about trays.
    NoTray,
    /// None may be taken out.
    PullNothing,
    /// These must stay in, by their labels; empty for all.
    LeaveIn(Vec<String>),
    /// Which tray it is in is not certain: the serial on the drive decides.
    Compare {
        /// The end of the serial that must be on the drive.
        serial: String,
    },
    /// Nobody can tell which drive it is, since it reports no serial: none may be taken out.
    Nameless,
    /// It may be taken out: its pool does not need it.
    MayPull {
        /// The label of its tray.
        tray: String,
    },
    /// It must be put back.
    PutBack {
        /// The label of its tray.
        tray: String,
    },
}

/// Drives that must stay in.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(feature = "schema", derive(schemars::JsonSchema))]
pub struct LeaveIn {
    /// True when all of them must; `trays` is empty then.
    pub all: bool,
    /// Labels of their trays.
    pub trays: Vec<String>,
}

impl Handling {
    /// The drives that must stay in, where it is about them.
    pub fn leave_in(&self) -> Option<LeaveIn> {
        match self {
            Self::LeaveIn(labels) => Some(LeaveIn { all: labels.is_empty(), trays: labels.clone() }),
            _ => None,
        }
    }

    /// True when trays must stay in that were not named before. No name at all stands for all of them.
    pub(super) fn names_more_than(&self, before: &Self) -> bool {
        match (before, self) {
            (Self::LeaveIn(before), Self::LeaveIn(now)) => {
                !before.is_empty() && (now.is_empty() || now.iter().any(|tray| !before.contains(tray)))
            }
            _ => false,
        }
    }
}
