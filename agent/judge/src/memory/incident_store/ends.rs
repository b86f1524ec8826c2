//! How an incident ends: over only when nothing of it holds under any name.

use traylight_data::verdict::{Cause, Condition, Ended, Incident, Kind};

/// How an incident ends that no group of what holds goes on with, beside those that are open.
pub fn ended(incident: &Incident, open: &[Incident]) -> Ended {
    let is_of_drive = |held: &&Condition| held.subject.drive().is_some();
    let lives_in = |other: &&Incident| {
        incident.conditions.iter().any(|own| other.conditions.iter().any(|held| own.goes_on_as(held)))
    };
    let is_of_its_drive = |other: &&Incident| {
        let gone = other.conditions.iter().any(|held| held.kind() == Kind::DriveGone);
        gone && other.drives.iter().any(|drive| incident.drives.contains(drive))
    };
    match (open.iter().find(is_of_its_drive), open.iter().find(lives_in)) {
        // What its drive told of itself ended with the drive, by a hand or not.
        (Some(absence), _) if incident.conditions.iter().any(|held| is_of_drive(&held)) => match absence.cause {
            Cause::TakenOut => Ended::TakenOut,
            _ => Ended::PartOf(absence.id),
        },
        (_, Some(other)) => Ended::PartOf(other.id),
        _ => Ended::Over,
    }
}
