//! What its owner can agree with.

use super::details::{AgentFault, Down};
use super::finding::Finding;
use crate::reading::Writing;

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
