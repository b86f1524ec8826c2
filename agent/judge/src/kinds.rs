//! Which kinds of condition go with what is behind them.

use std::time::Duration;
use traylight_data::verdict::Kind;

/// What happens to several parts for one reason happens within this.
pub const TOGETHER: Duration = Duration::from_secs(10);

/// Kinds of condition that a connection can be behind: plugs, cables, power, controllers.
pub const CONNECTION: [Kind; 6] = [
    Kind::DriveGone,
    Kind::DriveFlapping,
    Kind::DriveBackNotUsed,
    Kind::DriveTimeouts,
    Kind::DriveNotAnswering,
    Kind::MemberErrors,
];
/// The kind that a supply or a power contact is behind.
pub const POWER: [Kind; 1] = [Kind::DriveLostPower];
/// Kinds that damaged transfers are behind.
pub const TRANSFER: [Kind; 2] = [Kind::SataCrcGrowth, Kind::SataSlow];
/// Kinds that the drive's own surface or flash is behind.
pub const MEDIA: [Kind; 3] = [Kind::PendingOrUncorrectable, Kind::ReallocatedGrowth, Kind::DriveSaysFailing];
/// A drive of which both hold is wearing out, whatever its power does.
pub const WEARING: [Kind; 2] = [Kind::PendingOrUncorrectable, Kind::ReallocatedGrowth];
