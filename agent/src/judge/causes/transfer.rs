//! Causes of damaged transfers: the data cable, the port, or the drive's own connector.

use super::view::{DAMAGE, DAY, Suspect};
use super::{Diagnosis, Left, Trouble};
use crate::judge::signs::Sign;
use crate::reading::{Happening, Part, Teller};
use crate::verdict::{Cause, Confidence, Kind};

const DAMAGED: &[Trouble] = &[Trouble::Transfer, Trouble::Connection];

/// R3: transfers to one tray are damaged, while its drive reads what it holds and keeps its power. R3b: once drives have
/// changed places, the errors stay with the port or go with the drive. What was told of the drive that was on the port
/// before belongs to the same story.
pub fn cable(left: &Left) -> Vec<Diagnosis> {
    let suspects = left.with(Trouble::Transfer);
    let moved: Vec<_> = suspects.iter().filter_map(|suspect| Some((*suspect, moved(left, suspect)?))).collect();
    let (suspect, moved) = match (&suspects[..], &moved[..]) {
        (_, [(suspect, cause)]) => (*suspect, Some(*cause)),
        ([suspect], []) => (*suspect, None),
        // Damage here and there, or answers that contradict each other.
        _ => return Vec::new(),
    };
    if suspect.is_unreadable() || suspect.lost_power() {
        return Vec::new();
    }
    let signs = suspect.signs(&DAMAGE, DAY);
    let by_drive = suspect.has(&[Kind::SataCrcGrowth]);
    let by_kernel = signs.iter().any(|sign| sign.event.teller == Teller::Log);
    let slower = suspect.has(&[Kind::SataSlow]);
    let ways = [by_drive, by_kernel, slower].into_iter().filter(|way| *way).count();
    let (cause, confidence) = match moved {
        Some(cause) => (cause, Confidence::Likely),
        None if ways >= 2 => (Cause::DataCable, Confidence::Likely),
        None => (Cause::DataCable, Confidence::Possible),
    };
    let here = suspect.known.place.port.as_ref();
    let was_here = |other: &&Suspect| {
        cause == Cause::PortOrCable
            && other.key != suspect.key
            && damage(left).any(|sign| is_of(sign, other) && sign.port.as_ref() == here)
    };
    let story = std::iter::once(suspect).chain(suspects.iter().copied().filter(was_here));
    vec![Diagnosis::new(cause, confidence).of(story, DAMAGED).with(signs)]
}

/// What a change of places has shown: damage that this drive had on another port as well, or that another drive had on
/// this port before.
fn moved(left: &Left, suspect: &Suspect) -> Option<Cause> {
    let here = suspect.known.place.port.as_ref()?;
    let now_here = damage(left).any(|sign| is_of(sign, suspect) && sign.port.as_ref() == Some(here));
    let before_elsewhere =
        damage(left).any(|sign| is_of(sign, suspect) && sign.port.as_ref().is_some_and(|port| port != here));
    let other_here = damage(left).any(|sign| !is_of(sign, suspect) && sign.port.as_ref() == Some(here));
    match (now_here, before_elsewhere, other_here) {
        (true, true, false) => Some(Cause::DriveConnector),
        (true, false, true) => Some(Cause::PortOrCable),
        _ => None,
    }
}

fn damage<'a>(left: &Left<'_, 'a>) -> impl Iterator<Item = &'a Sign> {
    left.view.memory.ledger.signs.all().filter(|sign| sign.event.what == Happening::TransferDamaged)
}

fn is_of(sign: &Sign, suspect: &Suspect) -> bool {
    matches!(&sign.event.part, Part::Drive(key) if key == suspect.key)
}
