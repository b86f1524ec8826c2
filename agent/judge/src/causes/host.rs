//! Causes that lie in the machine: data that changes on its way, and starts that nobody asked for.

use super::diagnosis::{Diagnosis, Left};
use super::view::NEAR;
use crate::memory::sign::Sign;
use std::collections::BTreeSet;
use traylight_data::reading::{DriveKey, EventKind, MemberErrorKind};
use traylight_data::verdict::{BoxFault, Cause, Condition, Confidence, Finding, Kind, PoolErrors, Severity};

/// `data-path`: data that does not agree on three drives or more, or between the members of a pool, while none of its
/// drives counts a damaged transfer or an unreadable place.
pub fn data_path(left: &Left) -> Vec<Diagnosis> {
    let is_checksum = |condition: &&Condition| {
        let Finding::MemberErrors { what, .. } = &condition.finding else { return false };
        matches!(what, PoolErrors::OfMember { errors: MemberErrorKind::Checksum, .. })
    };
    let on_drives: Vec<&Condition> = left.open(&[Kind::MemberErrors]).into_iter().filter(is_checksum).collect();
    let of_pools: Vec<&Condition> =
        left.open(&[Kind::Mismatches]).into_iter().filter(|condition| condition.severity > Severity::Notice).collect();
    let spotless = !left.view.suspects.iter().any(|suspect| suspect.is_damaged() || suspect.is_unreadable());
    // A drive can be in several pools.
    let drives: BTreeSet<&DriveKey> = on_drives.iter().filter_map(|condition| condition.subject.drive()).collect();
    let enough = drives.len() >= 3 || !of_pools.is_empty();
    if !enough || !spotless {
        return Vec::new();
    }
    let (confidence, on_drives) = match drives.len() >= 3 {
        true => (Confidence::Likely, on_drives),
        false => (Confidence::Possible, Vec::new()),
    };
    let mut diagnosis =
        Diagnosis::new(Cause::DataPath, confidence).claiming(of_pools.into_iter().chain(on_drives.iter().copied()));
    let drives: BTreeSet<&DriveKey> = on_drives.iter().filter_map(|condition| condition.subject.drive()).collect();
    diagnosis.drives = drives.into_iter().cloned().collect();
    vec![diagnosis]
}

/// `restart`: the machine started again and was not stopped. A low supply or drives that were starting then point to
/// the supply, a processor that was critically hot to heat; what was kept of the boot before is all there is to tell
/// by.
pub fn restart(left: &Left) -> Vec<Diagnosis> {
    let ledger = &left.view.memory.ledger;
    let rule = |condition: &Condition| {
        let Finding::BoxStorageAndRestart { what: BoxFault::UncleanRestart { .. }, .. } = &condition.finding else {
            return None;
        };
        let last =
            |sign: &&Sign| ledger.signs.ended.is_some_and(|ended| sign.last <= ended && ended.since(sign.last) <= NEAR);
        let of = |kinds: &'static [EventKind]| {
            ledger.signs.all().filter(last).filter(|sign| kinds.contains(&sign.event.what)).collect::<Vec<_>>()
        };
        let (low, starting) = (of(&[EventKind::UndervoltageBegan]), of(&[EventKind::Woke, EventKind::Appeared]));
        let was_hot = |hot: &Condition| hot.severity == Severity::Critical && ledger.signs.ended >= Some(hot.since);
        let diagnosis = if !low.is_empty() || starting.len() >= 2 {
            Diagnosis::new(Cause::RestartPower, Confidence::Likely).with(low).with(starting)
        } else if left.view.open(&[Kind::CpuHotThrottled]).any(was_hot) {
            Diagnosis::new(Cause::RestartHeat, Confidence::Possible)
        } else {
            Diagnosis::new(Cause::RestartUnexplained, Confidence::Possible)
        };
        Some(diagnosis.claiming([condition]).without(super::power::twelve_volts(left.view)))
    };
    left.open(&[Kind::BoxStorageAndRestart]).into_iter().filter_map(rule).collect()
}
