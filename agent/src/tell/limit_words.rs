//! The words for limits: from where on a condition begins and ends, and where that limit comes from. Each number is the one
//! that its rule compares, so none is written here. Pure.

use crate::judge::{
    airflow, answering, attachments, board, controllers, fans, health, heat, itself, links, member_errors,
    member_faulty, newcomers, pool_work, processor, space, starts, supply, tachometers, volumes, warmth,
};
use crate::reading::{Drive, DriveKind, is_system};
use crate::units::{Bytes, Celsius, Volts, span};
use crate::verdict::{
    AgentFault, BoxFault, Condition, ControllerFault, Finding, HeatLimits, Kind, LinkFault, PoolErrors, Scarce, WeakFan,
};
use traylight_config::{Limits, Settings, VolumeLimits};

/// The limits behind a condition, a line each; `drive` is the one that it is about, with how warm it may be, where that is
/// there.
pub fn limits(condition: &Condition, settings: &Settings, drive: Option<(&Drive, HeatLimits)>) -> Vec<String> {
    let by = By(settings);
    match &condition.finding {
        Finding::DriveHot { limit, own_limit, .. } => hot(by, drive, *limit, *own_limit),
        Finding::SpaceLow { mount, .. } => room(by, mount),
        Finding::LinkTrouble { what, .. } => vec![link(by, what)],
        Finding::FanStopped { by_fault_line: true, .. } => vec!["the chip's own fault line (fan chip)".to_owned()],
        Finding::FanWeak { what: WeakFan::Airflow { .. } } => vec![fixed(format!(
            "{} drives {} °C warmer within {}, and the middle one {} °C above the warmest that it held for an hour in the last {}, of which {} hours must be known; \
             over below {} °C",
            airflow::DRIVES,
            airflow::RISE,
            span(airflow::RISING),
            airflow::ABOVE,
            span(airflow::SEASON),
            airflow::HOURS,
            airflow::ON_CURVE
        ))],
        Finding::InodesOrMetadataLow { what: Scarce::Files { .. } } => vec![fixed(format!(
            "{} % used for {} is a warning, {} % critical; over below {} %",
            volumes::USED[1],
            span(volumes::SLOWLY.warning),
            volumes::USED[2],
            volumes::USED[0]
        ))],
        Finding::InodesOrMetadataLow { what: Scarce::Metadata { .. } } => vec![fixed(format!(
            "{} % used for {}, and less than {} or 1 % of the pool not allocated is a warning, less than {} critical",
            volumes::USED[1],
            span(volumes::SLOWLY.warning),
            Bytes(volumes::HARDLY_ANY_LEFT),
            Bytes(volumes::NONE_LEFT)
        ))],
        Finding::MemberErrors { what: PoolErrors::DataLost { .. }, .. } => {
            vec![fixed("1 piece of data that is lost is critical".to_owned())]
        }
        Finding::RailOutOfRange { nominal, low, high, .. } => rail(by, *nominal, *low, *high),
        Finding::ControllerTrouble { what, .. } => vec![fixed(controller(what))],
        Finding::AgentAndAlerts { what } => vec![fixed(agent(what))],
        Finding::BoxStorageAndRestart { what } => vec![fixed(the_box(what))],
        _ => of_kind(condition.kind(), by),
    }
}

/// Whose limits they are.
#[derive(Clone, Copy)]
struct By<'a>(&'a Settings);

impl By<'_> {
    fn limits(&self) -> &Limits {
        &self.0.limits
    }

    /// A line of a limit that these keys below `limits` set.
    fn line(&self, keys: &[&str], text: String) -> String {
        format!("{text} ({})", self.origin(keys))
    }

    /// A value that was written is its owner's, also when it equals the default.
    fn origin(&self, keys: &[&str]) -> &'static str {
        let is_written = |key: &&str| self.0.written.contains(&format!("limits.{key}"));
        if keys.iter().any(is_written) { "configuration" } else { "default" }
    }
}

/// Neither the drive nor the configuration says so.
fn fixed(text: String) -> String {
    format!("{text} (fixed)")
}

fn of_kind(kind: Kind, by: By) -> Vec<String> {
    let set = by.limits();
    let one = |text: String| vec![fixed(text)];
    match kind {
        Kind::DriveGone => vec![
            by.line(
                &["drive.gone_hold"],
                format!("away for {}, or as soon as its pool misses it", span(set.drive.gone_hold)),
            ),
            by.line(&["drive.back_hold"], format!("over when it is back for {}", span(set.drive.back_hold))),
        ],
        Kind::PoolDegraded => vec![
            fixed("critical when no further loss is survived, else a warning".to_owned()),
            by.line(&["pool.whole_hold"], format!("over when it is whole and idle for {}", span(set.pool.whole_hold))),
        ],
        Kind::PoolDown => vec![
            by.line(&["pool.down_hold"], format!("down for {}", span(set.pool.down_hold))),
            by.line(&["pool.up_hold"], format!("over when it is up for {}", span(set.pool.up_hold))),
        ],
        Kind::FanStopped => {
            let (still, turns) = (set.fan.stopped_hold, set.fan.turning_again_rpm);
            let ends = ["fan.turning_again_rpm", "fan.clear_hold"];
            vec![
                by.line(
                    &["fan.stopped_hold"],
                    format!("0 rpm for {}, where it was seen turning or is named as steady", span(still)),
                ),
                fixed(format!(
                    "where its level is not known: a notice once it had turned for {}, a warning once it had for {} without a rest",
                    span(tachometers::TURNED_STEADILY),
                    span(tachometers::NEVER_RESTS_AFTER)
                )),
                by.line(&ends, format!("over above {turns} rpm for {}", span(set.fan.clear_hold))),
            ]
        }
        Kind::FanWeak => {
            let (share, hold) = (set.fan.weak_percent, span(set.fan.weak_hold));
            vec![
                by.line(
                    &["fan.weak_percent", "fan.weak_hold"],
                    format!("below {share} % of its usual speed at this duty for {hold}"),
                ),
                fixed(format!("over above {} % for {}", fans::WELL_PERCENT, span(fans::WELL_HOLD))),
            ]
        }
        Kind::CpuHotThrottled => {
            let cpu = &set.processor;
            let (warning, critical) = processor::BELOW_OWN;
            vec![
                by.line(
                    &["processor.warning_c", "processor.warning_hold"],
                    format!("warning from {} for {}", Celsius(cpu.warning_c), span(cpu.warning_hold)),
                ),
                by.line(
                    &["processor.critical_c", "processor.critical_hold"],
                    format!("critical from {} for {}", Celsius(cpu.critical_c), span(cpu.critical_hold)),
                ),
                fixed(format!(
                    "from {warning} and {critical} °C below its own critical temperature, where an x86 processor states one"
                )),
                by.line(&["processor.warning_hold"], format!("or it slows itself down for {}", span(cpu.warning_hold))),
                by.line(
                    &["processor.clear_below_c", "processor.clear_hold"],
                    format!("over {} °C below the warning for {}", cpu.clear_below_c, span(cpu.clear_hold)),
                ),
            ]
        }
        Kind::DriveSaysFailing => vec!["the drive's own word (drive)".to_owned()],
        Kind::PoolBusy => one("as long as there is work on its redundancy".to_owned()),
        Kind::PendingOrUncorrectable => one(format!(
            "1 place is a warning, {} are critical, and 1 while its pool lacks a member",
            health::UNREADABLE_MANY
        )),
        Kind::ReallocatedGrowth => one(format!(
            "1 more within {} is a warning, {} within {} are critical",
            span(health::WEEK),
            health::REALLOCATED_MANY,
            span(health::DAY)
        )),
        Kind::SataCrcGrowth => one(format!(
            "1 more within {} is a notice, {} within {} or {} within {} are a warning",
            span(health::WEEK),
            health::CRC_DAY,
            span(health::DAY),
            health::CRC_WEEK,
            span(health::WEEK)
        )),
        Kind::DriveLostPower => one(format!(
            "1 start more while the machine runs is a warning, on two drives within {} critical; over after {}",
            span(health::TOGETHER),
            span(health::WEEK)
        )),
        Kind::SsdWorn => one(format!("{} % used is a warning, {} % is critical", health::WORN, health::WORN_OUT)),
        Kind::DriveNotAnswering => one(format!(
            "work and none of it finished for {} is a warning, for {} critical; over after {}",
            span(answering::STALLED.warning),
            span(answering::STALLED.critical),
            span(answering::STALLED.clear)
        )),
        Kind::DriveFlapping => one(format!(
            "lost {} times within {} is a warning, within {} critical",
            answering::LOSSES,
            span(answering::DAY),
            span(answering::HOUR)
        )),
        Kind::DriveHotterThanPeers => one(format!(
            "{} °C above the middle of its kind for {}; over below {} °C",
            warmth::ODD,
            span(warmth::ODD_HOLD),
            warmth::NOT_ODD
        )),
        Kind::DrivesHeatingTogether => one(format!(
            "{} drives {} °C warmer within {} while a fan fails, or {} °C beyond what they reached before at such work, or {} °C \
             below their limit where that is not known; over below {} °C for {}",
            warmth::TOGETHER,
            warmth::STEEP,
            span(warmth::SPAN),
            airflow::ABOVE,
            warmth::NEAR,
            warmth::FLAT,
            span(warmth::FLAT_HOLD)
        )),
        Kind::DriveCold => one(format!(
            "below {} °C for {}; over above {} °C",
            warmth::COLD,
            span(warmth::COLD_HOLD),
            warmth::NOT_COLD
        )),
        Kind::TemperatureLost => {
            one(format!("no temperature for {} from a drive that told it before", span(warmth::LOST_HOLD)))
        }
        Kind::SataSlow => one(format!("slower than its best on this port for {}", span(attachments::SLOW_HOLD))),
        Kind::DriveTimeouts => {
            one(format!("1 command within {} that the kernel gave up waiting for", span(attachments::DAY)))
        }
        Kind::RecoveryTimeMismatch => one(format!(
            "the drive may try for longer than the kernel waits, {} if it has no limit",
            span(attachments::WITHOUT_LIMIT)
        )),
        Kind::DriveNewOrMoved => one(format!(
            "elsewhere than agreed for {}; over when the configuration is read again",
            span(newcomers::STEADY.notice)
        )),
        Kind::DriveBackNotUsed => {
            one(format!("there and not used by its pool for {}", span(member_errors::LEFT_OUT.warning)))
        }
        Kind::RebuildStalled => one(format!(
            "no progress, or below {} MB/s, for {}",
            pool_work::CRAWL_BYTES_PER_S / 1e6,
            span(pool_work::STALLED.warning)
        )),
        Kind::Mismatches => one("1 sector that does not agree when a comparison ends".to_owned()),
        Kind::CheckOverdue => one(format!("{} of watching without a comparison", span(pool_work::CHECK_EVERY))),
        Kind::MemberErrors => one(format!(
            "1 more within {} is a warning, more than {} within {} are critical",
            span(member_errors::WEEK),
            member_errors::MANY,
            span(member_errors::HOUR)
        )),
        Kind::MemberFaulty => one(format!(
            "listed by its pool and not well for {}, while the pool lacks no data; over after {}",
            span(member_faulty::HOLDS.warning),
            span(member_faulty::HOLDS.clear)
        )),
        Kind::UsbSlow => {
            one(format!("slower than its best on this USB controller for {}", span(attachments::SLOW_HOLD)))
        }
        Kind::DriveMissingAtStart => {
            one(format!("missing in {} of the last {} cold starts", starts::TOO_MANY, starts::STARTS))
        }
        Kind::VolumeReadonly => one(format!("not writable for {}", span(volumes::STOPPED.critical))),
        Kind::VolumeAbsent => one(format!("not mounted for {}", span(volumes::GONE.critical))),
        Kind::VolumeErrors => one("1 error that the file system has written down".to_owned()),
        Kind::Undervoltage => one(format!(
            "one alarm is a warning for {}; {} within {}, or one of {}, are critical",
            span(supply::TOLD_FOR),
            supply::MANY,
            span(supply::DIPS_WITHIN),
            span(supply::LONG)
        )),
        // These depend on what was found.
        Kind::DriveHot
        | Kind::SpaceLow
        | Kind::LinkTrouble
        | Kind::InodesOrMetadataLow
        | Kind::RailOutOfRange
        | Kind::ControllerTrouble
        | Kind::AgentAndAlerts
        | Kind::BoxStorageAndRestart => Vec::new(),
    }
}

fn link(by: By, what: &LinkFault) -> String {
    let set = &by.limits().link;
    match what {
        LinkFault::Down => by.line(&["link.down_hold"], format!("down for {}", span(set.down_hold))),
        LinkFault::Slow { usual, .. } => by.line(
            &["link.slower_hold"],
            format!(
                "slower than {usual}, which it had for {}, for {}",
                span(links::USUAL_AFTER),
                span(set.slower_hold)
            ),
        ),
        LinkFault::Unsteady { .. } => by.line(
            &["link.flaps", "link.flap_window"],
            format!("{} changes within {}", set.flaps, span(set.flap_window)),
        ),
    }
}

fn rail(by: By, nominal: crate::reading::Nominal, low: Volts, high: Volts) -> Vec<String> {
    let set = &by.limits().supply;
    let warning = format!("below {low} or above {high} for {}", span(supply::SAMPLES));
    let critical = match nominal {
        crate::reading::Nominal::Twelve => Some(by.line(
            &["supply.twelve_volt_critical_percent"],
            format!("critical when off by {} %", set.twelve_volt_critical_percent),
        )),
        crate::reading::Nominal::Five => Some(fixed(format!("critical below {}", Volts(supply::FIVE_AT_LEAST)))),
        crate::reading::Nominal::ThreePointThree => None,
    };
    let ends = fixed(format!("over {} inside of that", Volts(supply::INSIDE)));
    [Some(by.line(&["supply.warning_percent"], warning)), critical, Some(ends)].into_iter().flatten().collect()
}

fn controller(what: &ControllerFault) -> String {
    let lost = span(controllers::LOST.critical);
    match what {
        ControllerFault::Gone => format!("away for {lost}"),
        ControllerFault::AllOnes => format!("no answer but all ones for {lost}"),
        ControllerFault::NoDriver => format!("no driver for {lost}"),
        ControllerFault::BusErrors { .. } => {
            format!("{} corrected errors within {}", controllers::BUS_ERRORS, span(controllers::HOUR))
        }
        ControllerFault::SlowLane { .. } => {
            format!("slower or narrower than its best for {}", span(controllers::SLOW.warning))
        }
        ControllerFault::Resets { .. } => {
            format!("{} resets within {}", controllers::RESETS, span(controllers::HOUR))
        }
    }
}

fn agent(what: &AgentFault) -> String {
    match what {
        AgentFault::PanelLost => format!("no answer from a panel for {}", span(itself::PANEL_HOLD)),
        AgentFault::Unseen { .. } => format!("not seen for {}", span(itself::THREE_LOOKS)),
        AgentFault::ClockNotSet => format!("not set for {}", span(itself::DAY)),
        AgentFault::NotConfirmed { .. } => format!("not confirmed for {}", span(itself::DAY)),
        AgentFault::NotDelivered { .. } => {
            format!("waits for {}; critical after {}", span(itself::WAITS), span(itself::DAY))
        }
        AgentFault::NotKept { .. } => "immediately; over when the store works".to_owned(),
        AgentFault::EndedUnasked { .. } => format!("once within {} of watching", span(board::WEEK)),
    }
}

fn the_box(what: &BoxFault) -> String {
    match what {
        BoxFault::UncleanRestart { .. } | BoxFault::OutOfMemory { .. } | BoxFault::DiskErrors { .. } => {
            format!("once within {} of watching", span(board::WEEK))
        }
        BoxFault::CardWears { .. } => {
            let (most, within, hold) = (Bytes(board::CARD_BYTES), span(board::DAY), span(board::HOUR));
            format!("more than {most} written within {within} of watching, for {hold}")
        }
    }
}

fn hot(by: By, drive: Option<(&Drive, HeatLimits)>, limit: Celsius, own: bool) -> Vec<String> {
    let set = &by.limits().drive;
    let Some((drive, in_force)) = drive else {
        const KEYS: [&str; 4] =
            ["drive.hdd_warning_c", "drive.hdd_critical_c", "drive.ssd_warning_c", "drive.ssd_critical_c"];
        let from = if own { "drive's own limit" } else { by.origin(&KEYS) };
        return vec![format!("{limit} when it was last seen ({from})")];
    };
    let (warning, critical) = match drive.kind {
        DriveKind::Ssd => ("drive.ssd_warning_c", "drive.ssd_critical_c"),
        _ => ("drive.hdd_warning_c", "drive.hdd_critical_c"),
    };
    let own = drive.own_limits.maximum.filter(|_| in_force.own).map(|own| format!("drive's own limit {own}"));
    let line = |key, text: String| match &own {
        Some(own) => format!("{text} ({own})"),
        None => by.line(&[key], text),
    };
    let mut lines = vec![
        line(warning, format!("warning from {}", Celsius(in_force.warning))),
        line(critical, format!("critical from {}", Celsius(in_force.critical))),
        by.line(
            &["drive.warning_hold", "drive.critical_hold"],
            format!("held for {}, critical for {}", span(set.warning_hold), span(set.critical_hold)),
        ),
        by.line(
            &["drive.clear_below_c", "drive.clear_hold"],
            format!("over {} °C below it for {}", set.clear_below_c, span(set.clear_hold)),
        ),
    ];
    lines
        .extend(drive.own_limits.critical.map(|end| format!("critical without a hold from {end} (drive's own limit)")));
    lines.push(fixed(format!("a notice when it will get there within {}", span(heat::AHEAD))));
    lines
}

fn room(by: By, mount: &str) -> Vec<String> {
    let set: &VolumeLimits = &by.limits().volume;
    let mut lines = if is_system(mount) {
        vec![
            by.line(&["volume.root_warning_percent"], format!("warning below {} % free", set.root_warning_percent)),
            by.line(
                &["volume.root_critical_percent", "volume.root_floor_mib"],
                format!("critical below {} % or {} MiB free", set.root_critical_percent, set.root_floor_mib),
            ),
        ]
    } else {
        let (share, below, floor) = (set.data_critical_percent, set.data_critical_below_gib, set.data_floor_gib);
        vec![
            by.line(
                &["volume.data_warning_percent", "volume.data_warning_below_gib"],
                format!(
                    "warning below {} % and {} GiB free, at any size on btrfs and ZFS",
                    set.data_warning_percent, set.data_warning_below_gib
                ),
            ),
            by.line(
                &["volume.data_critical_percent", "volume.data_critical_below_gib", "volume.data_floor_gib"],
                format!("critical below {share} % and {below} GiB free, or below {floor} GiB"),
            ),
        ]
    };
    lines.push(by.line(&["volume.hold"], format!("held for {}", span(set.hold))));
    lines.push(by.line(
        &["volume.clear_percent", "volume.clear_hold"],
        format!("over {} points above it for {}", set.clear_percent, span(set.clear_hold)),
    ));
    lines.push(fixed(format!("a notice when it will be full within {}", span(space::SOON))));
    lines
}

#[cfg(test)]
mod edges;
#[cfg(test)]
mod tests;
