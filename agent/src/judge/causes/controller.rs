//! Causes that lie between the board and several drives at once: the controller, its driver, its PCIe link.

use super::connection::twelve_volts;
use super::view::{Suspect, View, at_once};
use super::{Diagnosis, Left, Trouble};
use crate::judge::signs::Sign;
use crate::reading::{Controller, DriveKey, Happening, Part};
use crate::verdict::{Cause, Confidence, Kind, Unmeasured};
use std::collections::BTreeMap;

const CONNECTED: &[Trouble] = &[Trouble::Connection];
/// Drives this warm say that the air around the controller is warm too, °C.
const WARM: f64 = 45.0;

/// The drives in trouble, by their controller; only controllers of which every known drive is in trouble.
fn by_controller<'v, 'a>(left: &Left<'v, 'a>) -> BTreeMap<&'a str, Vec<&'v Suspect<'a>>> {
    let mut found: BTreeMap<&str, Vec<&Suspect>> = BTreeMap::new();
    for suspect in left.with(Trouble::Connection) {
        if let Some(controller) = suspect.controller() {
            found.entry(controller).or_default().push(suspect);
        }
    }
    let all = |key: &&str, suspects: &mut Vec<&Suspect>| {
        let behind: Vec<&DriveKey> = left.view.behind(key);
        behind.iter().all(|drive| suspects.iter().any(|suspect| suspect.key == *drive))
    };
    found.retain(|key, suspects| all(key, suspects));
    found
}

/// R11: drives that were not seen since the start of a machine that runs another kernel than before, and no driver has
/// started their controller.
pub fn update(left: &Left) -> Vec<Diagnosis> {
    let Some(_) = left.view.kernel_change() else { return Vec::new() };
    let rule = |(key, suspects): (&str, Vec<&Suspect>)| {
        let never_seen = suspects.iter().all(|suspect| !suspect.known.present && suspect.losses().is_empty());
        let refused = not_started(left.view, key);
        let undriven = left.view.controller(key).is_some_and(|found| found.driver.is_none()) || !refused.is_empty();
        (never_seen && undriven && left.view.controller(key).is_some()).then(|| {
            let diagnosis = Diagnosis::new(Cause::KernelUpdate, Confidence::Likely).of(suspects, CONNECTED);
            diagnosis.part(key).with(refused)
        })
    };
    by_controller(left).into_iter().filter_map(rule).collect()
}

/// R5: all drives of a controller went, and the controller itself is dead. R5b: it was warm, and came back.
pub fn stopped(left: &Left) -> Vec<Diagnosis> {
    let rule = |(key, suspects): (&str, Vec<&Suspect>)| {
        let told = [Happening::AllOnes, Happening::NotStarted(0)];
        let part = Part::Controller(key.to_owned());
        let signs: Vec<&Sign> = left
            .view
            .memory
            .ledger
            .signs
            .all()
            .filter(|sign| sign.event.part == part && told.iter().any(|what| is_same_kind(sign.event.what, *what)))
            .collect();
        let seen_dead = left.view.controller(key).map_or_else(
            || !left.view.snapshot.controllers.is_empty(),
            |found: &Controller| found.driver.is_none() || found.answers.get() == Some(&false),
        );
        let went: Vec<_> =
            suspects.iter().copied().filter(|s| !s.losses().is_empty() || s.is_silent() || !s.known.present).collect();
        let powerless = suspects.iter().any(|suspect| suspect.lost_power());
        let dead = seen_dead || !signs.is_empty();
        if !dead
            || powerless
            || went.len() < suspects.len()
            || suspects.iter().all(|suspect| suspect.known.present && !suspect.is_silent())
        {
            return None;
        }
        let warm = suspects.iter().filter_map(|suspect| suspect.lost()?.1?.celsius).any(|celsius| celsius >= WARM);
        let came_back = suspects.iter().any(|suspect| {
            let lost = suspect.losses().first().map(|sign| sign.event.at);
            let back =
                left.view.memory.ledger.signs.of(suspect.key).rfind(|sign| sign.event.what == Happening::Appeared);
            back.is_some_and(|back| lost.is_some_and(|lost| back.event.at > lost))
        });
        let cause = if warm && came_back { Cause::ControllerHot } else { Cause::ControllerStopped };
        let confidence = if seen_dead { Confidence::Certain } else { Confidence::Likely };
        let diagnosis = Diagnosis::new(cause, confidence)
            .of(suspects.iter().copied(), CONNECTED)
            .part(key)
            .with(signs)
            .with(suspects.iter().flat_map(|suspect| suspect.losses()))
            .without([Unmeasured::ControllerTemperature])
            .without(twelve_volts(left.view));
        Some(diagnosis)
    };
    by_controller(left).into_iter().filter_map(rule).collect()
}

/// R10: all drives of one controller hang at once.
pub fn path_hangs(left: &Left) -> Vec<Diagnosis> {
    let rule = |(key, suspects): (&str, Vec<&Suspect>)| {
        let hang = suspects.len() >= 2 && suspects.iter().all(|suspect| suspect.has(&[Kind::DriveNotAnswering]));
        let stood = |suspect: &Suspect| {
            suspect
                .signs(&[Happening::StandsStill], super::view::NEAR)
                .iter()
                .map(|sign| sign.event.at)
                .collect::<Vec<_>>()
        };
        hang.then(|| {
            let together = at_once(&suspects, stood).len() >= 2;
            let confidence = if together { Confidence::Likely } else { Confidence::Possible };
            Diagnosis::new(Cause::PathHangs, confidence)
                .of(suspects.iter().copied(), CONNECTED)
                .part(key)
                .with(suspects.iter().flat_map(|suspect| suspect.signs(&super::view::SILENCE, super::view::NEAR)))
                .without([Unmeasured::ControllerTemperature])
        })
    };
    by_controller(left).into_iter().filter_map(rule).collect()
}

fn not_started<'a>(view: &View<'a>, key: &str) -> Vec<&'a Sign> {
    let part = Part::Controller(key.to_owned());
    let refused = |sign: &&Sign| sign.event.part == part && matches!(sign.event.what, Happening::NotStarted(_));
    view.memory.ledger.signs.all().filter(refused).collect()
}

fn is_same_kind(one: Happening, other: Happening) -> bool {
    std::mem::discriminant(&one) == std::mem::discriminant(&other)
}
