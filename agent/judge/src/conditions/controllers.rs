//! controller-trouble: what drives are plugged into is gone, dead, without a driver, noisy or slow. One controller is one
//! trouble, however many drives it hides. Which drives are behind it, and how good its link was, is remembered over
//! restarts.

use super::rule::Rule;
use crate::kinds::Traits;
use crate::limit::limit;
use crate::memory::Memory;
use crate::memory::controllers::ERRORS_COUNT_FOR;
use crate::memory::controllers::{KnownController, bus_errors, resets};
use crate::memory::drives;
use crate::play::{Need, Play};
use crate::track::{Holds, Observation, Zone};
use std::time::Duration;
use traylight_config::{ExpectedDrive, Settings};
use traylight_data::clock::{DAY, HOUR, Moment};
use traylight_data::reading::{Controller, ControllerKind, DriveKey, Listing, Snapshot};
use traylight_data::verdict::{
    Condition, ControllerAspect, ControllerFault, ControllerName, Finding, Kind, Limit, Place, Severity, Subject,
};

/// Corrected errors within an hour that are more than a good link ever has (common practice, no source).
const BUS_ERRORS: u64 = 10;
/// Resets of a bridge within an hour (common practice, no source).
const RESETS: u64 = 3;
/// A controller that is gone, silent or without its driver.
const LOST: Holds = Holds::new(Duration::from_secs(10), Duration::from_secs(300));
/// The hour is in the count; it is over when no hour of a day was as bad.
const COUNTED: Holds = Holds::new(Duration::ZERO, DAY);
/// A link that is slower or narrower than it was.
const SLOW: Holds = Holds::new(HOUR, Duration::from_secs(300));

pub const RULE: Rule = Rule {
    kinds: &[Traits::of(Kind::ControllerTrouble).about_trays().played(Play::fast(
        &[Need::Controller],
        30,
        |the_box, _| the_box.stop_controller(),
    ))],
    observations,
    limits,
};

/// The limits of its conditions.
fn limits(_: &Settings, _: Option<&Snapshot>, condition: &Condition) -> Vec<Limit> {
    let Finding::ControllerTrouble { what, .. } = &condition.finding else { return Vec::new() };
    vec![match what {
        ControllerFault::Gone => limit!("limit.controller.gone", hold = LOST.critical),
        ControllerFault::AllOnes => limit!("limit.controller.all-ones", hold = LOST.critical),
        ControllerFault::NoDriver => limit!("limit.controller.no-driver", hold = LOST.critical),
        ControllerFault::BusErrors { .. } => {
            limit!("limit.controller.bus-errors", errors = BUS_ERRORS, within = ERRORS_COUNT_FOR)
        }
        ControllerFault::SlowLink { .. } => limit!("limit.controller.slow-link", hold = SLOW.warning),
        ControllerFault::Resets { .. } => limit!("limit.controller.resets", resets = RESETS, within = ERRORS_COUNT_FOR),
    }]
}

/// What is seen of every controller that is there or is missed, and of every USB bridge with drives.
fn observations(settings: &Settings, memory: &Memory, snapshot: &Snapshot) -> Vec<Observation> {
    if snapshot.is_blind_to(&Listing::Controllers) || drives::is_blind(snapshot) {
        return Vec::new();
    }
    let known = memory.ledger.controllers.controllers.iter();
    let of_controllers = known.flat_map(|(key, known)| {
        let name = ControllerName { key: key.clone(), kind: Some(known.kind), id: known.id.clone() };
        let drives = known.drives.iter().map(|drive| place(settings, memory, snapshot, drive)).collect();
        let about = ControllerContext { memory, name, drives, seen: snapshot.taken };
        match snapshot.controllers.iter().find(|controller| controller.key == *key) {
            Some(there) => about.there(known, there),
            // It is its own drive, whose absence is told already.
            None if known.kind == ControllerKind::Nvme => Vec::new(),
            None => {
                let appeared = |key: &DriveKey| memory.drives.get(key).is_some_and(|drive| drive.appeared);
                let in_grace = snapshot.taken.since_boot() < memory.grace.drives;
                vec![about.gone(in_grace && !known.drives.iter().any(appeared))]
            }
        }
    });
    // Its owner agrees that it is not there, or its slot holds nothing any more.
    let no_longer = memory.open().filter_map(|open| {
        let Subject::Controller { key, .. } = &open.subject else { return None };
        let is_expected = |drive: &DriveKey| memory.drives.get(drive).is_some_and(|drive| !drive.accepted);
        let is_there = snapshot.controllers.iter().any(|controller| controller.key == *key);
        let known = memory.ledger.controllers.controllers.get(key);
        let is_known = known.is_some_and(|known| is_there || known.drives.iter().any(is_expected))
            || key.strip_prefix("usb-").is_some_and(|chain| memory.ledger.controllers.bridges.contains_key(chain));
        (!is_known).then(|| Observation::over(open, snapshot.taken))
    });
    of_controllers
        .chain(memory.ledger.controllers.bridges.iter().map(|(chain, places)| bridge(memory, snapshot, chain, places)))
        .chain(no_longer)
        .collect()
}

/// Where a drive sits or sat. One that this run has not seen is known by its serial only.
fn place(settings: &Settings, memory: &Memory, snapshot: &Snapshot, key: &DriveKey) -> Place {
    let there = snapshot.drives.iter().find(|drive| drive.key == *key).map(|drive| drives::place_of(settings, drive));
    there.or_else(|| memory.drives.get(key).map(|drive| drive.place.clone())).unwrap_or_else(|| {
        let mut trays = settings.shelves.iter().flat_map(|shelf| &shelf.trays);
        let tray = trays.find(|tray| tray.holds == Some(ExpectedDrive::Serial(key.0.clone())));
        Place { tray: tray.map(|tray| tray.label.clone()), serial: Some(key.0.clone()), port: None }
    })
}

fn bridge(memory: &Memory, snapshot: &Snapshot, chain: &str, places: &[Place]) -> Observation {
    let count = memory.ledger.count(&resets(chain));
    let name = ControllerName { key: format!("usb-{chain}"), kind: None, id: String::new() };
    let about = ControllerContext { memory, name, drives: places.to_vec(), seen: snapshot.taken };
    let zone = if count >= RESETS { Zone::Raised(Severity::Warning) } else { Zone::Clear };
    about.observation(
        ControllerAspect::Resets,
        zone,
        ControllerFault::Resets { count, within: ERRORS_COUNT_FOR },
        COUNTED,
    )
}

/// One controller.
struct ControllerContext<'a> {
    memory: &'a Memory,
    name: ControllerName,
    drives: Vec<Place>,
    seen: Moment,
}

impl ControllerContext<'_> {
    /// One that is not there is missed when a drive was behind it that is nowhere else.
    fn gone(&self, may_come: bool) -> Observation {
        let zone = if may_come { Zone::Between } else { Zone::Raised(Severity::Critical) };
        self.observation(ControllerAspect::Gone, zone, ControllerFault::Gone, LOST)
    }

    fn there(&self, known: &KnownController, there: &Controller) -> Vec<Observation> {
        let raised = |is_raised, severity| if is_raised { Zone::Raised(severity) } else { Zone::Clear };
        let mut seen = vec![self.observation(ControllerAspect::Gone, Zone::Clear, ControllerFault::Gone, LOST)];
        if let Some(&answers) = there.answers.get() {
            let zone = raised(!answers, Severity::Critical);
            seen.push(self.observation(ControllerAspect::Silent, zone, ControllerFault::AllOnes, LOST));
        }
        let has_drives = !known.drives.is_empty();
        if has_drives || there.kind != ControllerKind::UsbHost {
            // One that never had a drive hides none that is known.
            let severity = if has_drives { Severity::Critical } else { Severity::Warning };
            let zone = raised(there.driver.is_none(), severity);
            seen.push(self.observation(ControllerAspect::Driver, zone, ControllerFault::NoDriver, LOST));
        }
        if there.bus_errors.get().is_some() {
            let corrected = self.memory.ledger.count(&bus_errors(&there.key));
            let zone = raised(corrected >= BUS_ERRORS, Severity::Warning);
            seen.push(self.observation(
                ControllerAspect::Errors,
                zone,
                ControllerFault::BusErrors { corrected, within: ERRORS_COUNT_FOR },
                COUNTED,
            ));
        }
        if let (Some(&now), Some(best)) = (there.pcie_link.get(), known.best) {
            let is_slow = now.gigatransfers < best.gigatransfers || now.width < best.width;
            let zone = raised(is_slow, Severity::Warning);
            seen.push(self.observation(
                ControllerAspect::LinkSpeed,
                zone,
                ControllerFault::SlowLink { now, best },
                SLOW,
            ));
        }
        seen
    }

    fn observation(&self, aspect: ControllerAspect, zone: Zone, what: ControllerFault, holds: Holds) -> Observation {
        let finding = Finding::ControllerTrouble { controller: self.name.clone(), drives: self.drives.clone(), what };
        Observation {
            subject: Subject::Controller { key: self.name.key.clone(), aspect },
            zone,
            seen: self.seen,
            finding,
            holds,
        }
    }
}
