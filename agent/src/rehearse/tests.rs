//! Every fault comes out of the real judge, on a whole box and on one that has hardly anything; and what is remembered
//! of the box stays as it was.

use super::*;
use crate::demo::{self, heron, story};
use crate::reading::{Itself, Source};
use crate::tell::incident_log;
use crate::verdict::{Finding, Severity};

/// The box after ten minutes, and what is remembered of it.
fn watched(change: impl Fn(&mut Snapshot)) -> (Settings, Memory, Snapshot) {
    watched_by(demo::settings().expect("the pretend box has settings"), change)
}

fn watched_by(settings: Settings, change: impl Fn(&mut Snapshot)) -> (Settings, Memory, Snapshot) {
    let mut memory = Memory::default();
    let mut last = Snapshot::default();
    for second in (0..600).step_by(10) {
        let now = Moment::after_boot(Duration::from_secs(86_400 + second));
        last = heron::snapshot(now, &story::scene(Duration::ZERO));
        change(&mut last);
        judge(&settings, &mut memory, now, Some(&last), &Itself::default());
    }
    (settings, memory, last)
}

/// Two drives and nothing besides.
fn bare(snapshot: &mut Snapshot) {
    snapshot.drives.truncate(2);
    for drive in &mut snapshot.drives {
        let untold = || crate::reading::Missing::of(crate::reading::Reason::NotAvailable);
        drive.port = None;
        drive.temperature.value = Err(untold());
        drive.health.value = Err(untold());
        drive.attachment.speed.value = Err(untold());
        drive.attachment.timeouts.value = Err(untold());
    }
    *snapshot = Snapshot {
        taken: snapshot.taken,
        board: snapshot.board.clone(),
        drives: std::mem::take(&mut snapshot.drives),
        ..Snapshot::default()
    };
}

/// Faults that come to something else on this box.
fn failing((settings, memory, snapshot): (Settings, Memory, Snapshot)) -> Vec<String> {
    let played = |fault| play(&settings, &memory, &snapshot, fault, None);
    RehearsedFault::all().filter_map(|fault| Some(format!("{fault}: {}", played(fault).err()?))).collect()
}

#[test]
fn every_fault_comes_out_of_the_judge_on_a_whole_box() {
    assert_eq!(failing(watched(|_| {})), [""; 0]);
}

#[test]
fn every_fault_comes_out_of_the_judge_on_a_bare_box() {
    assert_eq!(failing(watched(bare)), [""; 0]);
}

/// A machine that nobody set up, which has run out of memory before.
#[test]
fn every_fault_comes_out_of_the_judge_on_a_box_without_names() {
    let alone = |snapshot: &mut Snapshot| {
        bare(snapshot);
        snapshot.drives.truncate(1);
        snapshot.board.out_of_memory = Some(crate::reading::Reading::new(Ok(1), snapshot.taken, Source::Proc));
    };
    assert_eq!(failing(watched_by(Settings::default(), alone)), [""; 0]);
    let (settings, memory, snapshot) = watched_by(Settings::default(), alone);
    let played = play(&settings, &memory, &snapshot, RehearsedFault::Cause(Cause::RestartUnexplained), None);
    let played = played.expect("a machine can start again");
    assert_eq!(played.verdict.incidents.len(), 1, "{:?}", played.verdict.incidents);
}

#[test]
fn what_is_remembered_stays_as_it_was() {
    let (settings, memory, snapshot) = watched(|_| {});
    let before = format!("{memory:?}");
    for fault in RehearsedFault::all() {
        drop(play(&settings, &memory, &snapshot, fault, None));
    }
    assert!(before == format!("{memory:?}"), "a rehearsal was remembered");
}

#[test]
fn the_drive_that_is_named_is_the_one() {
    let (settings, memory, snapshot) = watched(|_| {});
    let gone = RehearsedFault::named("drive-gone", Language::ENGLISH).expect("there is such a fault");
    let played = play(&settings, &memory, &snapshot, gone, Some("5")).expect("tray 5 can go");
    let trays: Vec<String> =
        played.verdict.incidents.iter().flat_map(|i| &i.drives).map(|drive| drive.label()).collect();
    assert_eq!(trays, ["5"]);
    assert_eq!(played.pretended, [""; 0]);
    let refused = play(&settings, &memory, &snapshot, gone, Some("Z9")).expect_err("there is no such tray");
    assert!(refused.contains("found `Z9`"), "{refused}");
    assert!(RehearsedFault::named("drive-gon", Language::ENGLISH).is_err_and(|why| why.contains("rehearse --list")));
}

#[test]
fn what_the_box_lacks_is_pretended_and_said() {
    let (settings, memory, snapshot) = watched(bare);
    let pretended = |name: &str| {
        let fault = RehearsedFault::named(name, Language::ENGLISH).expect("there is such a fault");
        play(&settings, &memory, &snapshot, fault, None).expect("it can be played").pretended
    };
    assert_eq!(pretended("fan-stopped"), ["a fan"]);
    assert_eq!(pretended("drive-gone"), [""; 0]);
    assert_eq!(
        pretended("pool-degraded"),
        ["pool test-pool with the drive in tray 1 (serial ..WREN) and the drive in tray 2 (serial ..TERN)"]
    );
    assert_eq!(pretended("usb-bridge"), ["a USB adapter for the drive in tray 1 (serial ..WREN)"]);
}

/// Causes that need both drives on one controller plug them in there; a tray that is known by its port goes along.
#[test]
fn a_tray_that_is_known_by_its_port_keeps_its_label_where_the_drive_is_plugged_elsewhere() {
    let mut settings = demo::settings().expect("the pretend box has settings");
    let at_port = |snapshot: &mut Snapshot| snapshot.drives[0].port = Some("pci-0000:00:17.0/ata-9".to_owned());
    settings.shelves[0].trays[0].holds =
        Some(traylight_config::ExpectedDrive::Port("pci-0000:00:17.0/ata-9".to_owned()));
    let label = settings.shelves[0].trays[0].label.clone();
    let (settings, memory, snapshot) = watched_by(settings, at_port);
    for name in ["usb-bridge", "drive-gone", "data-cable"] {
        let fault = RehearsedFault::named(name, Language::ENGLISH).expect("there is such a fault");
        let played = play(&settings, &memory, &snapshot, fault, Some(&label)).expect("it can be played");
        let trays = |played: &Played| played.verdict.incidents[0].drives[0].tray.clone();
        assert_eq!(trays(&played), Some(label.clone()), "{name}");
    }
}

/// What is played may belong to an incident that is real; that one is not over with the play.
#[test]
fn nothing_is_closed_in_the_end_that_was_open_before() {
    let (settings, memory, snapshot) = watched(|snapshot| {
        let faulty = crate::reading::MemberState::Faulty;
        snapshot.pools[0].members[0].state = faulty;
        snapshot.pools[0].missing = Some(1);
    });
    let open: BTreeSet<IncidentId> = memory.incidents().iter().map(|incident| incident.id).collect();
    assert!(!open.is_empty());
    for fault in RehearsedFault::all() {
        let Ok(played) = play(&settings, &memory, &snapshot, fault, None) else { continue };
        let end = played.end();
        let closed: Vec<IncidentId> = end.verdict.updates.iter().map(|update| update.incident.id).collect();
        let opened: Vec<IncidentId> = played.numbers().collect();
        assert!(closed.iter().all(|id| opened.contains(id) && !open.contains(id)), "{fault}: {closed:?}");
    }
}

/// A drive that goes belongs to the incident of a pool that is degraded already: in the rehearsal it is one of its own.
#[test]
fn no_rehearsed_incident_has_the_number_of_a_real_one() {
    let (settings, mut memory, snapshot) = watched(|snapshot| {
        snapshot.pools[0].members[0].state = crate::reading::MemberState::Faulty;
        snapshot.pools[0].missing = Some(1);
    });
    let open: Vec<IncidentId> = memory.incidents().iter().map(|incident| incident.id).collect();
    assert!(open.iter().all(|id| memory.acknowledge(*id)) && !open.is_empty());
    let mut played_some = false;
    for fault in RehearsedFault::all() {
        let Ok(played) = play(&settings, &memory, &snapshot, fault, None) else { continue };
        let opened: Vec<IncidentId> = played.numbers().collect();
        for incident in &played.verdict.incidents {
            assert!(!open.contains(&incident.id), "{fault}: {:?} is a real one's number", incident.id);
            assert!(opened.contains(&incident.id), "{fault}: {:?} has begun", incident.id);
            assert!(!incident.acknowledged, "{fault}: nobody has acknowledged the rehearsed one");
        }
        let closed = played.end().verdict.updates.len();
        assert_eq!(closed, played.verdict.incidents.len(), "{fault}: all that it opened is closed");
        played_some |= !opened.is_empty();
    }
    assert!(played_some);
}

/// What goes on at the box besides is not part of the play, and is told of by itself.
#[test]
fn what_holds_besides_is_left_out() {
    let (settings, memory, snapshot) = watched(|snapshot| snapshot.volumes[1].errors = Some(3));
    let gone = RehearsedFault::named("fan-stopped", Language::ENGLISH).expect("there is such a fault");
    let played = play(&settings, &memory, &snapshot, gone, None).expect("a fan can stop");
    let kinds: Vec<Kind> = played.verdict.conditions.iter().map(crate::verdict::Condition::kind).collect();
    assert_eq!((kinds, played.verdict.worst()), (vec![Kind::FanStopped], Some(Severity::Warning)));
    let end = played.end();
    assert_eq!((end.changes.len(), end.verdict.updates.len()), (1, 1));
}

#[test]
fn a_check_is_days_overdue_in_its_rehearsal() {
    let (settings, memory, snapshot) = watched(|_| {});
    let played = play(&settings, &memory, &snapshot, RehearsedFault::Kind(Kind::CheckOverdue), None).unwrap();
    let days = played.verdict.conditions.iter().map(|open| match open.finding {
        Finding::CheckOverdue { since, every, .. } => (since - every).as_secs() / 86_400,
        _ => 0,
    });
    assert_eq!(days.max(), Some(5));
}

#[test]
fn the_end_of_a_rehearsal_is_logged_as_an_end() {
    let (settings, memory, snapshot) = watched(|_| {});
    let played = play(&settings, &memory, &snapshot, RehearsedFault::Kind(Kind::DriveGone), None).unwrap();
    let end = played.end();
    let wall = demo::dawn().expect("there is a dawn");
    let entries = incident_log::entries(&end.verdict, &end.changes, end.verdict.at, &wall, settings.language);
    assert!(!entries.is_empty() && entries.iter().all(|entry| !entry.message.contains("continues")), "{entries:?}");
}
