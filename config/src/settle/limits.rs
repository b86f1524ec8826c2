//! The keys of `[limits.*]` and `[grace]`: their ranges, and that every warning comes before its critical limit.
//!
//! What the values mean and why they are what they are is told in `settings.rs`.

use crate::reader::{Given, Section};
use crate::settings::{
    DriveLimits, FanLimits, Grace, Limits, LinkLimits, PoolLimits, ProcessorLimits, SupplyLimits, VolumeLimits,
};
use crate::values::{number, time, whole};
use std::ops::RangeInclusive;
use std::time::Duration;

/// Degrees Celsius that can be a limit for a drive.
const HOT_C: RangeInclusive<f64> = 20.0..=100.0;
/// Percent of a volume that can be a limit. With the widest `clear_percent` it can still be cleared.
const SHARE_PERCENT: RangeInclusive<f64> = 0.1..=90.0;
/// GiB or MiB: up to a thousand times a thousand.
const AMOUNT: RangeInclusive<i64> = 1..=1_000_000;

const SHORTEST: Duration = Duration::from_millis(1);
const LONGEST: Duration = Duration::from_secs(7 * 24 * 3600);

pub(super) fn limits(file: &mut Section) -> Limits {
    let limits = file.section("limits", |section| Limits {
        drive: section.section("drive", drive),
        volume: section.section("volume", volume),
        fan: section.section("fan", fan),
        link: section.section("link", link),
        processor: section.section("processor", processor),
        supply: section.section("supply", supply),
        pool: section.section("pool", pool),
        grace: Grace::default(),
    });
    Limits { grace: file.section("grace", grace), ..limits }
}

fn drive(section: &mut Section) -> DriveLimits {
    let default = DriveLimits::default();
    let mut limit = |key, default| section.value(key, default, number(HOT_C));
    let hdd_warning = limit("hdd_warning_c", default.hdd_warning_c);
    let hdd_critical = limit("hdd_critical_c", default.hdd_critical_c);
    let ssd_warning = limit("ssd_warning_c", default.ssd_warning_c);
    let ssd_critical = limit("ssd_critical_c", default.ssd_critical_c);
    section.below(&hdd_warning, &hdd_critical);
    section.below(&ssd_warning, &ssd_critical);
    DriveLimits {
        hdd_warning_c: hdd_warning.value,
        hdd_critical_c: hdd_critical.value,
        ssd_warning_c: ssd_warning.value,
        ssd_critical_c: ssd_critical.value,
        clear_below_c: section.value("clear_below_c", default.clear_below_c, number(0.5..=20.0)).value,
        warning_hold: hold(section, "warning_hold", default.warning_hold),
        critical_hold: hold(section, "critical_hold", default.critical_hold),
        clear_hold: hold(section, "clear_hold", default.clear_hold),
        gone_hold: hold(section, "gone_hold", default.gone_hold),
        back_hold: hold(section, "back_hold", default.back_hold),
    }
}

fn volume(section: &mut Section) -> VolumeLimits {
    let default = VolumeLimits::default();
    let data_warning = share(section, "data_warning_percent", default.data_warning_percent);
    let data_warning_below = amount(section, "data_warning_below_gib", default.data_warning_below_gib);
    let data_critical = share(section, "data_critical_percent", default.data_critical_percent);
    let data_critical_below = amount(section, "data_critical_below_gib", default.data_critical_below_gib);
    let data_floor = amount(section, "data_floor_gib", default.data_floor_gib);
    let root_warning = share(section, "root_warning_percent", default.root_warning_percent);
    let root_critical = share(section, "root_critical_percent", default.root_critical_percent);
    // These count what is left, so the critical limit is the lower one.
    section.below(&data_critical, &data_warning);
    section.below(&data_critical_below, &data_warning_below);
    section.below(&data_floor, &data_warning_below);
    section.below(&root_critical, &root_warning);
    VolumeLimits {
        data_warning_percent: data_warning.value,
        data_warning_below_gib: data_warning_below.value,
        data_critical_percent: data_critical.value,
        data_critical_below_gib: data_critical_below.value,
        data_floor_gib: data_floor.value,
        root_warning_percent: root_warning.value,
        root_critical_percent: root_critical.value,
        root_floor_mib: amount(section, "root_floor_mib", default.root_floor_mib).value,
        clear_percent: section.value("clear_percent", default.clear_percent, number(0.1..=9.0)).value,
        hold: hold(section, "hold", default.hold),
        clear_hold: hold(section, "clear_hold", default.clear_hold),
    }
}

fn fan(section: &mut Section) -> FanLimits {
    let default = FanLimits::default();
    FanLimits {
        turning_again_rpm: section.value("turning_again_rpm", default.turning_again_rpm, whole(1..=20_000)).value,
        stopped_hold: hold(section, "stopped_hold", default.stopped_hold),
        clear_hold: hold(section, "clear_hold", default.clear_hold),
        // With the highest it is well again at three quarters.
        weak_percent: section.value("weak_percent", default.weak_percent, number(10.0..=70.0)).value,
        weak_hold: hold(section, "weak_hold", default.weak_hold),
    }
}

fn link(section: &mut Section) -> LinkLimits {
    let default = LinkLimits::default();
    // Over less than a minute an ordinary reconnection would count as flapping.
    let window = time(Duration::from_secs(60)..=LONGEST);
    LinkLimits {
        down_hold: hold(section, "down_hold", default.down_hold),
        slower_hold: hold(section, "slower_hold", default.slower_hold),
        clear_hold: hold(section, "clear_hold", default.clear_hold),
        flaps: section.value("flaps", default.flaps, whole(2..=1000)).value,
        flap_window: section.value("flap_window", default.flap_window, window).value,
    }
}

fn processor(section: &mut Section) -> ProcessorLimits {
    let default = ProcessorLimits::default();
    let mut limit = |key, default| section.value(key, default, number(40.0..=120.0));
    let warning = limit("warning_c", default.warning_c);
    let critical = limit("critical_c", default.critical_c);
    section.below(&warning, &critical);
    ProcessorLimits {
        warning_c: warning.value,
        critical_c: critical.value,
        clear_below_c: section.value("clear_below_c", default.clear_below_c, number(0.5..=20.0)).value,
        warning_hold: hold(section, "warning_hold", default.warning_hold),
        critical_hold: hold(section, "critical_hold", default.critical_hold),
        clear_hold: hold(section, "clear_hold", default.clear_hold),
    }
}

fn supply(section: &mut Section) -> SupplyLimits {
    let default = SupplyLimits::default();
    let mut limit = |key, default| section.value(key, default, number(2.0..=20.0));
    let warning = limit("warning_percent", default.warning_percent);
    let critical = limit("twelve_volt_critical_percent", default.twelve_volt_critical_percent);
    section.below(&warning, &critical);
    SupplyLimits { warning_percent: warning.value, twelve_volt_critical_percent: critical.value }
}

fn pool(section: &mut Section) -> PoolLimits {
    let default = PoolLimits::default();
    PoolLimits {
        down_hold: hold(section, "down_hold", default.down_hold),
        whole_hold: hold(section, "whole_hold", default.whole_hold),
        up_hold: hold(section, "up_hold", default.up_hold),
    }
}

fn grace(section: &mut Section) -> Grace {
    let default = Grace::default();
    Grace { drives: hold(section, "drives", default.drives), pools: hold(section, "pools", default.pools) }
}

fn hold(section: &mut Section, key: &'static str, default: Duration) -> Duration {
    section.value(key, default, time(SHORTEST..=LONGEST)).value
}

fn share(section: &mut Section, key: &'static str, default: f64) -> Given<f64> {
    section.value(key, default, number(SHARE_PERCENT))
}

fn amount(section: &mut Section, key: &'static str, default: u64) -> Given<u64> {
    section.value(key, default, whole(AMOUNT))
}
