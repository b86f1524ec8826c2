//! Causes that lie between the board and several drives at once: the controller, its driver, its PCIe link.

use super::diagnosis::{Diagnosis, Left};
use super::power::twelve_volts;
use super::view::{CauseView, NEAR, SILENCE, Suspect, at_once};
use crate::kinds::Trouble;
use crate::memory::sign::Sign;
use std::collections::{BTreeMap, BTreeSet};
use traylight_data::reading::{DriveKey, EventKind, EventSource, Part};
use traylight_data::verdict::{Cause, Condition, Confidence, ControllerFault, Finding, Kind, Unmeasured};

const CONNECTED: &[Trouble] = &[Trouble::Connection];
/// Drives this warm say that the air around the controller is warm too, °C.
const WARM: f64 = 45.0;
/// Signs that a drive went, or that it does not answer.
const WENT: [EventKind; 3] = [EventKind::Vanished, EventKind::TimedOut, EventKind::StandsStill];

/// What is told of a controller itself, as far as it is this kind of fault.
fn told_of<'a>(left: &Left<'_, 'a>, key: &str, meant: fn(&ControllerFault) -> bool) -> Vec<&'a Condition> {
    let is_meant = |condition: &&Condition| match &condition.finding {
        Finding::ControllerTrouble { controller, what, .. } => controller.key == key && meant(what),
        _ => false,
    };
    left.open(&[Kind::ControllerTrouble]).into_iter().filter(is_meant).collect()
}

fn is_dead(what: &ControllerFault) -> bool {
    matches!(what, ControllerFault::Gone | ControllerFault::AllOnes | ControllerFault::NoDriver)
}

fn is_of_the_link(what: &ControllerFault) -> bool {
    matches!(what, ControllerFault::BusErrors { .. } | ControllerFault::SlowLink { .. })
}

/// The drives in trouble, by their controller; only controllers of which every known drive is in trouble, or that are
/// themselves seen to be dead: drives that have nothing to do notice that later.
fn by_controller<'v, 'a>(left: &Left<'v, 'a>) -> BTreeMap<&'a str, Vec<&'v Suspect<'a>>> {
    let mut found: BTreeMap<&str, Vec<&Suspect>> = BTreeMap::new();
    // An NVMe drive is its own controller, which stops whenever the drive is pulled.
    let shares = |suspect: &&Suspect| !suspect.known.place.port.as_deref().is_some_and(|port| port.contains("/nvme-"));
    for suspect in left.with(Trouble::Connection).into_iter().filter(shares) {
        if let Some(controller) = suspect.controller() {
            found.entry(controller).or_default().push(suspect);
        }
    }
    let all = |key: &&str, suspects: &mut Vec<&Suspect>| {
        let behind: Vec<&DriveKey> = left.view.behind(key);
        let dead = left.view.controller(key).is_some_and(|found| !found.works());
        dead || behind.iter().all(|drive| suspects.iter().any(|suspect| suspect.key == *drive))
    };
    found.retain(|key, suspects| all(key, suspects));
    found
}

/// `kernel-update`: drives that were not seen since the start of a machine that runs another kernel than before, and no
/// driver has started their controller.
pub fn update(left: &Left) -> Vec<Diagnosis> {
    let Some(_) = left.view.kernel_change() else { return Vec::new() };
    let rule = |(key, suspects): (&str, Vec<&Suspect>)| {
        let never_seen = suspects.iter().all(|suspect| !suspect.known.present && suspect.losses().is_empty());
        let refused = not_started(left.view, key);
        let undriven = left.view.controller(key).is_some_and(|found| found.driver.is_none()) || !refused.is_empty();
        (never_seen && undriven && left.view.controller(key).is_some()).then(|| {
            let diagnosis = Diagnosis::new(Cause::KernelUpdate, Confidence::Likely).of(suspects, CONNECTED);
            diagnosis.part(key).with(refused).claiming(told_of(left, key, is_dead))
        })
    };
    by_controller(left).into_iter().filter_map(rule).collect()
}

/// `controller-stopped`: all drives of a controller went, and the controller itself is dead. `controller-hot`: it was
/// warm, and works again.
pub fn stopped(left: &Left) -> Vec<Diagnosis> {
    let rule = |(key, suspects): (&str, Vec<&Suspect>)| {
        let since = suspects.iter().filter_map(|suspect| suspect.signs(&WENT, NEAR).first().map(|s| s.event.at)).min();
        let signs: Vec<&Sign> = left
            .view
            .against(key, since.unwrap_or(suspects.first()?.since))
            .into_iter()
            .filter(|sign| !matches!(sign.event.what, EventKind::BusErrorCorrected | EventKind::Reset))
            .collect();
        let told = told_of(left, key, is_dead);
        let is_dead = left.view.controller(key).is_some_and(|found| !found.works());
        // What readings show is measured; what the kernel's log tells of is a sign like others.
        let seen_dead =
            is_dead || !told.is_empty() || signs.iter().any(|sign| sign.event.teller == EventSource::Reading);
        let went = |suspect: &&Suspect| !suspect.losses().is_empty() || suspect.is_silent() || !suspect.known.present;
        let flat = !suspects.iter().any(|suspect| suspect.lost_power(Trouble::Connection));
        let dead = seen_dead || !signs.is_empty();
        if !dead || !flat || !suspects.iter().all(went) {
            return None;
        }
        let warm = suspects.iter().filter_map(|suspect| suspect.lost()?.1?.celsius).any(|celsius| celsius >= WARM);
        let works_again = !is_dead && suspects.iter().any(|suspect| suspect.known.present && !suspect.hangs());
        let cause = if warm && works_again { Cause::ControllerHot } else { Cause::ControllerStopped };
        let confidence = if seen_dead { Confidence::Certain } else { Confidence::Likely };
        let diagnosis = Diagnosis::new(cause, confidence)
            .of(suspects.iter().copied(), CONNECTED)
            .part(key)
            .with(signs)
            .with(suspects.iter().flat_map(|suspect| suspect.losses()))
            .claiming(told)
            .without([Unmeasured::ControllerTemperature])
            .without(twelve_volts(left.view));
        Some(diagnosis)
    };
    by_controller(left).into_iter().filter_map(rule).collect()
}

/// `pcie-link`: errors are counted on the PCIe link of a controller, or it is slower or narrower than it was, while no drive
/// behind it counts damaged transfers. Two drives or more that suffer from it belong to the incident.
pub fn pcie_link(left: &Left) -> Vec<Diagnosis> {
    let link = |condition: &Condition| match &condition.finding {
        Finding::ControllerTrouble { controller, what, .. } if is_of_the_link(what) => Some(controller.key.clone()),
        _ => None,
    };
    let keys: BTreeSet<String> = left.open(&[Kind::ControllerTrouble]).into_iter().filter_map(link).collect();
    let rule = |key: String| {
        let behind = |suspect: &&Suspect| suspect.controller() == Some(key.as_str());
        if left.view.suspects.iter().filter(behind).any(Suspect::is_damaged) {
            return None;
        }
        let mut suspects: Vec<&Suspect> = left.with(Trouble::Connection).into_iter().filter(behind).collect();
        suspects.retain(|suspect| !suspect.lost_power(Trouble::Connection));
        let confidence = if suspects.len() >= 2 { Confidence::Likely } else { Confidence::Possible };
        if suspects.len() < 2 {
            suspects.clear();
        }
        let part = Part::Controller(key.clone());
        let errors = left.view.memory.ledger.signs.all().filter(|sign| {
            sign.event.part == part && matches!(sign.event.what, EventKind::BusError | EventKind::BusErrorCorrected)
        });
        let told = told_of(left, &key, is_of_the_link);
        Some(Diagnosis::new(Cause::PcieLink, confidence).of(suspects, CONNECTED).with(errors).claiming(told).part(key))
    };
    keys.into_iter().filter_map(rule).collect()
}

/// `path-hangs`: all drives of one controller hang at once.
pub fn path_hangs(left: &Left) -> Vec<Diagnosis> {
    let rule = |(key, suspects): (&str, Vec<&Suspect>)| {
        let hang = suspects.len() >= 2 && suspects.iter().all(|suspect| suspect.hangs());
        let stood = |suspect: &Suspect| {
            suspect.signs(&[EventKind::StandsStill], NEAR).iter().map(|sign| sign.event.at).collect::<Vec<_>>()
        };
        hang.then(|| {
            let together = at_once(&suspects, stood).len() >= 2;
            let confidence = if together { Confidence::Likely } else { Confidence::Possible };
            Diagnosis::new(Cause::PathHangs, confidence)
                .of(suspects.iter().copied(), CONNECTED)
                .part(key)
                .with(suspects.iter().flat_map(|suspect| suspect.signs(&SILENCE, NEAR)))
                .without([Unmeasured::ControllerTemperature])
        })
    };
    by_controller(left).into_iter().filter_map(rule).collect()
}

fn not_started<'a>(view: &CauseView<'a>, key: &str) -> Vec<&'a Sign> {
    let part = Part::Controller(key.to_owned());
    let refused = |sign: &&Sign| sign.event.part == part && matches!(sign.event.what, EventKind::NotStarted(_));
    view.memory.ledger.signs.all().filter(refused).collect()
}
