//! Which kind of condition facts belong to, and which drive they are about.

use super::{AgentFault, Down, Finding, Kind, Place};
use crate::reading::Writing;

impl Finding {
    /// True for what can be meant so: something is missing or less than before, and nothing is read as wrong.
    pub fn can_be_agreed_with(&self) -> bool {
        match self {
            Self::DriveGone { .. }
            | Self::DriveNewOrMoved { .. }
            | Self::MissingAtStart { .. }
            | Self::SataSlow { .. }
            | Self::UsbSlow { .. }
            | Self::FanWeak { .. }
            | Self::LinkTrouble { .. }
            | Self::ControllerTrouble { .. } => true,
            Self::AgentTrouble { what } => matches!(what, AgentFault::Unseen { .. }),
            Self::PoolDown { why, .. } => *why == Down::Absent,
            Self::FanStopped { by_fault_line, .. } => !by_fault_line,
            Self::VolumeReadonly { writing, .. } => *writing == Writing::ReadOnly,
            _ => false,
        }
    }

    /// The kind of condition these facts belong to.
    pub fn kind(&self) -> Kind {
        match self {
            Self::DriveGone { .. } => Kind::DriveGone,
            Self::DriveHot { .. } => Kind::DriveHot,
            Self::PoolDegraded { .. } => Kind::PoolDegraded,
            Self::PoolDown { .. } => Kind::PoolDown,
            Self::PoolBusy { .. } => Kind::PoolBusy,
            Self::SpaceLow { .. } => Kind::SpaceLow,
            Self::FanStopped { .. } => Kind::FanStopped,
            Self::LinkTrouble { .. } => Kind::LinkTrouble,
            Self::DriveSaysFailing { .. } => Kind::DriveSaysFailing,
            Self::Counted { what, .. } => what.kind(),
            Self::SsdWorn { .. } => Kind::SsdWorn,
            Self::DriveNotAnswering { .. } => Kind::DriveNotAnswering,
            Self::DriveFlapping { .. } => Kind::DriveFlapping,
            Self::DriveHotterThanPeers { .. } => Kind::DriveHotterThanPeers,
            Self::DrivesHeatingTogether { .. } => Kind::DrivesHeatingTogether,
            Self::DriveCold { .. } => Kind::DriveCold,
            Self::TemperatureLost { .. } => Kind::TemperatureLost,
            Self::SataSlow { .. } => Kind::SataSlow,
            Self::RecoveryTimeMismatch { .. } => Kind::RecoveryTimeMismatch,
            Self::DriveNewOrMoved { .. } => Kind::DriveNewOrMoved,
            Self::DriveBackNotUsed { .. } => Kind::DriveBackNotUsed,
            Self::RebuildStalled { .. } => Kind::RebuildStalled,
            Self::Mismatches { .. } => Kind::Mismatches,
            Self::CheckOverdue { .. } => Kind::CheckOverdue,
            Self::MemberErrors { .. } | Self::DataLost { .. } => Kind::MemberErrors,
            Self::MemberFaulty { .. } => Kind::MemberFaulty,
            Self::UsbSlow { .. } => Kind::UsbSlow,
            Self::MissingAtStart { .. } => Kind::DriveMissingAtStart,
            Self::VolumeReadonly { .. } => Kind::VolumeReadonly,
            Self::VolumeAbsent { .. } => Kind::VolumeAbsent,
            Self::VolumeErrors { .. } => Kind::VolumeErrors,
            Self::FilesLow { .. } | Self::MetadataLow { .. } => Kind::InodesOrMetadataLow,
            Self::FanWeak { .. } | Self::AirflowSuspected { .. } => Kind::FanWeak,
            Self::ProcessorHot { .. } => Kind::CpuHotThrottled,
            Self::Undervoltage { .. } => Kind::Undervoltage,
            Self::RailOutOfRange { .. } => Kind::RailOutOfRange,
            Self::ControllerTrouble { .. } => Kind::ControllerTrouble,
            Self::AgentTrouble { .. } => Kind::AgentAndAlerts,
            Self::BoxTrouble { .. } => Kind::BoxStorageAndRestart,
        }
    }

    /// The drive that these facts are about, if they are about one.
    pub fn drive(&self) -> Option<&Place> {
        match self {
            Self::DriveGone { drive, .. }
            | Self::DriveHot { drive, .. }
            | Self::DriveSaysFailing { drive, .. }
            | Self::Counted { drive, .. }
            | Self::SsdWorn { drive, .. }
            | Self::DriveNotAnswering { drive, .. }
            | Self::DriveFlapping { drive, .. }
            | Self::DriveHotterThanPeers { drive, .. }
            | Self::DriveCold { drive, .. }
            | Self::TemperatureLost { drive, .. }
            | Self::SataSlow { drive, .. }
            | Self::UsbSlow { drive, .. }
            | Self::MissingAtStart { drive, .. }
            | Self::RecoveryTimeMismatch { drive, .. }
            | Self::DriveNewOrMoved { drive, .. }
            | Self::DriveBackNotUsed { drive, .. }
            | Self::MemberErrors { drive, .. } => Some(drive),
            Self::MemberFaulty { drive, .. } => drive.as_ref(),
            Self::PoolDegraded { .. }
            | Self::PoolDown { .. }
            | Self::PoolBusy { .. }
            | Self::SpaceLow { .. }
            | Self::FanStopped { .. }
            | Self::LinkTrouble { .. }
            | Self::RebuildStalled { .. }
            | Self::Mismatches { .. }
            | Self::CheckOverdue { .. }
            | Self::DataLost { .. }
            | Self::VolumeReadonly { .. }
            | Self::VolumeAbsent { .. }
            | Self::VolumeErrors { .. }
            | Self::FilesLow { .. }
            | Self::MetadataLow { .. }
            | Self::DrivesHeatingTogether { .. }
            | Self::FanWeak { .. }
            | Self::AirflowSuspected { .. }
            | Self::ProcessorHot { .. }
            | Self::Undervoltage { .. }
            | Self::RailOutOfRange { .. }
            | Self::ControllerTrouble { .. }
            | Self::AgentTrouble { .. }
            | Self::BoxTrouble { .. } => None,
        }
    }
}
