//! undervoltage and rail-out-of-range: what the board can tell of its supply. An alarm of the board watches its own 5 V
//! input; the 12 V of the drives is judged only where a sensor is labelled so.

use super::rule::Rule;
use crate::kinds::{Several, TOGETHER, Traits};
use crate::limit::{limit, set};
use crate::memory::Memory;
use crate::memory::supply::dips_of;
use crate::play::Play;
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::MINUTE;
use traylight_data::reading::{Nominal, Rail, Snapshot, Undervoltage};
use traylight_data::units::{Percent, Volts};
use traylight_data::verdict::{Condition, Finding, Kind, Limit, Severity, Subject};

/// A dip of this length is critical (starting value, no source).
const LONG: Duration = Duration::from_secs(10);
/// Dips within this span count together, and one is told of for so long.
const DIPS_WITHIN: Duration = Duration::from_secs(10 * 60);
/// An alarm is told for so long.
const TOLD_FOR: Duration = Duration::from_secs(60 * 60);
/// So many dips within ten minutes are critical (starting value, no source).
const MANY: usize = 3;
/// Three samples, two seconds apart.
const SAMPLES: Duration = Duration::from_secs(4);
/// The least that a 5 V input may have: where single-board computers raise their alarm (4.63 V and 5 %, data sheets of
/// common boards).
const FIVE_AT_LEAST: f64 = 4.65;
/// So far inside its range a rail must be before that is over, in volts.
const INSIDE: f64 = 0.1;

pub const RULE: Rule = Rule {
    kinds: &[
        Traits::of(Kind::Undervoltage).played(Play::fast(&[], 20, |the_box, _| the_box.starve_board())),
        Traits::of(Kind::RailOutOfRange).several(Several::BegunWithin(TOGETHER)).played(Play::fast(
            &[],
            20,
            |the_box, _| the_box.rail(10.6),
        )),
    ],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(settings: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.finding {
        Finding::Undervoltage { .. } => {
            vec![limit!("limit.undervoltage", told = TOLD_FOR, dips = MANY, within = DIPS_WITHIN, long = LONG)]
        }
        Finding::RailOutOfRange { nominal, .. } => of_rail(settings, nominal),
        _ => Vec::new(),
    }
}

/// What is seen of every alarm that answered and of every rail that is known by its label.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let alarms = snapshot.undervoltages.iter().filter_map(|alarm| dipping(memory, alarm));
    alarms.chain(snapshot.rails.iter().filter_map(|rail| out_of_range(settings, rail))).collect()
}

fn dipping(memory: &Memory, alarm: &Undervoltage) -> Option<Observation> {
    let &is_low = alarm.low.get()?;
    let now = alarm.low.taken;
    let dips = memory.ledger.supply.of(&alarm.key)?;
    let within = |span| dips.iter().filter(move |(_, last)| now.since(*last) < span);
    let longest = within(DIPS_WITHIN).map(|(first, last)| last.since(*first)).max().unwrap_or_default();
    let count = within(DIPS_WITHIN).count();
    let zone = if count >= MANY || longest >= LONG {
        Zone::Raised(Severity::Critical)
    } else if within(TOLD_FOR).next().is_some() {
        Zone::Raised(Severity::Warning)
    } else {
        Zone::Clear
    };
    let in_a_day = memory.ledger.count(&dips_of(&alarm.key));
    let dips = u32::try_from(count).unwrap_or(u32::MAX);
    let finding = Finding::Undervoltage { is_low, dips, longest, within: DIPS_WITHIN, in_a_day };
    let subject = Subject::Supply(alarm.key.clone());
    Some(Observation { subject, zone, seen: now, finding, holds: Holds::NONE })
}

fn of_rail(settings: &Settings, nominal: Nominal) -> Vec<Limit> {
    let Range { warning: (low, high), .. } = range(settings, nominal);
    let warning = limit!("limit.rail-out-of-range.warning", low = Volts(low), high = Volts(high), hold = SAMPLES);
    let critical = match nominal {
        Nominal::Twelve => Some(limit!(
            "limit.rail-out-of-range.critical",
            off = set!(settings, supply.twelve_volt_critical_percent, Percent)
        )),
        Nominal::Five => Some(limit!("limit.rail-out-of-range.critical-below", low = Volts(FIVE_AT_LEAST))),
        Nominal::ThreePointThree => None,
    };
    let over = limit!("limit.rail-out-of-range.over", inside = Volts(INSIDE));
    let warning = warning.of(set!(settings, supply.warning_percent, Percent).origin);
    [Some(warning), critical, Some(over)].into_iter().flatten().collect()
}

/// The range of a rail: warning below and above, critical below and above.
struct Range {
    warning: (f64, f64),
    critical: (f64, f64),
}

fn range(settings: &Settings, nominal: Nominal) -> Range {
    let limits = &settings.limits.supply;
    let Volts(middle) = nominal.volts();
    let around = |percent: f64| (middle * (1.0 - percent / 100.0), middle * (1.0 + percent / 100.0));
    let critical = match nominal {
        Nominal::Twelve => around(limits.twelve_volt_critical_percent),
        Nominal::Five => (FIVE_AT_LEAST, f64::INFINITY),
        Nominal::ThreePointThree => (f64::NEG_INFINITY, f64::INFINITY),
    };
    Range { warning: around(limits.warning_percent), critical }
}

fn out_of_range(settings: &Settings, rail: &Rail) -> Option<Observation> {
    let nominal = rail.nominal?;
    let now = *rail.value.get()?;
    let Range { warning, critical } = range(settings, nominal);
    let is_outside = |(low, high): (f64, f64)| now.0 < low || now.0 > high;
    let zone = if is_outside(critical) {
        Zone::Raised(Severity::Critical)
    } else if is_outside(warning) {
        Zone::Raised(Severity::Warning)
    } else if is_outside((warning.0 + INSIDE, warning.1 - INSIDE)) {
        Zone::Between
    } else {
        Zone::Clear
    };
    let finding = Finding::RailOutOfRange { nominal, now, low: Volts(warning.0), high: Volts(warning.1) };
    let subject = Subject::Supply(rail.key.clone());
    Some(Observation { subject, zone, seen: rail.value.taken, finding, holds: Holds::new(SAMPLES, 10 * MINUTE) })
}
