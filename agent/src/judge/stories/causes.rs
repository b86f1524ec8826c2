//! Stories of causes: what several readings together point to. Each rule has stories in which it must speak and near
//! misses in which it must not.

use super::{MINUTE, Story, let_go, pull};
use crate::clock::Moment;
use crate::reading::Snapshot;
use crate::verdict::{Cause, Confidence};
use std::time::Duration;

/// The drives of heron, in the order of their trays.
fn serials() -> Vec<String> {
    let snapshot = crate::demo::heron::snapshot(Moment::default(), &crate::demo::story::scene(Duration::ZERO));
    snapshot.drives.iter().map(|drive| drive.key.0.clone()).collect()
}

impl Story {
    /// The causes of what is open, worst first.
    fn causes(&self) -> Vec<(Cause, Confidence)> {
        let incidents = self.verdict.iter().flat_map(|verdict| &verdict.incidents);
        incidents.map(|incident| (incident.cause, incident.confidence)).collect()
    }
}

/// A drive counts this much of something.
fn count(snapshot: &mut Snapshot, serial: &str, counter: &str, value: i64) {
    let taken = snapshot.taken;
    let found = snapshot.drives.iter_mut().find(|drive| drive.key.0 == serial);
    if let Some(drive) = found {
        drive.health.taken = taken;
        if let Ok(health) = &mut drive.health.value {
            health.counters.retain(|known| known.name != counter);
            let name = counter.to_owned();
            health.counters.push(crate::reading::Counter { name, value, origin: "story".into() });
        }
    }
}

#[test]
fn two_drives_that_go_within_ten_seconds_point_to_the_supply() {
    let serials = serials();
    let story = Story::closely().play(0, 10 * MINUTE, |second, snapshot| {
        if second >= 300 {
            let_go(snapshot, &[&serials[0]]);
        }
        if second >= 304 {
            let_go(snapshot, &[&serials[0], &serials[2]]);
        }
    });
    assert_eq!(story.causes(), [(Cause::Supply, Confidence::Possible)]);
}

#[test]
fn one_drive_that_goes_is_unclear_and_no_drive_is_blamed() {
    let serials = serials();
    let story = Story::closely().play(0, 10 * MINUTE, |second, snapshot| {
        if second >= 300 {
            pull(snapshot, &serials[1]);
        }
    });
    assert_eq!(story.causes(), [(Cause::Unclear, Confidence::Possible)]);
}

#[test]
fn drives_that_confirm_that_they_lost_their_power_make_the_supply_likely() {
    let serials = serials();
    let story = Story::closely().play(0, 20 * MINUTE, |second, snapshot| {
        for serial in &serials {
            count(snapshot, serial, "power_cycles", 50);
        }
        match second {
            300..420 => let_go(snapshot, &[&serials[0], &serials[2]]),
            420.. => {
                count(snapshot, &serials[0], "power_cycles", 51);
                count(snapshot, &serials[2], "power_cycles", 51);
            }
            _ => {}
        }
    });
    assert_eq!(story.causes()[0], (Cause::Supply, Confidence::Likely), "{:?}", story.told);
}
