//! Causes of damaged transfers: the data cable, the port, or the drive's own connector.

use super::view::{DAMAGE, DAY, Suspect};
use super::{Diagnosis, Left, Trouble};
use crate::reading::{Happening, Part};
use crate::verdict::{Cause, Confidence};

const DAMAGED: &[Trouble] = &[Trouble::Transfer, Trouble::Connection];

/// R3: transfers to one tray are damaged, while its drive reads what it holds and keeps its power. R3b: once drives have
/// changed places, the errors stay with the port or go with the drive.
pub fn cable(left: &Left) -> Vec<Diagnosis> {
    let suspects = left.with(Trouble::Transfer);
    let [suspect] = suspects[..] else { return Vec::new() };
    if suspect.is_unreadable() || suspect.lost_power() {
        return Vec::new();
    }
    let signs = suspect.signs(&DAMAGE, DAY);
    let by_drive = suspect.has(&Trouble::Transfer.kinds()[..1]);
    let by_kernel = signs.iter().any(|sign| sign.event.teller == crate::reading::Teller::Log);
    let slower = suspect.has(&Trouble::Transfer.kinds()[1..]);
    let ways = [by_drive, by_kernel, slower].into_iter().filter(|way| *way).count();
    let (cause, confidence) = match moved(left, suspect) {
        Some(cause) => (cause, Confidence::Likely),
        None if ways >= 2 => (Cause::DataCable, Confidence::Likely),
        None => (Cause::DataCable, Confidence::Possible),
    };
    vec![Diagnosis::new(cause, confidence).of([suspect], DAMAGED).with(signs)]
}

/// What a change of places has shown: damage that this drive had on another port as well, or that another drive had on
/// this port before.
fn moved(left: &Left, suspect: &Suspect) -> Option<Cause> {
    let here = suspect.known.place.port.as_ref()?;
    let damage = || left.view.memory.ledger.signs.all().filter(|sign| sign.event.what == Happening::TransferDamaged);
    let is_here = |key: &Part| *key == Part::Drive(suspect.key.clone());
    let now_here = damage().any(|sign| is_here(&sign.event.part) && sign.port.as_ref() == Some(here));
    let before_elsewhere =
        damage().any(|sign| is_here(&sign.event.part) && sign.port.as_ref().is_some_and(|port| port != here));
    let other_here = damage().any(|sign| !is_here(&sign.event.part) && sign.port.as_ref() == Some(here));
    match (now_here, before_elsewhere, other_here) {
        (true, true, false) => Some(Cause::DriveConnector),
        (true, false, true) => Some(Cause::PortOrCable),
        _ => None,
    }
}
