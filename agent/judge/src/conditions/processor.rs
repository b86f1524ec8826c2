//! cpu-hot-throttled: the processor is too hot, or slows itself down. Where it does so is its maker's choice on x86, and
//! that of the firmware on single-board computers.

use super::rule::Rule;
use crate::kinds::Traits;
use crate::limit::{Sourced, limit, set};
use crate::memory::Memory;
use crate::play::{Need, Play};
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::{ProcessorLimits, Settings};
use traylight_data::reading::{Processor, Snapshot};
use traylight_data::units::Celsius;
use traylight_data::verdict::{Condition, Figure, Finding, Kind, Limit, Origin, Severity, Subject};

/// The board is looked at once a minute: two looks in a row count as one time of slowing down.
const STILL: Duration = Duration::from_secs(90);
/// An x86 processor warns and alarms so far below its own critical temperature (starting values, no source).
const BELOW_OWN: (f64, f64) = (10.0, 3.0);

pub const RULE: Rule = Rule {
    kinds: &[Traits::of(Kind::CpuHotThrottled)
        .played(Play::slow(&[Need::Processor], 5, |the_box, _| the_box.processor(97.0)))],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(settings: &Settings, snapshot: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    if condition.kind() != Kind::CpuHotThrottled {
        return Vec::new();
    }
    let nearest = snapshot.and_then(|snapshot| nearest(&settings.limits.processor, snapshot));
    let (warning, critical) = match nearest {
        Some(Sensor { warning, critical, own: true, .. }) => {
            let own = |degrees| Sourced::from(Celsius(degrees)).of(Origin::Chip);
            (own(warning), own(critical))
        }
        _ => (set!(settings, processor.warning_c, Celsius), set!(settings, processor.critical_c, Celsius)),
    };
    vec![
        limit!("limit.cpu-hot-throttled.warning", from = warning, hold = set!(settings, processor.warning_hold)),
        limit!("limit.cpu-hot-throttled.critical", from = critical, hold = set!(settings, processor.critical_hold)),
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
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let limits = &settings.limits.processor;
    let nearest = nearest(limits, snapshot);
    let throttling = snapshot.board.throttling.as_ref().and_then(|reading| reading.get());
    if nearest.is_none() && throttling.is_none() {
        return Vec::new();
    }
    let slowed = memory.processor.last_slowed.is_some_and(|last| snapshot.taken.since(last) < STILL);
    let zone = match &nearest {
        Some(Sensor { now, critical, .. }) if now >= critical => Zone::Raised(Severity::Critical),
        Some(Sensor { now, warning, .. }) if now >= warning => Zone::Raised(Severity::Warning),
        _ if slowed => Zone::Raised(Severity::Warning),
        Some(Sensor { now, warning, .. }) if *now > warning - limits.clear_below_c => Zone::Between,
        _ => Zone::Clear,
    };
    let limit = match &nearest {
        Some(Sensor { now, critical, .. }) if now >= critical => *critical,
        Some(Sensor { warning, .. }) => *warning,
        None => limits.warning_c,
    };
    let finding =
        Finding::CpuHotThrottled { now: nearest.map(|sensor| Celsius(sensor.now)), limit: Celsius(limit), slowed };
    let holds = Holds {
        notice: limits.warning_hold,
        warning: limits.warning_hold,
        critical: limits.critical_hold,
        clear: limits.clear_hold,
    };
    vec![Observation { subject: Subject::Processor, zone, seen: snapshot.taken, finding, holds }]
}

/// How warm a sensor of the processor is, and the limits that are in force there.
struct Sensor {
    now: f64,
    warning: f64,
    critical: f64,
    /// True when the processor states them.
    own: bool,
}

/// The sensor that is nearest to its limit.
fn nearest(limits: &ProcessorLimits, snapshot: &Snapshot) -> Option<Sensor> {
    let sensors = snapshot.temperatures.iter().filter_map(|sensor| {
        let Celsius(now) = *sensor.value.get()?;
        Some(match (sensor.processor?, sensor.critical) {
            (Processor::X86, Some(Celsius(own))) => {
                Sensor { now, warning: own - BELOW_OWN.0, critical: own - BELOW_OWN.1, own: true }
            }
            _ => Sensor { now, warning: limits.warning_c, critical: limits.critical_c, own: false },
        })
    });
    sensors.max_by(|one, other| (one.now - one.warning).total_cmp(&(other.now - other.warning)))
}
