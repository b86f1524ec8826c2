//! Stories of taking out drives: what is allowed, by trying everything, and what becomes of the incidents.

use super::{Play, script};
use crate::redundancy::standing;
use traylight_data::verdict::{Cause, Ended, Handling, Incident, Kind, Update, UpdateKind};

/// A failing drive in a pool of some layout and state, after all holds.
fn failing_in(state: &str, tray: usize) -> (Play, Incident) {
    let mut play = Play::new();
    play.look(0);
    for step in script::read(&format!("2 failing {tray}; {state}")) {
        play.take(&step);
    }
    [2, 4, 16].into_iter().for_each(|second| play.look(second));
    let tells = |incident: &&Incident| incident.cause == Cause::DriveFails;
    let found = play.open().iter().find(tells).unwrap_or_else(|| panic!("{state}: {}", play.said().join("\n"))).clone();
    (play, found)
}

/// Every layout, with the failing drive in its pool or out of it, with another member missing or not, whatever the pool
/// does: it may be taken out only when its pool has let go of it, runs, rests and lacks nothing else.
#[test]
fn a_failing_drive_may_be_taken_out_only_when_nothing_needs_it() {
    let (mut tried, mut allowed) = (0, 0);
    for level in ["raid0", "raid1", "raid5", "raid6", "raid10"] {
        for (is_out, out) in [(false, ""), (true, "; out 2"), (true, "; thrown-out 2")] {
            for other in ["", "; out 4", "; lose 3", "; pull 5", "; out 1; out 4", "; fill 1"] {
                for does in ["rests", "checks", "rebuilds", "resyncs", "reshapes", "freezes"] {
                    let state = format!("level {level}; pool {does}{out}{other}");
                    let (play, incident) = failing_in(&state, 2);
                    let snapshot = play.last.as_ref().expect("there was a look");
                    let stands = standing(&snapshot.pools[0]);
                    let is_spared = is_out
                        && other.is_empty()
                        && matches!(does, "rests" | "checks")
                        && stands.lives
                        && stands.lost == 1
                        && level != "raid0";
                    let may = matches!(&incident.handling, Handling::MayPull { tray } if tray == "2");
                    assert_eq!(may, is_spared, "{state}: {:?}", incident.handling);
                    if !may && stands.lives && stands.spare == 0 && stands.is_redundant {
                        assert!(matches!(incident.handling, Handling::LeaveIn(_)), "{state}: {:?}", incident.handling);
                    }
                    tried += 1;
                    allowed += u32::from(may);
                }
            }
        }
    }
    assert_eq!((tried, allowed), (540, 16), "four layouts, two ways to be out, two things that a pool may do");
}

/// All that makes it uncertain, alone and together, with the drive put out in either way: each of it is enough.
#[test]
fn whatever_is_not_certain_keeps_a_failing_drive_in() {
    const DOUBTS: [&str; 9] = [
        "serves 2 root",
        "serves 2 swap",
        "serves 2 mapped",
        "serves 2 another-pool",
        "serves 2 nobody-knows",
        "mounted 2",
        "twin 5 2",
        "port 4 0000/1c.0/00.0/ata-9",
        "port 2 0000/1c.0/00.0/ata-9",
    ];
    for out in ["out 2", "thrown-out 2"] {
        for chosen in 0..1_u32 << DOUBTS.len() {
            let doubts: Vec<&str> = (0..).zip(DOUBTS).filter(|(n, _)| chosen & 1 << n != 0).map(|(_, it)| it).collect();
            // Few at once are enough to see that none makes up for another.
            if doubts.len() > 2 {
                continue;
            }
            let state = std::iter::once(out).chain(doubts.iter().copied()).collect::<Vec<_>>().join("; ");
            let (_, incident) = failing_in(&format!("pool rests; {state}"), 2);
            let is_moved = doubts.iter().all(|doubt| doubt.starts_with("port"));
            match &incident.handling {
                Handling::MayPull { .. } => assert!(doubts.is_empty(), "{state}"),
                // Only its place is uncertain: its serial is not.
                Handling::Compare { .. } => assert!(is_moved && !doubts.is_empty(), "{state}"),
                Handling::LeaveIn(all) => assert!(all.is_empty() && !is_moved, "{state}"),
                other => panic!("{state}: {other:?}"),
            }
        }
    }
}

/// What its pool has left may be lost next: then what the failing drive holds may be needed, and nobody should have to find
/// the right one of two.
#[test]
fn a_failing_drive_stays_in_while_what_is_left_of_its_pool_is_in_doubt() {
    for (level, doubt, may) in [
        ("raid5", "stall 4", false),
        ("raid6", "stall 4", false),
        ("raid5", "count 4 pending 3", false),
        ("raid5", "failing 4", false),
        ("raid10", "count 1 replaced 9", false),
        ("raid5", "controller all-ones", false),
        ("raid6", "controller undriven", false),
        // A pool that can lose another one is rebuilt the sooner the better.
        ("raid6", "count 4 pending 3", true),
        ("raid5", "hot 4 58", true),
        ("raid5", "count 4 damaged 9", true),
        ("raid5", "stall 6", true),
    ] {
        let script = format!(
            "0 level {level}; controller works; count all damaged 0; 200 failing 2; 300 out 2; 500 {doubt}; 700 end"
        );
        let mut play = Play::of(&script);
        let stands = |play: &Play| play.open().iter().any(|one| matches!(one.handling, Handling::MayPull { .. }));
        let told = |play: &Play| {
            let of_it = play.updates.iter().filter(|(_, update)| update.incident.cause == Cause::DriveFails);
            let mut newest = of_it.filter(|(_, update)| update.incident.drives[0].label() == "2");
            newest.next_back().is_some_and(|(_, update)| matches!(update.incident.handling, Handling::MayPull { .. }))
        };
        assert_eq!((stands(&play), told(&play)), (may, may), "{level} {doubt}: {}", play.said().join("\n"));
        play.go_on("720 restart; 900 end");
        assert_eq!((stands(&play), told(&play)), (may, may), "{level} {doubt}: {}", play.said().join("\n"));
    }
}

#[test]
fn once_the_owner_agrees_with_where_drives_are_it_may_be_taken_out_again() {
    let (mut play, incident) = failing_in("pool rests; out 2; port 4 0000/1c.0/00.0/ata-9", 2);
    assert!(matches!(incident.handling, Handling::Compare { .. }), "{:?}", incident.handling);
    play.memory.know_drives();
    play.look(18);
    let may = |incident: &Incident| matches!(&incident.handling, Handling::MayPull { tray, .. } if tray == "2");
    assert!(play.open().iter().any(may), "{}", play.said().join("\n"));
}

#[test]
fn a_drive_without_a_certain_place_must_be_compared() {
    let (_, incident) = failing_in("out 2; nameless 2", 2);
    assert_eq!(incident.handling, Handling::Nameless, "no label bears a port, and nothing else is known of it");
    let (_, incident) = failing_in("out 2; elsewhere 2", 2);
    assert_eq!(incident.handling, Handling::Compare { serial: "JAYS".to_owned() });
}

/// Whichever is missing, and whichever of the others is pulled then.
#[test]
fn a_good_drive_that_leaves_a_pool_that_lacks_another_must_be_put_back_at_once() {
    for missing in 1..=5 {
        for pulled in (1..=5).filter(|pulled| *pulled != missing) {
            for (level, mute) in [("raid5", ""), ("raid6", ""), ("raid5", "mute; ")] {
                let mut play = Play::new();
                let steps = script::read(&format!("0 level {level}; 20 {mute}lose {missing}; 60 pull {pulled}"));
                for second in [0, 20, 40, 58, 60] {
                    steps.iter().filter(|step| step.second == second).for_each(|step| play.take(step));
                    play.look(second);
                }
                let handling: Vec<&Handling> = play.open().iter().map(|incident| &incident.handling).collect();
                let back = Handling::PutBack { tray: pulled.to_string() };
                assert!(handling.contains(&&back), "{level} {missing} {pulled}: {}", play.said().join("\n"));
                assert!(!handling.iter().any(|handling| matches!(handling, Handling::MayPull { .. })));
            }
        }
    }
}

fn kinds(incident: &Incident) -> Vec<Kind> {
    incident.conditions.iter().map(|condition| condition.kind()).collect()
}

#[test]
fn a_failing_drive_that_is_taken_out_ends_its_story_and_tells_it_again_when_it_is_back() {
    let play = Play::of("300 failing 2; count 2 pending 3; 400 out 2; 600 lose 2");
    let updates: Vec<_> = play.updates.iter().map(|(second, update)| (*second, update)).collect();
    let [(302, opened), (400, degraded), (520, unused), (600, gone), (600, absence)] = updates[..] else {
        panic!("{}", play.said().join("\n"))
    };
    assert_eq!((opened.what, opened.incident.cause), (UpdateKind::Opened, Cause::DriveFails));
    // That its pool has put it out, and does not take it back, is told as well.
    assert_eq!((degraded.what, unused.what), (UpdateKind::Worsened, UpdateKind::Worsened));
    assert_eq!(gone.incident.id, opened.incident.id);
    assert!(!kinds(&gone.incident).contains(&Kind::PoolDegraded), "its pool lacks it still");
    assert!(matches!(gone.what, UpdateKind::Closed { how: Ended::TakenOut, .. }), "{:?}", gone.what);
    assert_eq!((absence.what, absence.incident.cause), (UpdateKind::Opened, Cause::TakenOut));
    assert_eq!(kinds(&absence.incident), [Kind::DriveGone, Kind::PoolDegraded], "its health is told of no more");

    let mut back = play;
    back.updates.clear();
    back.go_on("1000 back 2; 1300 end");
    let tells = |update: &Update| {
        update.incident.cause == Cause::DriveFails && !matches!(update.what, UpdateKind::Closed { .. })
    };
    let again = back.updates.iter().find(|(_, update)| tells(update));
    let kinds = kinds(&again.unwrap_or_else(|| panic!("{}", back.said().join("\n"))).1.incident);
    assert!(kinds.contains(&Kind::DriveHealthFailed), "{kinds:?}");
}
