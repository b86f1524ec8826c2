//! The words for limits: from where on a condition of a kind begins and ends, and where that limit comes from. Pure.

use crate::judge::{heat_limits, is_system};
use crate::reading::{Drive, DriveKind};
use crate::units::{Celsius, span};
use crate::verdict::{Condition, Finding, Kind, LinkFault};
use traylight_config::{DriveLimits, Limits, Settings, VolumeLimits};

/// Neither the drive nor the configuration says so.
const FIXED: &str = "fixed";

/// The limits behind a condition, a line each; `drive` is the one that it is about, where that is there.
pub fn limits(condition: &Condition, settings: &Settings, drive: Option<&Drive>) -> Vec<String> {
    let (set, plain) = (&settings.limits, &Limits::default());
    match &condition.finding {
        Finding::DriveHot { limit, own_limit, .. } => hot(&set.drive, &plain.drive, drive, *limit, *own_limit),
        Finding::SpaceLow { mount, .. } => room(&set.volume, &plain.volume, mount),
        Finding::LinkTrouble { what, .. } => vec![match what {
            LinkFault::Down => {
                let hold = span(set.link.down_hold);
                line(format!("down for {hold}"), origin(set.link.down_hold == plain.link.down_hold))
            }
            LinkFault::Slow { usual, .. } => {
                let hold = span(set.link.slower_hold);
                let text = format!("slower than {usual}, which it had for an hour, for {hold}");
                line(text, origin(set.link.slower_hold == plain.link.slower_hold))
            }
            LinkFault::Unsteady { .. } => {
                let text = format!("{} changes within {}", set.link.flaps, span(set.link.flap_window));
                let same = (set.link.flaps, set.link.flap_window) == (plain.link.flaps, plain.link.flap_window);
                line(text, origin(same))
            }
        }],
        _ => of_kind(condition.kind(), set, plain),
    }
}

fn of_kind(kind: Kind, set: &Limits, plain: &Limits) -> Vec<String> {
    let (drive, pool, fan) = (&set.drive, &set.pool, &set.fan);
    let fixed = |text: &str| vec![line(text.to_owned(), FIXED)];
    match kind {
        Kind::DriveGone => vec![
            line(
                format!("away for {}, or as soon as its pool misses it", span(drive.gone_hold)),
                origin(drive.gone_hold == plain.drive.gone_hold),
            ),
            line(
                format!("over when it is back for {}", span(drive.back_hold)),
                origin(drive.back_hold == plain.drive.back_hold),
            ),
        ],
        Kind::PoolDegraded => vec![
            line("critical when no further loss is survived, else a warning".to_owned(), FIXED),
            line(
                format!("over when it is whole and idle for {}", span(pool.whole_hold)),
                origin(pool.whole_hold == plain.pool.whole_hold),
            ),
        ],
        Kind::PoolDown => vec![
            line(format!("down for {}", span(pool.down_hold)), origin(pool.down_hold == plain.pool.down_hold)),
            line(format!("over when it is up for {}", span(pool.up_hold)), origin(pool.up_hold == plain.pool.up_hold)),
        ],
        Kind::FanStopped => vec![
            line(
                format!("0 rpm for {}, where it was seen turning or is named as steady", span(fan.stopped_hold)),
                origin(fan.stopped_hold == plain.fan.stopped_hold),
            ),
            line(
                format!("over above {} rpm for {}", fan.turning_again_rpm, span(fan.clear_hold)),
                origin((fan.turning_again_rpm, fan.clear_hold) == (plain.fan.turning_again_rpm, plain.fan.clear_hold)),
            ),
        ],
        Kind::PoolBusy => fixed("as long as there is work on its redundancy"),
        Kind::DriveSaysFailing => vec![line("the drive's own word".to_owned(), "drive")],
        Kind::PendingOrUncorrectable => {
            fixed("1 place is a warning, 10 are critical, and 1 while its pool lacks a member")
        }
        Kind::ReallocatedGrowth => fixed("1 more within 7 days is a warning, 50 within a day are critical"),
        Kind::SataCrcGrowth => fixed("1 more within 7 days is a notice, 3 within a day or 10 within 7 are a warning"),
        Kind::DriveLostPower => fixed("1 start more while the box runs is a warning, on two drives critical"),
        Kind::SsdWorn => fixed("80 % used is a warning, 95 % is critical"),
        Kind::DriveNotAnswering => fixed("work and none of it finished for 90 s more than the kernel's own patience"),
        Kind::DriveFlapping => fixed("lost 3 times within a day is a warning, within an hour critical"),
        Kind::DriveHotterThanPeers => fixed("8 °C above the middle of its kind for 30 min; over below 5 °C"),
        Kind::DrivesHeatingTogether => fixed("two drives 5 °C warmer within 10 min; over below 1 °C for 20 min"),
        Kind::DriveCold => fixed("below 5 °C for 10 min; over above 8 °C"),
        Kind::TemperatureLost => fixed("no temperature for 60 min from a drive that told it before"),
        Kind::SataSlow => fixed("slower than its best on this port for 10 min"),
        Kind::DriveTimeouts => fixed("1 command within a day that the kernel gave up waiting for"),
        Kind::RecoveryTimeMismatch => {
            fixed("the drive may try for longer than the kernel waits, 180 s if it has no limit")
        }
        Kind::DriveNewOrMoved => fixed("elsewhere than agreed for 30 s; over when the configuration is read again"),
        Kind::DriveBackNotUsed => fixed("there and not used by its pool for 120 s"),
        Kind::RebuildStalled => fixed("no progress, or below 1 MB/s, for 30 min"),
        Kind::Mismatches => fixed("1 sector that does not agree when a comparison ends"),
        Kind::CheckOverdue => fixed("45 days of watching without a comparison"),
        Kind::MemberErrors => fixed("1 more within 7 days is a warning, more than 100 within an hour are critical"),
        Kind::VolumeReadonly => fixed("not writable for 10 s"),
        Kind::VolumeAbsent => fixed("not mounted for 30 s"),
        Kind::VolumeErrors => fixed("1 error that the file system has written down"),
        Kind::InodesOrMetadataLow => {
            fixed("90 % used for 5 min is a warning, 97 % of files or hardly any room left critical")
        }
        Kind::FanWeak => fixed("below 60 % of its usual speed at this duty for 2 min; over above 75 % for 5 min"),
        Kind::CpuHotThrottled => fixed(
            "its configured limits, or 10 °C below an x86 processor's own critical temperature; or it slows itself down",
        ),
        Kind::Undervoltage => fixed("one alarm is a warning; 3 within 10 min, or one of 10 s, are critical"),
        Kind::RailOutOfRange => fixed("three samples outside the configured share of its voltage"),
        Kind::ControllerTrouble => fixed(
            "dead or without a driver for 10 s; 10 corrected errors or 3 resets within an hour; slower than it was for 60 min",
        ),
        Kind::AgentAndAlerts => {
            fixed("not seen for 30 s, no panel for 10 min, an alert stuck for 15 min, a day otherwise")
        }
        Kind::BoxStorageAndRestart => fixed("once within 7 days of watching; 2 GB written to a card within a day"),
        // These depend on what was found.
        Kind::DriveHot | Kind::SpaceLow | Kind::LinkTrouble => Vec::new(),
    }
}

fn hot(set: &DriveLimits, plain: &DriveLimits, drive: Option<&Drive>, limit: Celsius, own: bool) -> Vec<String> {
    let Some(drive) = drive else {
        let from = if own { "drive's own limit" } else { origin(set == plain) };
        return vec![line(format!("{limit} when it was last seen"), from)];
    };
    let in_force = heat_limits(set, drive);
    let (warning, critical) = match drive.kind {
        DriveKind::Ssd => (set.ssd_warning_c == plain.ssd_warning_c, set.ssd_critical_c == plain.ssd_critical_c),
        _ => (set.hdd_warning_c == plain.hdd_warning_c, set.hdd_critical_c == plain.hdd_critical_c),
    };
    let own_limit = drive.own_limits.maximum.filter(|_| in_force.own).map(|own| format!("drive's own limit {own}"));
    let from = |same| own_limit.clone().unwrap_or_else(|| origin(same).to_owned());
    let holds = (set.warning_hold, set.critical_hold) == (plain.warning_hold, plain.critical_hold);
    let clear = (set.clear_below_c, set.clear_hold) == (plain.clear_below_c, plain.clear_hold);
    vec![
        line(format!("warning from {}", Celsius(in_force.warning)), &from(warning)),
        line(format!("critical from {}", Celsius(in_force.critical)), &from(critical)),
        line(format!("held for {}, critical for {}", span(set.warning_hold), span(set.critical_hold)), origin(holds)),
        line(format!("over {} °C below it for {}", set.clear_below_c, span(set.clear_hold)), origin(clear)),
    ]
}

fn room(set: &VolumeLimits, plain: &VolumeLimits, mount: &str) -> Vec<String> {
    let mut lines = if is_system(mount) {
        let critical = (set.root_critical_percent, set.root_floor_mib);
        vec![
            line(
                format!("warning below {} % free", set.root_warning_percent),
                origin(set.root_warning_percent == plain.root_warning_percent),
            ),
            line(
                format!("critical below {} % or {} MiB free", critical.0, critical.1),
                origin(critical == (plain.root_critical_percent, plain.root_floor_mib)),
            ),
        ]
    } else {
        let warning = |of: &VolumeLimits| (of.data_warning_percent, of.data_warning_below_gib);
        let critical = |of: &VolumeLimits| (of.data_critical_percent, of.data_critical_below_gib, of.data_floor_gib);
        let (share, below, floor) = critical(set);
        vec![
            line(
                format!("warning below {} % and {} GiB free", warning(set).0, warning(set).1),
                origin(warning(set) == warning(plain)),
            ),
            line(
                format!("critical below {share} % and {below} GiB free, or below {floor} GiB"),
                origin(critical(set) == critical(plain)),
            ),
        ]
    };
    lines.push(line(format!("held for {}", span(set.hold)), origin(set.hold == plain.hold)));
    lines.push(line("a notice when it will be full within 7 days".to_owned(), FIXED));
    lines
}

fn origin(same_as_default: bool) -> &'static str {
    if same_as_default { "default" } else { "configuration" }
}

fn line(text: String, from: &str) -> String {
    format!("{text} ({from})")
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Moment;
    use crate::demo::{heron, story};
    use crate::reading::OwnLimits;
    use crate::verdict::{Place, Severity, Subject};
    use std::time::Duration;

    /// The limits of the first of heron's drives, which is as warm as it should not be.
    fn limits_of(settings: &Settings, own: Option<f64>) -> Vec<String> {
        let snapshot = heron::snapshot(Moment::default(), &story::scene(Duration::ZERO));
        let maximum = own.map(Celsius);
        let drive = Drive { own_limits: OwnLimits { maximum, critical: None }, ..snapshot.drives[0].clone() };
        let finding = Finding::DriveHot {
            drive: Place { tray: None, serial: drive.serial.clone(), port: None },
            now: Celsius(61.0),
            limit: Celsius(58.0),
            own_limit: own.is_some(),
            others: None,
            outlook: None,
        };
        let subject = Subject::Drive(drive.key.clone());
        let condition = Condition { subject, severity: Severity::Critical, since: Moment::default(), finding };
        limits(&condition, settings, Some(&drive))
    }

    #[test]
    fn a_limit_says_where_it_comes_from() {
        let mut settings = Settings::default();
        assert_eq!(limits_of(&settings, None)[..2], ["warning from 50 °C (default)", "critical from 58 °C (default)"]);
        settings.limits.drive.hdd_warning_c = 47.0;
        settings.limits.drive.warning_hold = Duration::from_secs(60);
        assert_eq!(
            limits_of(&settings, None),
            [
                "warning from 47 °C (configuration)",
                "critical from 58 °C (default)",
                "held for 60 s, critical for 60 s (configuration)",
                "over 4 °C below it for 10 min (default)",
            ]
        );
        assert_eq!(limits_of(&settings, Some(60.0))[1], "critical from 58 °C (drive's own limit 60 °C)");
    }
}
