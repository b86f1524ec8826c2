//! Which conditions are names of one trouble of one part: while it lasts under another name, it is not over.

use super::condition::Condition;
use super::finding::Kind;
use super::subject::{ControllerAspect, Subject};

/// Kinds that say that one trouble lasts, and those that announce it: these go on as those, not the other way round.
const TROUBLES: [(&[Kind], &[Kind]); 5] = [
    (
        &[Kind::DriveGone, Kind::DriveNotAnswering, Kind::DriveBackNotUsed, Kind::MemberFaulty],
        &[Kind::DriveFlapping, Kind::DriveLostPower, Kind::DriveTimeouts],
    ),
    (&[Kind::PoolDegraded, Kind::PoolDown], &[Kind::RebuildStalled]),
    (&[Kind::VolumeReadonly, Kind::VolumeAbsent], &[Kind::VolumeErrors]),
    (&[Kind::FanStopped, Kind::FanWeak], &[]),
    (&[Kind::ControllerTrouble], &[]),
];

impl Condition {
    /// True when what was this condition goes on as that one: the same, or the same trouble of the same part.
    pub fn goes_on_as(&self, now: &Self) -> bool {
        let is_same_part = match (&self.subject, &now.subject) {
            // A controller that works badly may stop; one that works again may still have worked badly.
            (Subject::Controller { key: one, .. }, Subject::Controller { key: other, aspect }) => {
                use ControllerAspect::{Driver, Gone, Silent};
                one == other && matches!(aspect, Gone | Silent | Driver)
            }
            // What is told of a drive by itself and of the same drive in a pool is told of one part.
            (one, other) => one == other || one.drive().is_some_and(|drive| Some(drive) == other.drive()),
        };
        let (before, after) = (self.kind(), now.kind());
        let lasts = |(lasting, announcing): &(&[Kind], &[Kind])| {
            lasting.contains(&after) && (lasting.contains(&before) || announcing.contains(&before))
        };
        (before == after && self.subject == now.subject) || (is_same_part && TROUBLES.iter().any(lasts))
    }
}
