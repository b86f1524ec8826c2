//! fan-weak, suspected: in a box without a tachometer, drives that get warmer than they ever were tell that the fan may
//! have stopped. The room cannot be measured, so the rule is cautious: each drive is compared with the warmest that it
//! held for an hour in the last season, with and without load, and several must rise together.

use super::rule::Rule;
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::airflow::awake;
use crate::memory::airflow::{HOURS, RISING, SEASON};
use crate::memory::drives;
use crate::order;
use crate::track::{Holds, Observation, Zone};
use traylight_config::Settings;
use traylight_data::clock::MINUTE;
use traylight_data::reading::{Drive, Snapshot};
use traylight_data::verdict::{Condition, Figure, Finding, Limit, Place, Severity, Subject, WeakFan};

/// Degrees above the warmest that was held (starting value, no source).
pub(super) const ABOVE: f64 = 6.0;
/// Degrees above it that are on the curve again.
const ON_CURVE: f64 = 3.0;
/// So many degrees within [`RISING`].
const RISE: f64 = 2.0;
/// So many must rise together.
const DRIVES: usize = 2;

pub const RULE: Rule = Rule { kinds: &[], observations, limits };

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    match condition.finding {
        Finding::FanWeak { what: WeakFan::Airflow { .. } } => vec![limit!(
            "limit.fan-weak.suspected",
            drives = DRIVES,
            rise = Figure::Degrees(RISE),
            within = RISING,
            above = Figure::Degrees(ABOVE),
            season = SEASON,
            hours = HOURS,
            over = Figure::Degrees(ON_CURVE)
        )],
        _ => Vec::new(),
    }
}

/// What is seen of all drives together, in a box without a tachometer that is believed.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    let under_load = memory.ledger.airflow.is_under_load(snapshot);
    let above = |drive: &Drive| Some(drive.temperature.get()?.0 - memory.ledger.airflow.held(&drive.key, under_load)?);
    let Some(median) = order::median(awake(snapshot).filter_map(above)) else { return Vec::new() };
    let rises = |drive: &&Drive| memory.ledger.airflow.rise(drive).is_some_and(|rise| rise >= RISE);
    let mut rising: Vec<Place> = awake(snapshot).filter(rises).map(|drive| drives::place_of(settings, drive)).collect();
    rising.sort();
    let zone = if !memory.ledger.fans.fitted(settings, snapshot).is_empty() {
        Zone::Clear
    } else if median >= ABOVE && rising.len() >= DRIVES {
        Zone::Raised(Severity::Warning)
    } else if median < ON_CURVE {
        Zone::Clear
    } else {
        Zone::Between
    };
    // The twenty minutes of rising are in the comparison; a second look a minute later makes sure.
    let holds = Holds::new(MINUTE, 30 * MINUTE);
    let finding = Finding::FanWeak { what: WeakFan::Airflow { drives: rising, above: median } };
    vec![Observation { subject: Subject::AllDrives, zone, seen: snapshot.taken, finding, holds }]
}
