//! From diagnoses to groups: every open condition belongs to exactly one. A pool's conditions go with the drives that it
//! lost, a volume's with its pool; what nothing explains stands for itself.

use super::alike::one_reason;
use super::handling::handling;
use crate::causes::view::CauseView;
use crate::causes::{Diagnosis, diagnose};
use crate::memory::incident_store::group::{ConditionGroup, by_weight};
use crate::memory::sign::Sign;
use std::collections::BTreeSet;
use traylight_data::reading::{DriveKey, Part, Pool, Volume};
use traylight_data::verdict::{Cause, Condition, ConditionKey, Evidence, Finding, Kind, Place, Subject, Unmeasured};

/// The groups of what holds now.
pub fn groups(view: &CauseView) -> Vec<ConditionGroup> {
    let mut found: Vec<(Diagnosis, Vec<&Condition>)> =
        diagnose(view).into_iter().map(|one| (one, Vec::new())).collect();
    let mut alone: Vec<&Condition> = Vec::new();
    let mut open: Vec<&Condition> = view.memory.open().collect();
    // Pools before volumes, which go with them.
    open.sort_by_key(|condition| (rank(condition), condition.since));
    let mut homes: Vec<(ConditionKey, usize)> = Vec::new();
    for condition in open {
        let claimed = found.iter().position(|(diagnosis, _)| diagnosis.claims.contains(&condition.key()));
        let home = claimed.or_else(|| home(view, condition, &found, &homes));
        match home {
            Some(index) => {
                found[index].1.push(condition);
                homes.push((condition.key(), index));
            }
            None => alone.push(condition),
        }
    }
    let diagnosed = found.into_iter().filter(|(_, conditions)| !conditions.is_empty()).collect();
    let diagnosed = put_together(view, diagnosed).into_iter();
    let mut groups: Vec<ConditionGroup> =
        diagnosed.map(|(diagnosis, conditions)| group(view, diagnosis, conditions)).collect();
    groups.extend(alone_groups(view, alone));
    groups
}

fn rank(condition: &Condition) -> u8 {
    match condition.subject {
        Subject::Pool(_) => 1,
        Subject::Volume(_) => 2,
        _ => 0,
    }
}

/// The diagnosis that a condition of a pool or a volume is a part of.
fn home(
    view: &CauseView,
    condition: &Condition,
    found: &[(Diagnosis, Vec<&Condition>)],
    homes: &[(ConditionKey, usize)],
) -> Option<usize> {
    let cut_off = |diagnosis: &Diagnosis, key: &DriveKey| {
        let gone = view.memory.drives.get(key).is_some_and(|known| !known.present);
        diagnosis.drives.contains(key) && (gone || diagnosis.claims.iter().any(|(kind, _)| CUTS_OFF.contains(kind)))
    };
    match (&condition.finding, &condition.subject) {
        (Finding::PoolDegraded { lost, .. }, _) => {
            let keys: Vec<&DriveKey> = view
                .memory
                .drives
                .iter()
                .filter(|(_, known)| lost.contains(&known.place))
                .map(|(key, _)| key)
                .collect();
            let mut fits = (0..found.len()).filter(|n| keys.iter().any(|key| found[*n].0.drives.contains(key)));
            // It stays with the drive that was lost first, though another may be lost by now.
            let story = view.memory.ledger.incident_store.of(condition);
            let goes_on = |n: &usize| {
                let told = story.iter().flat_map(|incident| &incident.conditions);
                told.filter(|known| known.subject != condition.subject)
                    .any(|known| found[*n].0.claims.contains(&known.key()))
            };
            // A drive that lost its power days ago and is gone now belongs to two incidents, of which the pool has lost it by one.
            let took_it = |n: &usize| {
                let claims = |key: &DriveKey, kind| found[*n].0.claims.contains(&(kind, Subject::Drive(key.clone())));
                keys.iter().any(|key| CUTS_OFF.iter().any(|kind| claims(key, *kind)))
            };
            fits.clone().find(goes_on).or_else(|| fits.clone().find(took_it)).or_else(|| fits.next())
        }
        (Finding::PoolDown { .. }, Subject::Pool(pool)) => {
            let keys: Vec<&DriveKey> =
                view.memory.drives.iter().filter(|(_, known)| known.is_in(pool)).map(|(key, _)| key).collect();
            found.iter().position(|(diagnosis, _)| keys.iter().any(|key| cut_off(diagnosis, key)))
        }
        (Finding::MemberFaulty { .. }, Subject::Member { drive, .. }) => {
            found.iter().position(|(diagnosis, _)| diagnosis.drives.contains(drive))
        }
        (Finding::PoolBusy { .. } | Finding::RebuildStalled { .. }, Subject::Pool(_)) => {
            let whole = (Kind::PoolDegraded, condition.subject.clone());
            homes.iter().find(|(key, _)| *key == whole).map(|(_, index)| *index)
        }
        (
            Finding::VolumeReadonly { .. } | Finding::VolumeAbsent { .. } | Finding::VolumeErrors { .. },
            Subject::Volume(mount),
        ) => {
            let volume = view.snapshot.volumes.iter().find(|volume| volume.mount == *mount);
            let source = match &condition.finding {
                Finding::VolumeAbsent { source, .. } => source.as_str(),
                _ => volume.map_or("", |volume: &Volume| volume.source.as_str()),
            };
            let pool = view.snapshot.pools.iter().find(|pool| carries(pool, source))?;
            let of_pool = |(key, _): &&(ConditionKey, usize)| {
                key.1 == Subject::Pool(pool.key.clone()) && matches!(key.0, Kind::PoolDegraded | Kind::PoolDown)
            };
            homes.iter().find(of_pool).map(|(_, index)| *index)
        }
        _ => None,
    }
}

const CUTS_OFF: [Kind; 3] = [Kind::DriveGone, Kind::DriveNotAnswering, Kind::DriveBackNotUsed];

/// True when a file system on this source is on this pool.
fn carries(pool: &Pool, source: &str) -> bool {
    let named = |name: &str| !name.is_empty() && (source == format!("/dev/{name}") || source == name);
    let inside = source.strip_prefix(&pool.name).is_some_and(|rest| rest.starts_with('/'));
    let member = |device: &str| !device.is_empty() && source == format!("/dev/{device}");
    named(&pool.name) || named(&pool.key) || inside || pool.members.iter().any(|found| member(&found.device))
}

/// What is not clear of several drives, and looks the same, is one incident.
fn put_together<'a>(
    view: &CauseView,
    diagnosed: Vec<(Diagnosis, Vec<&'a Condition>)>,
) -> Vec<(Diagnosis, Vec<&'a Condition>)> {
    let mut kept: Vec<(Diagnosis, Vec<&Condition>)> = Vec::new();
    for (diagnosis, conditions) in diagnosed {
        let is_alike = |(other, others): &&mut (Diagnosis, Vec<&Condition>)| {
            let alike = |one: &&Condition| others.iter().all(|other| one_reason(view, one, other));
            other.cause == Cause::Unknown && diagnosis.cause == Cause::Unknown && conditions.iter().all(alike)
        };
        match kept.iter_mut().find(is_alike) {
            Some((other, others)) => {
                other.drives.extend(diagnosis.drives);
                other.evidence.extend(diagnosis.evidence);
                other.unmeasured.extend(diagnosis.unmeasured);
                others.extend(conditions);
            }
            None => kept.push((diagnosis, conditions)),
        }
    }
    kept
}

/// What nothing explains: each stands for itself, but what has one reason is one incident.
fn alone_groups(view: &CauseView, alone: Vec<&Condition>) -> Vec<ConditionGroup> {
    let mut groups: Vec<(Diagnosis, Vec<&Condition>)> = Vec::new();
    for condition in alone {
        let is_alike = |(_, others): &&mut (Diagnosis, Vec<&Condition>)| {
            others.iter().any(|other| one_reason(view, other, condition))
        };
        match groups.iter_mut().find(is_alike) {
            Some((diagnosis, others)) => {
                diagnosis.drives.extend(condition.subject.drive().cloned());
                others.push(condition);
            }
            None => groups.push((Diagnosis::as_it_says(condition), vec![condition])),
        }
    }
    groups.into_iter().map(|(diagnosis, conditions)| group(view, diagnosis, conditions)).collect()
}

fn group(view: &CauseView, diagnosis: Diagnosis, mut conditions: Vec<&Condition>) -> ConditionGroup {
    conditions.sort_by(|a, b| by_weight(a, b));
    let place = |key: &DriveKey| view.memory.drives.get(key).map(|known| known.place.clone());
    let mut drives: Vec<Place> = diagnosis.drives.iter().filter_map(place).collect();
    drives.sort();
    let handling = handling(view, &diagnosis, &conditions);
    let unmeasured: BTreeSet<Unmeasured> = diagnosis.unmeasured.iter().copied().collect();
    ConditionGroup {
        cause: diagnosis.cause,
        confidence: diagnosis.confidence,
        conditions: conditions.into_iter().cloned().collect(),
        drives,
        part: diagnosis.part,
        evidence: diagnosis.evidence.into_iter().map(|sign| evidence(view, sign)).collect(),
        unmeasured: unmeasured.into_iter().collect(),
        handling,
        hot_swap: view.settings.hot_swap,
    }
}

fn evidence(view: &CauseView, sign: Sign) -> Evidence {
    let (drive, part) = match &sign.event.part {
        Part::Drive(key) => (view.memory.drives.get(key).map(|known| known.place.clone()), String::new()),
        Part::Usb(chain) => (None, format!("usb {chain}")),
        Part::Place(name)
        | Part::Controller(name)
        | Part::Pool(name)
        | Part::Volume(name)
        | Part::Link(name)
        | Part::Bus(name) => (None, name.clone()),
        Part::Board => (None, "board".to_owned()),
    };
    let event = sign.event;
    Evidence { at: event.at, drive, part, what: event.what, teller: event.teller, count: sign.count, line: event.line }
}
