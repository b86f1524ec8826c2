//! Stories of what outlives a restart of the program or the machine, and of what a reload agrees with and what not.

use super::{DAY, HOUR, MINUTE, Story, let_go, lose};
use traylight_data::reading::{Counter, Link, Reading, Snapshot, Source, Unmounted, Writing};
use traylight_data::units::{MegabitsPerSecond, Rpm};
use traylight_data::verdict::{AcceptanceRefusal, Verdict};

const SONGS: usize = 1;

impl Story {
    pub(super) fn holds(&self, kind: &str) -> bool {
        let holds = |verdict: &Verdict| verdict.conditions.iter().any(|held| held.kind().id() == kind);
        self.verdict.as_ref().is_some_and(holds)
    }
}

fn read_only(_: u64, snapshot: &mut Snapshot) {
    snapshot.volumes[SONGS].writing = Writing::ReadOnly;
}

#[test]
fn a_volume_that_turned_read_only_is_no_less_so_after_a_restart() {
    let broken = || Story::closely().play(0, 60, |_, _| {}).play(60, 120, read_only);
    let story = broken().restarted().play(120, 600, read_only);
    assert_eq!((story.told.len(), story.holds("volume-readonly")), (0, true), "{:?}", story.told);
    let story = broken().rebooted(60).play(0, 600, read_only);
    assert_eq!((story.told.len(), story.holds("volume-readonly")), (0, true), "{:?}", story.told);
    let story = Story::closely().play(0, 60, |_, _| {}).rebooted(DAY).play(0, 600, read_only);
    assert_eq!(story.told, ["130 opened volume-readonly critical"], "it came back so");
    let story = broken().restarted().play(120, 300, |_, _| {});
    assert_eq!(story.told, ["180 closed volume-readonly"]);
}

/// The kernel says `rw` of a volume that has stopped; only the count of errors tells.
#[test]
fn a_volume_that_stopped_and_says_rw_has_stopped_until_it_is_mounted_anew_or_mended() {
    let stopped = |second: u64, snapshot: &mut Snapshot| {
        snapshot.volumes[SONGS].stops_at_errors = true;
        snapshot.volumes[SONGS].errors = Some(if second < 60 { 3 } else { 5 });
    };
    let story = Story::closely().play(0, 120, stopped);
    assert_eq!(story.of("volume-readonly"), ["70 opened volume-readonly critical"]);
    let story = story.restarted().play(120, 300, stopped);
    assert_eq!((story.of("volume-readonly"), story.holds("volume-readonly")), (vec![], true));
    let story = story.rebooted(60).play(60, 300, stopped);
    assert_eq!(story.of("volume-readonly"), ["120 closed volume-readonly"], "the machine has mounted it anew");
}

#[test]
fn a_volume_that_fstab_wants_writable_is_missed_as_such_although_it_never_was() {
    let story = Story::closely().play(0, 60, |_, snapshot| {
        snapshot.volumes[0].writing = Writing::ReadOnly;
        snapshot.volumes[0].meant_writable = true;
    });
    assert_eq!(story.told, ["10 opened volume-readonly critical"]);
}

/// Near misses: unmounted on purpose and mounted to be read, and a volume of another kind at the same place after a boot.
#[test]
fn a_volume_that_somebody_mounts_to_be_read_is_no_fault() {
    let story = Story::closely().play(0, 300, |second, snapshot| match second {
        ..60 => {}
        60..80 => drop(snapshot.volumes.remove(SONGS)),
        _ => read_only(second, snapshot),
    });
    assert_eq!(story.told, [""; 0]);
}

#[test]
fn a_fan_that_used_to_turn_is_missed_after_a_boot() {
    let turns = |rpm: u32, snapshot: &mut Snapshot| {
        snapshot.fans[0].duty = Some(0.5);
        snapshot.fans[0].speed = Reading::new(Ok(Rpm(rpm)), snapshot.taken, Source::Hwmon);
    };
    let unnamed = || {
        let mut story = Story::closely();
        story.settings.watch.always_on_fans.clear();
        story
    };
    let known = || unnamed().play(0, 120, |_, snapshot| turns(1200, snapshot));
    assert_eq!(known().rebooted(60).play(0, 60, |_, snapshot| turns(0, snapshot)).told.len(), 1);
    assert_eq!(known().restarted().play(120, 180, |_, snapshot| turns(0, snapshot)).told.len(), 1);
    assert_eq!(unnamed().play(0, 60, |_, snapshot| turns(0, snapshot)).told, [""; 0], "a header without a fan");
    let mut story = known().rebooted(60).play(0, 60, |_, snapshot| turns(0, snapshot));
    story.accept("fan-stopped").expect("it was taken out");
    let story = story.play(60, 120, |_, snapshot| turns(0, snapshot)).restarted();
    let story = story.play(120, 300, |_, snapshot| turns(0, snapshot));
    assert!(!story.holds("fan-stopped"));
}

fn down(snapshot: &mut Snapshot, link: usize) {
    snapshot.links[link].up = Reading::new(Ok(false), snapshot.taken, Source::Sysfs);
}

fn second_port(snapshot: &mut Snapshot) -> &mut Link {
    let other = Link { name: "eth1".into(), ..snapshot.links[0].clone() };
    snapshot.links.push(other);
    &mut snapshot.links[1]
}

#[test]
fn a_port_that_was_in_use_is_missed_after_a_boot_and_so_is_its_speed() {
    let known = || Story::new().play(0, 2 * HOUR, |_, _| {});
    let closely = |story: Story| story.every(2);
    let story = closely(known().rebooted(60)).play(0, 300, |_, snapshot| down(snapshot, 0));
    assert_eq!(story.told, ["150 opened link-trouble warning"], "90 s to come up, a minute to be sure");
    let story = closely(known().rebooted(60)).play(0, 300, |second, snapshot| {
        if second < 80 {
            down(snapshot, 0);
        }
    });
    assert_eq!(story.told, [""; 0], "a switch that starts with the box");
    let story = known().rebooted(60).play(0, HOUR, |_, snapshot| {
        snapshot.links[0].speed = Reading::new(Ok(MegabitsPerSecond(100)), snapshot.taken, Source::Sysfs);
    });
    assert_eq!(story.of("link-trouble").len(), 1);
    let story = closely(known()).play(2 * HOUR, 2 * HOUR + 120, |_, snapshot| snapshot.links.clear());
    assert_eq!(story.told, ["7260 opened link-trouble warning"], "its adapter is gone");
}

#[test]
fn a_cable_in_another_port_is_told_and_then_is_where_it_is() {
    let moved = |second: u64, snapshot: &mut Snapshot| {
        second_port(snapshot);
        down(snapshot, if second < HOUR { 1 } else { 0 });
    };
    let story = Story::closely().play(HOUR - 60, 2 * HOUR, moved);
    assert_eq!(story.told, ["3660 opened link-trouble warning", "3960 closed link-trouble"]);
    let story = story.rebooted(60).play(7200, 7500, moved);
    assert_eq!(story.told, [""; 0]);
    let back = story.play(7500, 9000, |_, snapshot| {
        second_port(snapshot);
        down(snapshot, 1);
    });
    assert_eq!(back.told, ["7560 opened link-trouble warning", "7860 closed link-trouble"], "and back again");
    // While the box was off; and a port that has another name since.
    let off = Story::closely().play(0, 60, |second, snapshot| moved(second, snapshot)).rebooted(DAY);
    let off = off.play(HOUR, HOUR + 1000, moved);
    assert_eq!(off.told, ["3660 opened link-trouble warning", "3960 closed link-trouble"]);
    let renamed = Story::new().play(0, 2 * HOUR, |_, _| {}).rebooted(60);
    let renamed = renamed.play(0, HOUR, |_, snapshot| snapshot.links[0].name = "enp3s0".into());
    assert_eq!(renamed.told, [""; 0]);
    // Near miss: a port that was in use all the time is no successor.
    let both = |second: u64, snapshot: &mut Snapshot| {
        second_port(snapshot);
        if second >= 60 {
            down(snapshot, 0);
        }
    };
    let both = Story::closely().play(0, 1200, both);
    assert_eq!(both.told, ["120 opened link-trouble warning"]);
}

#[test]
fn the_climate_of_the_room_is_kept() {
    let story = Story::new().play(0, 2 * HOUR, |_, _| {});
    let before = story.memory.ledger().climate.clone();
    assert_ne!(before, Default::default());
    assert_eq!(story.restarted().memory.ledger().climate, before);
}

/// Faults of all kinds that a reload could take for its owner's wish.
fn faults(second: u64, snapshot: &mut Snapshot) {
    if second >= 120 {
        snapshot.pools.clear();
        lose(snapshot, "HN31-CROW");
        snapshot.fans[0].speed = Reading::new(Ok(Rpm(0)), snapshot.taken, Source::Hwmon);
        down(snapshot, 0);
        read_only(second, snapshot);
    }
}

const FAULTS: [&str; 5] = ["pool-down", "drive-gone", "fan-stopped", "link-trouble", "volume-readonly"];

/// A box where nobody names the sixth drive or a fan.
fn unnamed() -> Story {
    let mut story = Story::closely();
    story.settings.shelves[1].trays.pop();
    story.settings.watch.always_on_fans.clear();
    story
}

#[test]
fn a_reload_for_another_reason_silences_nothing() {
    let mut story = unnamed().play(0, 300, faults);
    for kind in FAULTS {
        assert_eq!(story.of(kind).len(), 1, "{kind}: {:?}", story.told);
    }
    for incident in story.memory.incidents() {
        story.memory.acknowledge(incident.id);
    }
    let before = story.settings.clone();
    story.settings.box_name = Some("heron in the hut".into());
    story.reload(&before);
    let told = story.told.len();
    let story = story.play(300, 600, faults);
    assert_eq!(story.told[told..], [""; 0]);
    let story = story.restarted().play(600, 900, faults);
    assert_eq!(story.told, [""; 0]);
    let story = story.rebooted(60).play(0, 900, faults_since_boot);
    assert_eq!(story.told, [""; 0]);
    assert!(FAULTS.iter().all(|kind| story.holds(kind)), "{:?}", story.verdict.map(|verdict| verdict.conditions));
}

fn faults_since_boot(second: u64, snapshot: &mut Snapshot) {
    faults(second + 120, snapshot);
}

#[test]
fn what_its_owner_agrees_with_by_name_is_over_and_stays_so() {
    let mut story = unnamed().play(0, 300, faults);
    for kind in FAULTS {
        story.accept(kind).unwrap_or_else(|why| panic!("{kind}: {why:?}"));
    }
    let story = story.play(300, 600, faults);
    assert_eq!(FAULTS.map(|kind| (kind, story.holds(kind))), FAULTS.map(|kind| (kind, false)), "{:?}", story.told);
    let story = story.rebooted(60).play(0, 900, faults_since_boot);
    assert_eq!(story.told, [""; 0]);
}

#[test]
fn what_is_read_as_wrong_is_not_agreed_with() {
    let mut story = Story::closely().play(0, 60, |_, _| {}).play(60, 120, |_, snapshot| {
        snapshot.volumes[SONGS].writing = Writing::StoppedByError;
        let_go(snapshot, &["HN24-LARK"]);
    });
    let why = story.accept("pool-degraded").expect_err("it is degraded");
    assert!(why.contains(&AcceptanceRefusal::Configured) && why.contains(&AcceptanceRefusal::StillRead), "{why:?}");
    story.accept("volume-readonly").expect_err("it stopped by itself");
}

#[test]
fn a_drive_that_is_taken_out_of_the_configuration_is_not_missed_after_a_reload() {
    let mut story = Story::closely().play(0, 120, |_, snapshot| lose(snapshot, "HN31-CROW"));
    assert_eq!(story.of("drive-gone").len(), 1);
    let before = story.settings.clone();
    story.settings.shelves[1].trays.pop();
    story.reload(&before);
    let story = story.play(120, 240, |_, snapshot| lose(snapshot, "HN31-CROW"));
    assert_eq!(story.told.last().map(String::as_str), Some("120 closed drive-gone"), "{:?}", story.told);
}

fn starts(snapshot: &mut Snapshot, count: i64) {
    if let Ok(health) = &mut snapshot.drives[0].health.value {
        health.counters.retain(|counter| counter.name != "power_cycles");
        health.counters.push(Counter { name: "power_cycles".into(), value: count, origin: "test".into() });
    }
    snapshot.drives[0].health.taken = snapshot.taken;
}

#[test]
fn lost_power_is_kept_over_a_restart_and_over_after_a_week() {
    let lost = |second: u64, snapshot: &mut Snapshot| starts(snapshot, if second < HOUR { 50 } else { 51 });
    let story = Story::new().play(0, 2 * HOUR, lost);
    assert_eq!(story.of("drive-lost-power"), ["3600 opened drive-lost-power warning"]);
    let story = story.restarted().play(2 * HOUR, 3 * HOUR, lost);
    assert_eq!((story.told.len(), story.holds("drive-lost-power")), (0, true));
    // A boot is a start as well, and no loss.
    let story = story.rebooted(60).play(0, HOUR, |_, snapshot| starts(snapshot, 52));
    assert_eq!((story.told.len(), story.holds("drive-lost-power")), (0, true), "{:?}", story.told);
    let story = story.every(HOUR).play(HOUR, 8 * DAY, |_, snapshot| starts(snapshot, 52));
    assert_eq!(story.of("drive-lost-power").len(), 1, "it is over: {:?}", story.told);
    assert!(!story.holds("drive-lost-power"));
}

#[test]
fn a_cold_start_is_no_loss_of_power_although_drives_are_asked_only_later() {
    let story = Story::closely().play(0, 60, |_, snapshot| starts(snapshot, 50)).rebooted(HOUR);
    let story = story.play(0, 300, |second, snapshot| {
        starts(snapshot, 51);
        if second < 20 {
            let why =
                traylight_data::reading::Missing::found(traylight_data::reading::Reason::NotRead, "not answered yet");
            snapshot.drives[0].health.value = Err(why);
        }
    });
    assert_eq!(story.told, [""; 0]);
}

#[test]
fn a_volume_that_is_mounted_again_while_nobody_watches_is_there() {
    let absent = |_: u64, snapshot: &mut Snapshot| {
        let songs = snapshot.volumes.remove(SONGS);
        snapshot.unmounted.push(Unmounted { mount: songs.mount, source: songs.source });
    };
    let story = Story::closely().play(0, 120, absent);
    assert_eq!(story.told, ["30 opened volume-absent critical"]);
    let story = story.restarted().play(120, 300, |_, _| {});
    assert_eq!(story.told, ["180 closed volume-absent"]);
}

/// A stick that says that it fails, is pulled and never comes back; one that only flickers keeps what was told of it.
#[test]
fn what_was_told_of_a_stick_ends_when_it_is_unplugged() {
    let failing = |second: u64, snapshot: &mut Snapshot, away: std::ops::Range<u64>| {
        let mut stick = snapshot.drives[5].clone();
        stick.key.0 = "STICK-1".into();
        stick.serial = Some("STICK-1".into());
        (stick.device, stick.removable, stick.bus) = ("sdz".into(), true, traylight_data::reading::Bus::Usb);
        stick.port = Some("0000/14.0/usb-3:0".into());
        if let Ok(health) = &mut stick.health.value {
            health.assessment = Ok(traylight_data::reading::SelfAssessment::Failing);
        }
        stick.health.taken = snapshot.taken;
        if !away.contains(&second) {
            snapshot.drives.push(stick);
        }
    };
    let story = Story::closely().play(0, 300, |second, snapshot| failing(second, snapshot, 120..9999));
    assert_eq!(story.of("drive-health-failed").len(), 2, "{:?}", story.told);
    let story = Story::closely().play(0, 300, |second, snapshot| failing(second, snapshot, 120..124));
    assert_eq!(story.of("drive-health-failed").len(), 1, "{:?}", story.told);
    let off = Story::closely().play(0, 60, |second, snapshot| failing(second, snapshot, 120..9999)).rebooted(HOUR);
    let off = off.play(0, 300, |_, _| {});
    assert_eq!(off.of("drive-health-failed").len(), 1, "{:?}", off.told);
}

/// A failing drive was changed while the box was off: with and without names, in a pool that is whole again and alone.
#[test]
fn what_was_told_of_a_drive_that_was_changed_while_the_box_was_off_ends() {
    for (index, named) in [(2, true), (2, false), (5, true), (5, false)] {
        let mut story = Story::closely();
        if !named {
            story.settings.shelves.clear();
        }
        let failing = |_: u64, snapshot: &mut Snapshot| {
            snapshot.drives[index].health.taken = snapshot.taken;
            if let Ok(health) = &mut snapshot.drives[index].health.value {
                health.assessment = Ok(traylight_data::reading::SelfAssessment::Failing);
            }
        };
        let mut story = story.play(0, 120, failing);
        assert_eq!(story.of("drive-health-failed").len(), 1);
        story = story.rebooted(HOUR);
        // With names the tray is given to the new drive, as its owner would.
        let before = story.settings.clone();
        for tray in story.settings.shelves.iter_mut().flat_map(|shelf| &mut shelf.trays) {
            let old =
                traylight_config::ExpectedDrive::Serial(if index == 2 { "HN24-LARK" } else { "HN31-CROW" }.into());
            if tray.holds == Some(old) {
                tray.holds = Some(traylight_config::ExpectedDrive::Serial("HN26-JAYS".into()));
            }
        }
        story.reload(&before);
        let story = story.play(0, 10 * MINUTE, |_, snapshot| {
            let drive = &mut snapshot.drives[index];
            drive.key.0 = "HN26-JAYS".into();
            drive.serial = Some("HN26-JAYS".into());
        });
        assert!(!story.holds("drive-health-failed"), "{index} {named}: {:?}", story.told);
        assert!(!story.holds("drive-gone"), "{index} {named}: {:?}", story.told);
    }
}
