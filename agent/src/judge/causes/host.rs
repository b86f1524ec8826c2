//! Causes that lie in the machine: data that changes on its way.

use super::{Diagnosis, Left};
use crate::reading::MemberErrorKind;
use crate::verdict::{Cause, Condition, Confidence, Finding, Kind, Severity, Subject};

/// R12: data that does not agree on three drives or more, or between the members of a pool, while none of its drives
/// counts a damaged transfer or an unreadable place.
pub fn data_path(left: &Left) -> Vec<Diagnosis> {
    let is_checksum = |condition: &&Condition| {
        matches!(condition.finding, Finding::MemberErrors { kind: MemberErrorKind::Checksum, .. })
    };
    let on_drives: Vec<&Condition> = left.open(&[Kind::MemberErrors]).into_iter().filter(is_checksum).collect();
    let of_pools: Vec<&Condition> =
        left.open(&[Kind::Mismatches]).into_iter().filter(|condition| condition.severity > Severity::Notice).collect();
    let spotless = !left.view.suspects.iter().any(|suspect| suspect.is_damaged() || suspect.is_unreadable());
    let enough = on_drives.len() >= 3 || !of_pools.is_empty();
    if !enough || !spotless {
        return Vec::new();
    }
    let confidence = if on_drives.len() >= 3 { Confidence::Likely } else { Confidence::Possible };
    let drives = if on_drives.len() >= 3 { on_drives } else { Vec::new() };
    let mut diagnosis =
        Diagnosis::new(Cause::DataPath, confidence).claiming(of_pools.into_iter().chain(drives.clone()));
    diagnosis.drives = drives
        .iter()
        .filter_map(|condition| match &condition.subject {
            Subject::Drive(key) => Some(key.clone()),
            _ => None,
        })
        .collect();
    vec![diagnosis]
}
