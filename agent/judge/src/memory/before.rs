//! How a drive was when it was last there: what decides whether its loss was a hand's doing.

use super::drives::RememberedDrive;
use super::incident_store::IncidentStore;
use super::learning::Look;
use crate::kinds::Trouble;
use crate::redundancy::standing;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use traylight_data::reading::{Drive, DriveKey, EventKind, Member, MemberState, Pool, Power};
use traylight_data::verdict::{Condition, Evidence, Incident, Kind, Severity, Subject};

/// What a drive shows that its pool lets go of by itself.
pub const TROUBLES: [EventKind; 4] =
    [EventKind::TimedOut, EventKind::StandsStill, EventKind::GivenUp, EventKind::CommandFailed];

/// A drive of which both hold is wearing out, whatever its power does.
pub const WEARING: [Kind; 2] = [Kind::PendingOrUncorrectable, Kind::ReallocatedGrowth];

/// How a drive was when it was last there.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Before {
    /// It slept.
    pub asleep: bool,
    /// How long it had moved no data.
    pub idle: Duration,
    /// A pool counted on it.
    pub used: bool,
    /// Its pool did without it before, and did not call it faulty.
    pub put_out: bool,
    /// For how long it had been out.
    #[serde(default)]
    pub out_for: Duration,
    /// A pool was filling it, or held it ready as a spare.
    #[serde(default)]
    pub awaited: bool,
    /// Its pool lacked another member by then.
    pub pool_lacked: bool,
    /// Another drive was failing or hanging, so that a hand had a tray to look for.
    #[serde(default)]
    pub bad_beside: bool,
    /// It had work and finished none.
    pub hung: bool,
    /// It could not read what it held, or said that it fails.
    pub failing: bool,
    /// It could read ever less of what it held, and replaced it.
    #[serde(default)]
    pub worn: bool,
    /// Its commands had failed or run out, as the incidents tell that were open then.
    #[serde(default)]
    pub troubled: bool,
    /// Messages were held back because somebody worked on the box.
    pub muted: bool,
    /// How warm it was.
    pub celsius: Option<f64>,
}

impl Before {
    /// How a drive is that is there.
    pub fn of(look: &Look, known: &RememberedDrive, incident_store: &IncidentStore, drive: &Drive) -> Self {
        let Look { kinds, snapshot, .. } = look;
        let subject = Subject::Drive(drive.key.clone());
        let pools = || snapshot.pools.iter().filter(|pool| known.is_in(&pool.key));
        let has = |pool: &Pool, is_meant: fn(&Member) -> bool| {
            pool.members.iter().any(|member| member.drive_device == drive.device && is_meant(member))
        };
        let works = |pool: &Pool| has(pool, Member::is_working);
        let lacks_another = |pool: &Pool| standing(pool).lost > 0 && works(pool);
        let is_awaited =
            |pool: &Pool| has(pool, |member| matches!(member.state, MemberState::Rebuilding | MemberState::Spare));
        // A hand that puts a drive out takes it off the list, or offline.
        let has_failed = |pool: &Pool| has(pool, |member| member.state == MemberState::Faulty);
        // A spare is not yet in a pool, so all are looked at.
        let awaited = snapshot.pools.iter().any(is_awaited);
        Self {
            asleep: drive.power.get() == Some(&Power::Asleep),
            idle: Duration::ZERO,
            used: pools().any(works),
            put_out: !known.pools.is_empty() && !pools().any(works) && !awaited && !pools().any(has_failed),
            out_for: Duration::ZERO,
            awaited,
            pool_lacked: pools().any(lacks_another),
            bad_beside: is_bad_beside(look, known, incident_store, &drive.key),
            hung: false,
            failing: incident_store
                .conditions()
                .any(|open| open.subject == subject && kinds.is_sign(open.kind(), Trouble::Media)),
            worn: WEARING
                .iter()
                .all(|kind| incident_store.conditions().any(|o| o.subject == subject && o.kind() == *kind)),
            troubled: incident_store.iter().any(|incident| tells_of_trouble(incident, &drive.key, known)),
            muted: incident_store.is_muted(snapshot.taken),
            celsius: drive.temperature.get().map(|celsius| celsius.0),
        }
    }
}

/// True when an incident tells of commands to a drive that failed or ran out: what drives showed is forgotten after a week, and
/// a pool can lack one for longer.
fn tells_of_trouble(incident: &Incident, key: &DriveKey, known: &RememberedDrive) -> bool {
    const TOLD: [Kind; 2] = [Kind::DriveTimeouts, Kind::DriveNotAnswering];
    let speaks = |of: &Evidence| of.drive.as_ref() == Some(&known.place) && TROUBLES.contains(&of.what);
    incident.has_told(key, &TOLD) || incident.evidence.iter().any(speaks)
}

/// True when something is told of another drive for which its owner may go and pull a tray: it fails, or it hangs. Several
/// that hang point to what they share.
fn is_bad_beside(look: &Look, known: &RememberedDrive, incident_store: &IncidentStore, key: &DriveKey) -> bool {
    let is_in_reach =
        |other: &RememberedDrive| other.place.tray.is_some() || other.pools.iter().any(|pool| known.is_in(pool));
    let is_meant = |held: &&Condition| {
        let other = held.subject.drive().filter(|other| *other != key).and_then(|other| look.drives.get(other));
        held.severity >= Severity::Warning && other.is_some_and(is_in_reach)
    };
    let told: Vec<Kind> = incident_store.conditions().filter(is_meant).map(Condition::kind).collect();
    let hang = told.iter().filter(|kind| **kind == Kind::DriveNotAnswering).count();
    hang == 1 || (hang == 0 && told.iter().any(|kind| look.kinds.is_sign(*kind, Trouble::Media)))
}
