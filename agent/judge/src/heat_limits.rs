//! From how many degrees on a drive is too warm: by its own limit where it states one, else as configured.

use crate::limit::origin;
use traylight_config::Settings;
use traylight_data::reading::{Drive, DriveKind};
use traylight_data::units::Celsius;
use traylight_data::verdict::{HeatLimits, Origin};

/// The warning comes at least so many degrees before the critical limit (starting value, no source).
const APART: f64 = 3.0;

/// The drive's own limit where it states one, else the configured ones. Turning disks are kept 10 degrees below their
/// own limit and within 45 to 55; flash 5 below (common practice, no source). A disk whose own limit is so low that these
/// would meet is warned of just before it is critical.
pub fn heat_limits(settings: &Settings, drive: &Drive) -> HeatLimits {
    let limits = &settings.limits.drive;
    let configured = |kind: &str| {
        let of = |level: &str| origin(settings, &format!("limits.drive.{kind}_{level}_c"));
        of("warning").max(of("critical"))
    };
    match (drive.kind, drive.own_limits.maximum) {
        (DriveKind::Ssd, Some(Celsius(own))) => HeatLimits { warning: own - 5.0, critical: own, origin: Origin::Drive },
        (DriveKind::Ssd, None) => {
            HeatLimits { warning: limits.ssd_warning_c, critical: limits.ssd_critical_c, origin: configured("ssd") }
        }
        (_, Some(Celsius(own))) => {
            let critical = own - 2.0;
            HeatLimits {
                warning: (own - 10.0).clamp(45.0, 55.0).min(critical - APART),
                critical,
                origin: Origin::Drive,
            }
        }
        (_, None) => {
            HeatLimits { warning: limits.hdd_warning_c, critical: limits.hdd_critical_c, origin: configured("hdd") }
        }
    }
}
