//! The shelves in the document: every tray of the configuration, also those without a drive.

use crate::verdict::{self, Kind, Severity, Subject, TrayState, Verdict};
use serde::{Deserialize, Serialize};

/// A shelf of the configuration.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Shelf {
    /// Its name.
    pub name: String,
    /// Its trays, left to right.
    pub trays: Vec<Tray>,
}

/// A tray. A drive in it is among `drives`, with the same label.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Tray {
    /// Its label.
    pub label: String,
    /// What is in it.
    pub state: TrayContent,
    /// The worst open condition of its drive; `null` when there is none.
    pub severity: Option<Severity>,
    /// For how long its drive has been gone, in seconds; `null` when it is not gone, the clock was not
    /// set over a restart, or no agent runs.
    pub gone_s: Option<u64>,
}

/// What is in a tray.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
#[serde(rename_all = "kebab-case")]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub enum TrayContent {
    /// No drive, and none is expected.
    Empty,
    /// No drive any more.
    Gone,
    /// A drive that its pool has removed as faulty.
    Faulty,
    /// A drive that its pool is rebuilding.
    Rebuilding,
    /// A drive in standby.
    Asleep,
    /// A drive with a temperature.
    Awake,
    /// A drive without a temperature.
    NoReading,
}

impl From<TrayState> for TrayContent {
    fn from(state: TrayState) -> Self {
        match state {
            TrayState::Empty => Self::Empty,
            TrayState::Gone => Self::Gone,
            TrayState::Bad => Self::Faulty,
            TrayState::Rebuilding => Self::Rebuilding,
            TrayState::Asleep => Self::Asleep,
            TrayState::Warm(_) => Self::Awake,
            TrayState::NoReading => Self::NoReading,
        }
    }
}

/// The shelves that the configuration names.
pub(super) fn shelves(verdict: &Verdict) -> Vec<Shelf> {
    let named = verdict.shelves.iter().filter(|shelf| !shelf.name.is_empty());
    let trays = |shelf: &verdict::Shelf| shelf.trays.iter().map(|of| tray(verdict, of)).collect();
    named.map(|shelf| Shelf { name: shelf.name.clone(), trays: trays(shelf) }).collect()
}

fn tray(verdict: &Verdict, tray: &verdict::Tray) -> Tray {
    let subject = tray.drive.clone().map(Subject::Drive);
    let is_gone =
        |held: &&verdict::Condition| held.kind() == Kind::DriveGone && Some(&held.subject) == subject.as_ref();
    let gone = verdict.conditions.iter().find(is_gone).and_then(|held| verdict.gaps.since(held.since, verdict.at));
    Tray {
        label: tray.place.label(),
        state: tray.state.into(),
        severity: tray.severity,
        gone_s: gone.map(|gone| gone.as_secs()),
    }
}
