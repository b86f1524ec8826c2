//! Causes of damaged transfers: the data cable, the port, or the drive's own connector.

use super::diagnosis::{Diagnosis, Left};
use super::shared::shares_its_card;
use super::view::Suspect;
use crate::kinds::Trouble;
use crate::memory::sign::Sign;
use traylight_data::reading::{EventKind, EventSource};
use traylight_data::verdict::{Cause, Confidence, Kind};

const DAMAGED: &[Trouble] = &[Trouble::Transfer, Trouble::Connection];

/// `port-or-cable`: once drives have changed places, the errors stay with the port or go with the drive. What was told
/// of the drive that was on the port before belongs to the same incident.
pub fn after_a_move(left: &Left) -> Vec<Diagnosis> {
    let suspects = left.with(Trouble::Transfer);
    let moved: Vec<_> = suspects.iter().filter_map(|suspect| Some((*suspect, moved(left, suspect)?))).collect();
    // Answers that contradict each other are none.
    let [(suspect, cause)] = moved[..] else { return Vec::new() };
    if !is_spotless(suspect) {
        return Vec::new();
    }
    let here = suspect.known.place.port.as_ref();
    let was_here = |other: &&Suspect| {
        cause == Cause::PortOrCable
            && other.key != suspect.key
            && damage(left).any(|sign| other.is_of(sign) && sign.port.as_ref() == here)
    };
    let story = std::iter::once(suspect).chain(suspects.iter().copied().filter(was_here));
    vec![Diagnosis::new(cause, Confidence::Likely).of(story, DAMAGED).with(suspect.damage())]
}

/// `data-cable`: transfers to one tray of a card are damaged, while its drive reads what it holds and keeps its power.
/// Each card by itself; two of one card have another reason, see [`super::shared::damage`].
pub fn cable(left: &Left) -> Vec<Diagnosis> {
    let suspects = left.with(Trouble::Transfer);
    let rule = |suspect: &&Suspect| {
        if shares_its_card(suspect, &suspects) || !is_spotless(suspect) {
            return None;
        }
        let signs = suspect.damage();
        let by_drive = suspect.has(&[Kind::SataCrcGrowth]);
        let by_kernel = signs.iter().any(|sign| sign.event.teller == EventSource::Log);
        let slower = suspect.has(&[Kind::SataSlow]);
        let ways = [by_drive, by_kernel, slower].into_iter().filter(|way| *way).count();
        let confidence = if ways >= 2 { Confidence::Likely } else { Confidence::Possible };
        Some(Diagnosis::new(Cause::DataCable, confidence).of([*suspect], DAMAGED).with(signs))
    };
    suspects.iter().filter_map(rule).collect()
}

fn is_spotless(suspect: &Suspect) -> bool {
    !suspect.is_unreadable() && !suspect.lost_power(Trouble::Transfer)
}

/// What a change of places has shown: damage that this drive had on another port as well, or that another drive had on
/// this port before.
fn moved(left: &Left, suspect: &Suspect) -> Option<Cause> {
    let here = suspect.known.place.port.as_ref()?;
    let now_here = damage(left).any(|sign| suspect.is_of(sign) && sign.port.as_ref() == Some(here));
    let before_elsewhere =
        damage(left).any(|sign| suspect.is_of(sign) && sign.port.as_ref().is_some_and(|port| port != here));
    let other_here = damage(left).any(|sign| !suspect.is_of(sign) && sign.port.as_ref() == Some(here));
    match (now_here, before_elsewhere, other_here) {
        (true, true, false) => Some(Cause::DriveConnector),
        (true, false, true) => Some(Cause::PortOrCable),
        _ => None,
    }
}

fn damage<'a>(left: &Left<'_, 'a>) -> impl Iterator<Item = &'a Sign> {
    left.view.memory.ledger.signs.all().filter(|sign| sign.event.what == EventKind::TransferDamaged)
}
