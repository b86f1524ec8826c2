//! What the owner can accept, and what became of it.

use super::condition::Condition;
use super::details::{AgentFault, Down};
use super::finding::Finding;
use crate::reading::Writing;

/// What became of an incident that the owner accepted.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct Acceptance {
    /// The conditions that end with the next reading.
    pub accepted: Vec<Condition>,
    /// Those that stay open.
    pub open: Vec<NotAccepted>,
}

/// A condition that was not accepted.
#[derive(Debug, Clone, PartialEq)]
pub struct NotAccepted {
    /// The condition.
    pub condition: Condition,
    /// Why it stays open.
    pub why: AcceptanceRefusal,
}

/// Why a condition cannot be accepted.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum AcceptanceRefusal {
    /// The configuration names it.
    Configured,
    /// It is back.
    IsBack,
    /// `/etc/fstab` mounts it writable.
    MountedWritable,
    /// It is still read as wrong.
    StillRead,
}

impl Finding {
    /// True for what can be meant so: something is missing or less than before, and nothing is read as wrong.
    pub fn can_be_agreed_with(&self) -> bool {
        match self {
            Self::DriveGone { .. }
            | Self::DriveNewOrMoved { .. }
            | Self::DriveMissingAtStart { .. }
            | Self::SataSlow { .. }
            | Self::UsbSlow { .. }
            | Self::FanWeak { .. }
            | Self::LinkTrouble { .. }
            | Self::ControllerTrouble { .. } => true,
            Self::AgentAndAlerts { what } => matches!(what, AgentFault::Unseen { .. }),
            Self::PoolDown { why, .. } => *why == Down::Absent,
            Self::FanStopped { by_fault_line, .. } => !by_fault_line,
            Self::VolumeReadonly { writing, .. } => *writing == Writing::ReadOnly,
            _ => false,
        }
    }
}
