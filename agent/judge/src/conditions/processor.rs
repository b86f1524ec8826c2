//! cpu-hot-throttled: the processor is too hot, or slows itself down. Where it does so is its maker's choice on x86, and
//! that of the firmware on single-board computers.

use super::rule::Rule;
use crate::kinds::Traits;
use crate::limit::{limit, set};
use crate::memory::Memory;
use crate::track::{Holds, Side, Sight};
use std::time::Duration;
use traylight_config::{ProcessorLimits, Settings};
use traylight_data::reading::{Processor, Snapshot};
use traylight_data::units::Celsius;
use traylight_data::verdict::{Condition, Figure, Finding, Kind, Limit, Severity, Subject};

/// The board is looked at once a minute: two looks in a row count as one time of slowing down.
const STILL: Duration = Duration::from_secs(90);
/// An x86 processor warns and alarms so far below its own critical temperature (starting values, no source).
const BELOW_OWN: (f64, f64) = (10.0, 3.0);

/// The rule of this file.
pub const RULE: Rule = Rule { kinds: &[Traits::of(Kind::CpuHotThrottled)], sights, limits };

/// The limits of its conditions.
fn limits(settings: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    if condition.kind() != Kind::CpuHotThrottled {
        return Vec::new();
    }
    vec![
        limit!(
            "limit.cpu-hot-throttled.warning",
            from = set!(settings, processor.warning_c, Celsius),
            hold = set!(settings, processor.warning_hold)
        ),
        limit!(
            "limit.cpu-hot-throttled.critical",
            from = set!(settings, processor.critical_c, Celsius),
            hold = set!(settings, processor.critical_hold)
        ),
        limit!(
            "limit.cpu-hot-throttled.below-own",
            warning = Figure::Degrees(BELOW_OWN.0),
            critical = Figure::Degrees(BELOW_OWN.1)
        ),
        limit!("limit.cpu-hot-throttled.slowed", hold = set!(settings, processor.warning_hold)),
        limit!(
            "limit.cpu-hot-throttled.over",
            below = set!(settings, processor.clear_below_c, Figure::Degrees),
            hold = set!(settings, processor.clear_hold)
        ),
    ]
}

/// What is seen of the processor: its sensor that is nearest to its limit, and whether it slows itself down.
fn sights(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Sight> {
    let limits = &settings.limits.processor;
    let sensors = snapshot.temperatures.iter().filter_map(|sensor| {
        let (warning, critical) = in_force(limits, sensor.processor?, sensor.critical);
        Some((sensor.value.get()?.0, warning, critical))
    });
    let hottest = sensors.max_by(|one, other| (one.0 - one.1).total_cmp(&(other.0 - other.1)));
    let throttling = snapshot.board.throttling.as_ref().and_then(|reading| reading.get());
    if hottest.is_none() && throttling.is_none() {
        return Vec::new();
    }
    let slowed = memory.processor.last_slowed.is_some_and(|last| snapshot.taken.since(last) < STILL);
    let side = match hottest {
        Some((now, _, critical)) if now >= critical => Side::Raised(Severity::Critical),
        Some((now, warning, _)) if now >= warning => Side::Raised(Severity::Warning),
        _ if slowed => Side::Raised(Severity::Warning),
        Some((now, warning, _)) if now > warning - limits.clear_below_c => Side::Between,
        _ => Side::Clear,
    };
    let limit = match hottest {
        Some((now, _, critical)) if now >= critical => critical,
        Some((_, warning, _)) => warning,
        None => limits.warning_c,
    };
    let finding =
        Finding::CpuHotThrottled { now: hottest.map(|(now, ..)| Celsius(now)), limit: Celsius(limit), slowed };
    let holds = Holds {
        notice: limits.warning_hold,
        warning: limits.warning_hold,
        critical: limits.critical_hold,
        clear: limits.clear_hold,
    };
    vec![Sight { subject: Subject::Processor, side, seen: snapshot.taken, finding, holds }]
}

fn in_force(limits: &ProcessorLimits, processor: Processor, critical: Option<Celsius>) -> (f64, f64) {
    match (processor, critical) {
        (Processor::X86, Some(Celsius(own))) => (own - BELOW_OWN.0, own - BELOW_OWN.1),
        _ => (limits.warning_c, limits.critical_c),
    }
}
