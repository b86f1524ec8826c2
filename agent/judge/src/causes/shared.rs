//! Causes that lie in what several drives share: a port multiplier or expander, the card that they are plugged into,
//! its ribbon or its supply. One drive in trouble points to its own cable; two of one card do not.

use super::diagnosis::{Diagnosis, Left};
use super::power::comes_of;
use super::view::{LEAD, Suspect, at_once};
use crate::kinds::{TOGETHER, Trouble};
use crate::memory::sign::Sign;
use std::collections::BTreeMap;
use traylight_data::clock::Moment;
use traylight_data::reading::{EventKind, Reason};
use traylight_data::verdict::{Cause, Confidence, Kind, Unmeasured};

const CONNECTED: &[Trouble] = &[Trouble::Connection];
const CUT_OFF: &[Trouble] = &[Trouble::Connection, Trouble::Power];
const DAMAGED: &[Trouble] = &[Trouble::Transfer, Trouble::Connection];
const SILENT: [Kind; 2] = [Kind::DriveTimeouts, Kind::DriveNotAnswering];

/// All drives behind one port multiplier or expander went together, and no other. It takes their power along when it
/// has a supply of its own.
pub fn path_lost(left: &Left) -> Vec<Diagnosis> {
    let mut paths: BTreeMap<&str, Vec<&Suspect>> = BTreeMap::new();
    for suspect in left.cut_off() {
        let shared = suspect.path().filter(|path| suspect.controller() != Some(path) && suspect.bridge().is_none());
        if let Some(path) = shared {
            paths.entry(path).or_default().push(suspect);
        }
    }
    let rule = |(path, suspects): (&str, Vec<&Suspect>)| {
        let behind = left.view.memory.drives.expected().filter(|(_, known)| {
            known.place.port.as_deref().and_then(traylight_data::reading::port::path_of) == Some(path)
        });
        let all = behind.map(|(key, _)| key).all(|key| suspects.iter().any(|suspect| suspect.key == key));
        let lost = |suspect: &Suspect| suspect.losses().iter().map(|sign| sign.event.at).collect::<Vec<_>>();
        let together = at_once(&suspects, lost);
        let at_start = suspects.iter().all(|suspect| suspect.is_absent_since_start());
        let signs = left.view.memory.ledger.signs.all().filter(|sign| sign.event.what == EventKind::Vanished);
        let is_other = |sign: &&Sign| !suspects.iter().any(|suspect| suspect.is_of(sign));
        let near = |sign: &Sign| together.first().is_some_and(|(_, at)| sign.event.at.apart(*at) <= TOGETHER);
        let alone = !signs.filter(is_other).any(near);
        if suspects.len() < 2 || !all || !alone || !(at_start || together.len() == suspects.len()) {
            return None;
        }
        let mut diagnosis = Diagnosis::new(Cause::SharedPath, Confidence::Likely).part(path);
        for suspect in suspects {
            let own: Vec<&Sign> = suspect.losses().into_iter().chain(suspect.power_losses()).collect();
            diagnosis =
                diagnosis.of_one(suspect, CUT_OFF, |open| own.is_empty() || comes_of(suspect, &own, open)).with(own);
        }
        Some(diagnosis.without([Unmeasured::PowerCycles]))
    };
    paths.into_iter().filter_map(rule).collect()
}

/// Damaged transfers on one drive of a card, and damaged transfers or time-outs on another.
pub fn damage(left: &Left) -> Vec<Diagnosis> {
    let spotless = |suspect: &&Suspect| !suspect.is_unreadable() && !suspect.lost_power(Trouble::Transfer);
    let rule = |(card, damaged): (String, Vec<&Suspect>)| {
        let silent =
            by_card(left.with(Trouble::Connection).into_iter().filter(spotless).filter(is_silent)).remove(&card);
        let mut suspects = damaged.clone();
        let is_new = |suspect: &&Suspect| !damaged.iter().any(|other| other.key == suspect.key);
        suspects.extend(silent.unwrap_or_default().into_iter().filter(is_new));
        let confidence = if suspects.len() >= 3 { Confidence::Likely } else { Confidence::Possible };
        let signs = suspects.iter().flat_map(|suspect| suspect.damage());
        (suspects.len() >= 2).then(|| {
            Diagnosis::new(Cause::SharedPath, confidence)
                .of(suspects.iter().copied(), DAMAGED)
                .part(shared_part(&suspects, card))
                .with(signs)
        })
    };
    // A link that is merely slower may always have been near its edge.
    let is_damaged = |suspect: &&Suspect| suspect.has(&[Kind::SataCrcGrowth]) || !suspect.damage().is_empty();
    let damaged = left.with(Trouble::Transfer).into_iter().filter(spotless).filter(is_damaged);
    by_card(damaged).into_iter().filter_map(rule).collect()
}

/// Commands run out on two drives or more of one card, and no transfer is damaged. Where the errors of a card's PCIe
/// link are not counted, that is how a bad ribbon or slot shows (`pcie-link`).
pub fn silence(left: &Left) -> Vec<Diagnosis> {
    let spotless = |suspect: &&Suspect| {
        !suspect.is_unreadable() && !suspect.is_damaged() && !suspect.lost_power(Trouble::Connection)
    };
    let rule = |(card, mut suspects): (String, Vec<&Suspect>)| {
        let all = suspects.clone();
        suspects.retain(|one| all.iter().any(|other| other.key != one.key && were_silent_together(one, other)));
        let controller = left.view.controller(&card);
        let uncounted = controller.is_some_and(|found| {
            found.bus_errors.missing().is_some_and(|why| matches!(why.reason, Reason::NotAvailable | Reason::Refused))
        });
        // One that sits on the board itself has neither ribbon nor slot.
        let is_card = card.matches('/').count() >= 2;
        let part = shared_part(&suspects, card.clone());
        let cause = if uncounted && is_card && part == card { Cause::PcieLink } else { Cause::SharedPath };
        let signs = suspects.iter().flat_map(|suspect| suspect.signs(&super::view::SILENCE, super::view::NEAR));
        (suspects.len() >= 2).then(|| {
            Diagnosis::new(cause, Confidence::Possible)
                .of(suspects.iter().copied(), CONNECTED)
                .part(part)
                .with(signs)
                .without([Unmeasured::ControllerTemperature])
        })
    };
    by_card(left.with(Trouble::Connection).into_iter().filter(spotless).filter(is_silent))
        .into_iter()
        .filter_map(rule)
        .collect()
}

/// True when both did not answer at some time: one that is gone did not since, however long the other does.
pub fn were_silent_together(one: &Suspect, other: &Suspect) -> bool {
    let gone = |suspect: &Suspect| suspect.lost().map(|(at, _)| at).filter(|_| !suspect.known.present);
    let begins_in_time = |there: &Suspect, lost: Moment| there.since <= lost.plus(LEAD);
    match (gone(one), gone(other)) {
        (Some(lost), None) => begins_in_time(other, lost),
        (None, Some(lost)) => begins_in_time(one, lost),
        (Some(one), Some(other)) => one.apart(other) <= LEAD,
        (None, None) => true,
    }
}

fn is_silent(suspect: &&Suspect) -> bool {
    suspect.has(&SILENT) || suspect.hangs()
}

/// The drives by the card that they are plugged into; over USB by their bridge, since a host has many ports. Of a drive
/// whose place is not known nothing is known that it shares.
fn by_card<'v, 'a>(suspects: impl Iterator<Item = &'v Suspect<'a>>) -> BTreeMap<String, Vec<&'v Suspect<'a>>> {
    let mut cards: BTreeMap<String, Vec<&Suspect>> = BTreeMap::new();
    for suspect in suspects {
        let card = if suspect.bridge().is_some() { suspect.path() } else { suspect.controller() };
        if let Some(card) = card {
            cards.entry(card.to_owned()).or_default().push(suspect);
        }
    }
    cards
}

/// True for a drive in trouble whose card has another in the same trouble.
pub fn shares_its_card(suspect: &Suspect, others: &[&Suspect]) -> bool {
    let cards = by_card(others.iter().copied());
    cards.values().any(|of| of.len() >= 2 && of.iter().any(|other| other.key == suspect.key))
}

/// The narrowest part that all of them share.
fn shared_part(suspects: &[&Suspect], card: String) -> String {
    let first = suspects.first().and_then(|suspect| suspect.path());
    match first.filter(|path| suspects.iter().all(|suspect| suspect.path() == Some(path))) {
        Some(path) => path.to_owned(),
        None => card,
    }
}
