//! Causes that lie in one drive: it hangs, or it fails. No drive is blamed for a lost connection or a time-out alone.

use super::diagnosis::{Diagnosis, Left};
use super::shared::were_silent_together;
use super::view::{NEAR, SILENCE, Suspect};
use crate::kinds::Trouble;
use traylight_data::clock::DAY;
use traylight_data::reading::{EventKind, EventSource};
use traylight_data::verdict::{Cause, Confidence, Kind};

const CONNECTED: &[Trouble] = &[Trouble::Connection];
const MEDIA: &[Trouble] = &[Trouble::Media];
const WHOLE: &[Trouble] = &[Trouble::Media, Trouble::Connection];
const WORN: &[Trouble] = &[Trouble::Media, Trouble::Connection, Trouble::Power];

/// `drive-hangs`: one drive has work and finishes none, and the others go on.
pub fn hangs(left: &Left) -> Vec<Diagnosis> {
    let hung: Vec<_> = left.with(Trouble::Connection).into_iter().filter(|suspect| suspect.hangs()).collect();
    let is_alone = |one: &&&Suspect| {
        let others = hung.iter().filter(|other| other.key != one.key);
        !others.into_iter().any(|other| were_silent_together(one, other))
    };
    hung.iter().filter(is_alone).filter_map(|suspect| hanging(suspect)).collect()
}

fn hanging(suspect: &Suspect) -> Option<Diagnosis> {
    if suspect.is_unreadable() || suspect.is_damaged() {
        return None;
    }
    let signs = suspect.signs(&SILENCE, NEAR);
    let confidence = if signs.iter().any(|sign| sign.event.teller == EventSource::Log) {
        Confidence::Likely
    } else {
        Confidence::Possible
    };
    Some(Diagnosis::new(Cause::DriveHangs, confidence).of([suspect], CONNECTED).with(signs))
}

/// `drive-fails`: a drive says that it fails, or cannot read what it holds while its transfers arrive and its power is
/// steady.
pub fn fails(left: &Left) -> Vec<Diagnosis> {
    left.with(Trouble::Media).into_iter().filter_map(|suspect| failing(suspect)).collect()
}

fn failing(suspect: &Suspect) -> Option<Diagnosis> {
    let says_so = suspect.has(&[Kind::DriveHealthFailed]);
    let died = suspect.failed_and_died();
    // Its own word is a measurement, and so are places that it replaces; what it cannot read may have come from
    // outside.
    let lost_power = suspect.lost_power(Trouble::Media);
    if !suspect.is_worn() && (suspect.is_damaged() || lost_power) {
        return None;
    }
    let signs = suspect.signs(&[EventKind::Unreadable, EventKind::GivenUp, EventKind::MemberFailed], DAY);
    let by_kernel = signs.iter().any(|sign| sign.event.teller == EventSource::Log);
    let by_pool = suspect.has(&[Kind::MemberErrors]);
    let confidence = match (says_so, by_kernel || by_pool || suspect.is_worn() || died) {
        (true, _) => Confidence::Certain,
        (false, true) => Confidence::Likely,
        (false, false) => Confidence::Possible,
    };
    // What it died of takes its absence along, though what it said is told of no more while it is gone; a drive that
    // was pulled belongs to another incident.
    let whole = suspect.known.present || suspect.died_first();
    let explains = if suspect.is_worn() && !suspect.is_damaged() {
        WORN
    } else if whole && !suspect.is_damaged() && !lost_power {
        WHOLE
    } else {
        MEDIA
    };
    Some(Diagnosis::new(Cause::DriveFails, confidence).of([suspect], explains).with(signs))
}
