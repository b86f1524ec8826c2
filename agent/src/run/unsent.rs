//! What is new about incidents and not handed to the sender yet. It waits here only while the sender is held up, and then
//! it is bounded: of each incident the newest turn waits, whose message names all that holds.

use crate::verdict::{Update, UpdateKind};

/// No more turns than this wait. The sender has room for as many at once.
const MOST: usize = 128;

/// Turns of incidents, each with whether it was only rehearsed.
pub type Turns = Vec<(Update, bool)>;

/// Leaves out of too many turns what later ones tell as well, then the oldest of the least severe; how many incidents are
/// told of by nothing any more.
pub fn make_room(turns: &mut Turns) -> usize {
    if turns.len() <= MOST {
        return 0;
    }
    // That it got a little better is told to nobody.
    turns.retain(|(turn, _)| turn.what != UpdateKind::Eased);
    let of = |(turn, is_test): &(Update, bool)| (turn.incident.id, *is_test);
    let all: Vec<_> = turns.iter().map(of).collect();
    let mut index = 0;
    turns.retain(|turn| {
        index += 1;
        !all[index..].contains(&of(turn))
    });
    let too_many = turns.len().saturating_sub(MOST);
    for _ in 0..too_many {
        // The first of equals is the oldest.
        let least = turns.iter().enumerate().min_by_key(|(_, (turn, is_test))| (!is_test, turn.incident.worst));
        if let Some(index) = least.map(|(index, _)| index) {
            turns.remove(index);
        }
    }
    too_many
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::{self, heron, story};
    use crate::judge::{Memory, judge};
    use crate::reading::Itself;
    use crate::verdict::{Ended, Incident, IncidentId, Severity};
    use std::time::Duration;

    fn incident() -> Incident {
        let mut snapshot = heron::snapshot(crate::clock::Moment::default(), &story::scene(Duration::ZERO));
        snapshot.volumes[0].writing = crate::reading::Writing::StoppedByError;
        let settings = demo::settings().expect("the pretend box has settings");
        let mut memory = Memory::for_a_single_look();
        let (verdict, _) = judge(&settings, &mut memory, snapshot.taken, Some(&snapshot), &Itself::default());
        verdict.incidents[0].clone()
    }

    fn turn(id: u32, worst: Severity, what: UpdateKind) -> (Update, bool) {
        (Update { incident: Incident { id: IncidentId(id), worst, ..incident() }, what }, false)
    }

    #[test]
    fn of_what_comes_and_goes_the_newest_waits_and_of_too_much_the_worst() {
        let over = UpdateKind::Closed { lasted: None, how: Ended::Over };
        let template = turn(1, Severity::Warning, UpdateKind::Opened);
        let with = |id: u32, worst, what| {
            let (mut turn, test) = template.clone();
            (turn.incident.id, turn.incident.worst, turn.what) = (IncidentId(id), worst, what);
            (turn, test)
        };
        let mut few: Turns = (0..100).map(|_| with(1, Severity::Warning, UpdateKind::Worsened)).collect();
        assert_eq!((make_room(&mut few), few.len()), (0, 100), "what finds room is told turn by turn");
        let mut flapping: Turns = (0..10_000u32)
            .map(|at| with(at % 7, Severity::Warning, [UpdateKind::Opened, UpdateKind::Eased, over][at as usize % 3]))
            .chain([with(7, Severity::Critical, UpdateKind::Opened), with(7, Severity::Critical, UpdateKind::Eased)])
            .collect();
        assert_eq!(make_room(&mut flapping), 0);
        let told: Vec<u32> = flapping.iter().map(|(turn, _)| turn.incident.id.0).collect();
        assert!((0..=7).all(|id| told.iter().filter(|told| **told == id).count() == 1), "{told:?}");
        let last = flapping.last().map(|(turn, _)| turn.what);
        assert_eq!(
            last,
            Some(UpdateKind::Opened),
            "an incident that was not reported yet is told, though it got better"
        );
        let many =
            |id: u32| with(id, if id % 10 == 0 { Severity::Critical } else { Severity::Notice }, UpdateKind::Opened);
        let mut all: Turns = (0..1000).map(many).collect();
        assert_eq!((make_room(&mut all), all.len()), (1000 - MOST, MOST));
        assert_eq!(all.iter().filter(|(turn, _)| turn.incident.worst == Severity::Critical).count(), 100);
        assert_eq!(all.last().map(|(turn, _)| turn.incident.id), Some(IncidentId(999)), "the newest of the others");
    }
}
