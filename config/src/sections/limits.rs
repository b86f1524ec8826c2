//! When something is wrong, and when it is right again: `[limits.*]` and `[grace]`.
//!
//! Most limits are *starting values*: common practice, not a measurement of this box. Where a standard or a datasheet
//! stands behind a value, its description says so.

use crate::key::key;
use crate::reader::Section;
use crate::section::section;
use crate::values::{ValueKind, number, time, whole};
use std::ops::RangeInclusive;
use std::time::Duration;

/// Degrees Celsius that can be a limit for a drive.
const HOT_C: RangeInclusive<f64> = 20.0..=100.0;
/// Degrees Celsius that can be a limit for a processor.
const PROCESSOR_C: RangeInclusive<f64> = 40.0..=120.0;
/// How far something may have to cool, in degrees.
const COOLER_C: RangeInclusive<f64> = 0.5..=20.0;
/// Percent of a volume that can be a limit. With the widest `clear_percent` it can still be cleared.
const SHARE_PERCENT: RangeInclusive<f64> = 0.1..=90.0;
/// How many percent a rail may be off.
const OFF_PERCENT: RangeInclusive<f64> = 2.0..=20.0;
/// GiB or MiB: up to a thousand times a thousand.
const AMOUNT: RangeInclusive<i64> = 1..=1_000_000;

const SHORTEST: Duration = Duration::from_millis(1);
const LONGEST: Duration = Duration::from_secs(7 * 24 * 3600);

fn hold_time() -> ValueKind<Duration> {
    time(SHORTEST..=LONGEST)
}

/// When something is wrong, and when it is right again.
#[derive(Debug, Clone, PartialEq)]
pub struct Limits {
    /// Temperature and presence of drives.
    pub drive: DriveLimits,
    /// Room on volumes.
    pub volume: VolumeLimits,
    /// Fans.
    pub fan: FanLimits,
    /// Network ports.
    pub link: LinkLimits,
    /// The processor.
    pub processor: ProcessorLimits,
    /// The supply.
    pub supply: SupplyLimits,
    /// Pools.
    pub pool: PoolLimits,
    /// How long parts may take to appear after a start.
    pub grace: Grace,
}

impl Limits {
    pub(super) fn read(file: &mut Section) -> Self {
        let about = "When something is wrong, and when it is right again.";
        let (drive, volume, fan, link, processor, supply, pool) = file.section("limits", about, |section| {
            (
                DriveLimits::read(section, "drive"),
                VolumeLimits::read(section, "volume"),
                FanLimits::read(section, "fan"),
                LinkLimits::read(section, "link"),
                ProcessorLimits::read(section, "processor"),
                SupplyLimits::read(section, "supply"),
                PoolLimits::read(section, "pool"),
            )
        });
        Limits { drive, volume, fan, link, processor, supply, pool, grace: Grace::read(file, "grace") }
    }
}

section! {
    /// Temperature and presence of drives. A limit stated by the drive takes precedence.
    pub struct DriveLimits {
        /// Degrees Celsius. A limit stated by the drive takes precedence.
        hdd_warning_c: f64 = 50, number(HOT_C), "A hard disk is warm enough to warn, in degrees Celsius.";
        hdd_critical_c: f64 = 58, number(HOT_C),
            "A hard disk is too hot, in degrees Celsius: just below the 60 that data sheets of common disks allow.";
        ssd_warning_c: f64 = 65, number(HOT_C), "A solid-state drive is warm enough to warn, in degrees Celsius.";
        ssd_critical_c: f64 = 72, number(HOT_C),
            "A solid-state drive is too hot, in degrees Celsius: most are rated for 70.";

        /// How far below its limit a drive must cool before the condition clears.
        clear_below_c: f64 = 4, number(COOLER_C);
        warning_hold: Duration = "5 min", hold_time(), "How long a drive must be warm before the warning.";
        critical_hold: Duration = "1 min", hold_time(), "How long a drive must be too hot before it is critical.";
        clear_hold: Duration = "10 min", hold_time(), "How long a drive must be cool before the condition clears.";

        /// A drive counts as gone after this time, and as back after that.
        gone_hold: Duration = "10 s", hold_time(), "How long a drive must be away before it counts as gone.";
        back_hold: Duration = "60 s", hold_time(), "How long a drive must be present again before it counts as back.";
    }
    hdd_warning_c < hdd_critical_c;
    ssd_warning_c < ssd_critical_c;
}

section! {
    /// Free space on volumes.
    pub struct VolumeLimits {
        /// Free space. A data volume is low when it is below the percentage AND below the GiB.
        data_warning_percent: f64 = 10, number(SHARE_PERCENT), "Warn when a data volume has less than this share free...";
        data_warning_below_gib: u64 = 100, whole(AMOUNT),
            "...and less than this many GiB, so that a large volume does not warn with plenty left.";
        data_critical_percent: f64 = 3, number(SHARE_PERCENT),
            "Critical when a data volume has less than this share free...";
        data_critical_below_gib: u64 = 30, whole(AMOUNT), "...and less than this many GiB.";

        /// Below this it is critical in any case.
        data_floor_gib: u64 = 1, whole(AMOUNT), "Critical when a data volume has less than this many GiB free, whatever the share.";

        /// The volume the system runs from.
        root_warning_percent: f64 = 15, number(SHARE_PERCENT), "Warn when the root volume has less than this share free.";
        root_critical_percent: f64 = 5, number(SHARE_PERCENT),
            "Critical when the root volume has less than this share free.";
        root_floor_mib: u64 = 300, whole(AMOUNT), "Critical below this many MiB whatever the share.";

        /// How many percentage points above its limit it must be before the condition clears.
        clear_percent: f64 = 2, number(0.1..=9.0);
        hold: Duration = "5 min", hold_time(), "How long space must be low before it is reported.";
        clear_hold: Duration = "10 min", hold_time(), "How long space must be sufficient before the condition clears.";
    }
    // These count what is left, so the critical limit is the lower one.
    data_critical_percent < data_warning_percent;
    data_critical_below_gib < data_warning_below_gib;
    data_floor_gib < data_warning_below_gib;
    root_critical_percent < root_warning_percent;
}

section! {
    /// Fans.
    pub struct FanLimits {
        /// Above this speed a stopped fan counts as turning again.
        turning_again_rpm: u32 = 300, whole(1..=20_000);
        stopped_hold: Duration = "15 s", hold_time(), "How long a fan must stand still before it is reported.";
        clear_hold: Duration = "30 s", hold_time(), "How long it must turn before the condition clears.";

        // With the highest it is well again at three quarters.
        /// A fan is weak below this percentage of the speed that it used to have at the same duty.
        weak_percent: f64 = 60, number(10.0..=70.0);
        weak_hold: Duration = "2 min", hold_time(), "How long a fan must be weak before it is reported.";
    }
}

section! {
    /// Network ports.
    pub struct LinkLimits {
        down_hold: Duration = "60 s", hold_time(), "How long a port must be down before it is reported.";
        slower_hold: Duration = "5 min", hold_time(), "How long a port must be slower than usual before it is reported.";
        clear_hold: Duration = "5 min", hold_time(), "How long a port must be good before the condition clears.";

        /// This many changes within the window count as flapping. The window is at least "1 min".
        flaps: u32 = 4, whole(2..=1000);
        // Over less than a minute an ordinary reconnection would count as flapping.
        flap_window: Duration = "10 min", time(Duration::from_secs(60)..=LONGEST),
            "The time over which changes are counted: at least one minute.";
    }
}

section! {
    /// The processor. The critical temperature that an x86 processor reports takes precedence.
    pub struct ProcessorLimits {
        /// Degrees Celsius. If an x86 processor reports its own critical temperature, the warning is 10 degrees
        /// and critical 3 degrees below that.
        warning_c: f64 = 80, number(PROCESSOR_C),
            "The processor is hot enough to warn, in degrees Celsius: where common single-board computers slow down.";
        critical_c: f64 = 85, number(PROCESSOR_C), "The processor is too hot, in degrees Celsius.";
        clear_below_c: f64 = 5, number(COOLER_C),
            "How far below the warning it must cool before the condition clears, in degrees Celsius.";
        warning_hold: Duration = "2 min", hold_time(), "How long it must be hot, or slow itself down, before the warning.";
        critical_hold: Duration = "30 s", hold_time(), "How long it must be too hot before it is critical.";
        clear_hold: Duration = "5 min", hold_time(), "How long it must be cool before the condition clears.";
    }
    warning_c < critical_c;
}

section! {
    /// Rails of the supply that a sensor is labelled for.
    pub struct SupplyLimits {
        /// Rails are judged only where a sensor is labelled 12 V, 5 V or 3.3 V. How many percent a rail
        /// may be off; drives allow 5. Below 4.65 V the 5 V rail is critical.
        warning_percent: f64 = 5, number(OFF_PERCENT),
            "Warn when a rail is off by more than this share of what it should be, in percent.";
        twelve_volt_critical_percent: f64 = 10, number(OFF_PERCENT),
            "Critical when the 12 V rail is off by more than this, in percent.";
    }
    warning_percent < twelve_volt_critical_percent;
}

section! {
    /// Pools.
    pub struct PoolLimits {
        /// How long a pool must be down before it is reported, healthy and idle before "degraded" clears, and up
        /// before "down" clears.
        down_hold: Duration = "10 s", hold_time(), "How long a pool must be down before it is reported.";
        healthy_hold: Duration = "60 s", hold_time(), "How long a pool must be healthy and idle before \"degraded\" clears.";
        up_hold: Duration = "60 s", hold_time(), "How long a pool must be up before \"down\" clears.";
    }
}

section! {
    /// How long parts may take to appear after a start before their absence counts.
    pub struct Grace {
        /// How long parts may take to appear after the start of the machine before their absence counts. Where a controller
        /// starts its ports one after another, drives have a third more: 120 s instead of 90 s.
        drives: Duration = "90 s", hold_time(), "For drives: staggered spin-up takes a while.";
        pools: Duration = "120 s", hold_time(), "For pools and volumes.";
    }
}
