//! Causes of heat: a fan or the airflow, one tray, the room.

use super::diagnosis::{Diagnosis, Left};
use crate::memory::warmth::NOT_ODD;
use traylight_data::reading::Fan;
use traylight_data::verdict::{Cause, Condition, Confidence, Finding, Kind, Subject, Unmeasured};

const HEAT: [Kind; 3] = [Kind::DriveHot, Kind::DriveHotterThanPeers, Kind::DrivesHeatingTogether];
const FAN: [Kind; 2] = [Kind::FanStopped, Kind::FanWeak];

/// `airflow`, `air-blocked`, `warm-room` and `tray-air`. Several drives that are too warm or get warm together, and a
/// fan that fails, have one cause; where no fan is measured it stays possible, and where all fans that are fitted turn it
/// is a blocked airflow or the room. A fan that fails needs only one drive that is too warm: the others follow. When
/// the board got as much warmer as the drives did, it is the room.
pub fn warmth(left: &Left) -> Vec<Diagnosis> {
    let (hot, fans) = (left.open(&HEAT), left.open(&FAN));
    let drives: Vec<&Condition> = hot.iter().copied().filter(|c| matches!(c.subject, Subject::Drive(_))).collect();
    let together = hot.iter().any(|condition| condition.kind() == Kind::DrivesHeatingTogether);
    let mut over: Vec<&Subject> = drives
        .iter()
        .filter(|condition| condition.kind() == Kind::DriveHot)
        .map(|condition| &condition.subject)
        .collect();
    over.dedup();
    if together || over.len() >= 2 || (!over.is_empty() && !fans.is_empty()) {
        // A header that was never seen to have a fan says nothing.
        let known = left.view.memory.ledger.fans.fitted(left.view.settings, left.view.snapshot);
        let mut fitted = left.view.snapshot.fans.iter().filter(|fan| known.contains(&fan.key)).peekable();
        let turns = |fan: &Fan| !fan.fault && fan.speed.get().is_some_and(|speed| speed.0 > 0);
        let fan_told = left.view.snapshot.fans.iter().any(turns);
        let fans_run = fitted.peek().is_some() && fitted.all(turns);
        let (cause, confidence) = match (fans.is_empty(), left.view.memory.ledger.climate.room_got_warmer()) {
            (false, _) => (Cause::Airflow, Confidence::Likely),
            (true, true) if !together => (Cause::WarmRoom, Confidence::Likely),
            (true, _) if fans_run => (Cause::AirBlocked, Confidence::Possible),
            (true, _) => (Cause::Airflow, Confidence::Possible),
        };
        let diagnosis = Diagnosis::new(cause, confidence)
            .claiming(hot.iter().chain(&fans).copied())
            .without((fans.is_empty() && !fan_told).then_some(Unmeasured::FanSpeed))
            .without([Unmeasured::RoomTemperature]);
        return vec![about(diagnosis, &hot)];
    }
    let of_tray = |condition: &&&Condition| {
        let peers = matches!(&condition.finding, Finding::DriveHot { others: Some((_, warmest)), now, .. }
            if now.0 >= warmest.0 + NOT_ODD);
        peers || condition.kind() == Kind::DriveHotterThanPeers
    };
    let Some(tray) = drives.iter().find(of_tray) else { return Vec::new() };
    let same: Vec<&Condition> = drives.iter().copied().filter(|condition| condition.subject == tray.subject).collect();
    vec![about(Diagnosis::new(Cause::TrayAir, Confidence::Possible).claiming(same.iter().copied()), &same)]
}

fn about(mut diagnosis: Diagnosis, conditions: &[&Condition]) -> Diagnosis {
    for condition in conditions {
        if let Subject::Drive(key) = &condition.subject {
            if !diagnosis.drives.contains(key) {
                diagnosis.drives.push(key.clone());
            }
        }
    }
    diagnosis
}
