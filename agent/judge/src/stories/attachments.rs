//! Stories of how the kernel gets on with drives, and of drives that are new or sit elsewhere.

use super::{DAY, HOUR, MINUTE, Story, restarted};
use std::time::Duration;
use traylight_data::reading::{
    Bus, Drive, Event, EventKind, EventSource, Missing, Part, Power, RecoveryLimit, Snapshot, WhyMissing,
};
use traylight_data::units::MegabitsPerSecond;
use traylight_data::verdict::Finding;

fn speed(drive: &mut Drive, megabits: u32) {
    drive.attachment.speed.value = Ok(MegabitsPerSecond(megabits));
}

fn recovery(snapshot: &mut Snapshot, drive: usize, limit: Result<RecoveryLimit, Missing>) {
    if let Ok(health) = &mut snapshot.drives[drive].health.value {
        health.recovery_limit = limit;
    }
}

#[test]
fn a_link_that_fell_back_is_slow_also_after_a_restart_and_until_it_is_as_fast_as_it_was() {
    let slow = |_: u64, snapshot: &mut Snapshot| speed(&mut snapshot.drives[0], 1500);
    let story = Story::new().play(0, HOUR, |_, _| {});
    let story = restarted(story, |_, _| {}).play(HOUR, 2 * HOUR, slow);
    assert_eq!(story.told, ["4200 opened sata-slow warning"], "held for ten minutes");
    let story = story.play(2 * HOUR, 3 * HOUR, |_, _| {});
    assert_eq!(story.told[1..], ["7200 closed sata-slow"]);
}

/// Near miss: a drive that never did more.
#[test]
fn a_link_that_was_always_slow_is_not_slow() {
    let story = Story::slowly().play(0, DAY, |_, snapshot| speed(&mut snapshot.drives[0], 3000));
    assert_eq!(story.told, [""; 0]);
}

#[test]
fn time_outs_are_told_at_once_and_over_after_a_day_without() {
    let story = Story::slowly().play(0, 2 * DAY, |second, snapshot| {
        snapshot.drives[0].attachment.timeouts.value = Ok(if second < HOUR { 5 } else { 7 });
    });
    assert_eq!(story.told, ["3600 opened drive-timeouts warning", "90000 closed drive-timeouts"]);
}

/// Near misses: counts from before it was watched, the spin-up after a sleep, a count that began anew.
#[test]
fn time_outs_that_mean_nothing_are_not_told() {
    let story = Story::closely().play(0, HOUR, |second, snapshot| {
        let drive = &mut snapshot.drives[0];
        if second < 30 * MINUTE {
            drive.power.value = Ok(Power::Asleep);
        }
        drive.attachment.timeouts.value = Ok(match second {
            ..1830 => 5,
            1830..2400 => 6,
            _ => 0,
        });
    });
    assert_eq!(story.told, [""; 0]);
}

/// What the log tells of the first drive, four seconds before the kernel's count of its time-outs grows by one.
fn told_before_a_count(bus: Bus, what: &[EventKind]) -> Vec<String> {
    let story = Story::closely().play(0, 2 * MINUTE, |second, snapshot| {
        let drive = &mut snapshot.drives[0];
        drive.bus = bus;
        drive.attachment.timeouts.value = Ok(u64::from(second >= 64));
        let event = |what: &EventKind| Event {
            at: snapshot.taken,
            part: Part::Drive(drive.key.clone()),
            what: *what,
            teller: EventSource::Log,
            line: "a line".to_owned(),
        };
        snapshot.events = what.iter().filter(|_| second == 60).map(event).collect();
    });
    story.told
}

/// libata has every failed command counted, as for a sector that cannot be read.
#[test]
fn commands_that_fail_with_an_answer_are_no_time_outs_though_the_kernel_counts_them() {
    use EventKind::{CommandFailed, Reset, TimedOut, TransferDamaged, Unreadable};
    for answer in [CommandFailed, Unreadable, TransferDamaged] {
        assert_eq!(told_before_a_count(Bus::Sata, &[answer]), [""; 0], "{answer:?}");
    }
    // Near misses: one is without an answer, nothing says that it answered, no libata.
    for (bus, told) in [
        (Bus::Sata, &[CommandFailed, TimedOut][..]),
        (Bus::Sata, &[Reset]),
        (Bus::Sata, &[]),
        (Bus::Scsi, &[CommandFailed]),
    ] {
        let told = told_before_a_count(bus, told);
        assert!(told.iter().any(|line| line.contains("opened drive-timeouts")), "{told:?}");
    }
}

#[test]
fn a_disk_of_a_pool_that_tries_for_longer_than_the_kernel_waits_is_a_notice() {
    let limits: [(Result<RecoveryLimit, Missing>, bool); 5] = [
        (Ok(RecoveryLimit::Off), true),
        (Err(Missing::from(WhyMissing::NoRecoveryLimit)), true),
        (Ok(RecoveryLimit::After(Duration::from_secs(30))), true),
        (Ok(RecoveryLimit::After(Duration::from_secs(7))), false),
        (Err(Missing::from(WhyMissing::NeedsRawIo)), false),
    ];
    for (limit, is_told) in limits {
        let story = Story::new().play(0, 10 * MINUTE, |_, snapshot| recovery(snapshot, 0, limit.clone()));
        let wanted: &[&str] = if is_told { &["0 opened recovery-time-mismatch notice"] } else { &[] };
        assert_eq!(story.told, wanted, "{limit:?}");
    }
}

/// Near misses: the kernel was given patience; the drive is in no pool; the drive has no disks.
#[test]
fn a_disk_that_may_try_for_long_is_no_trouble_where_somebody_waits_or_nobody_minds() {
    let story = Story::new().play(0, 10 * MINUTE, |_, snapshot| {
        recovery(snapshot, 0, Ok(RecoveryLimit::Off));
        recovery(snapshot, 5, Ok(RecoveryLimit::Off));
        snapshot.drives[0].attachment.patience.value = Ok(Duration::from_secs(180));
    });
    assert_eq!(story.told, [""; 0]);
    let story = Story::new().play(0, 10 * MINUTE, |_, snapshot| {
        recovery(snapshot, 0, Ok(RecoveryLimit::Off));
        snapshot.pools.clear();
    });
    assert_eq!(story.of("recovery-time-mismatch"), [""; 0]);
}

#[test]
fn a_drive_that_comes_later_is_new_until_its_owner_agrees() {
    let stranger = |second: u64, snapshot: &mut Snapshot| {
        if second >= HOUR {
            let mut drive = snapshot.drives[5].clone();
            drive.key.0 = "HN26-JAYS".into();
            drive.serial = Some("HN26-JAYS".into());
            drive.device = "sdk".into();
            drive.port = Some("0000/1c.0/00.0/ata-7".into());
            snapshot.drives.push(drive);
        }
    };
    let story = restarted(Story::new().play(0, HOUR, stranger), |_, _| {}).play(HOUR, 2 * HOUR, stranger);
    assert_eq!(story.told, ["3720 opened drive-new-or-moved notice"], "settled after a minute, held for half of one");
    let mut story = restarted(story, |_, _| {});
    story = story.play(2 * HOUR, 3 * HOUR, stranger);
    assert_eq!(story.told, [""; 0], "nobody has agreed yet, and what was told is not told again");
    assert!(story.verdict.iter().any(|verdict| !verdict.conditions.is_empty()), "it still holds");
    story.reload(&story.settings.clone());
    let story = story.play(3 * HOUR, 4 * HOUR, stranger);
    assert_eq!(story.told, ["10800 closed drive-new-or-moved"]);
    let story = restarted(story, |_, _| {}).play(4 * HOUR, 5 * HOUR, stranger);
    assert_eq!(story.told, [""; 0], "agreed for good");
}

#[test]
fn two_drives_that_changed_places_have_both_moved_and_going_back_ends_it() {
    let swapped = |_: u64, snapshot: &mut Snapshot| {
        let first = snapshot.drives[0].port.clone();
        snapshot.drives[0].port = std::mem::replace(&mut snapshot.drives[1].port, first);
    };
    let story = restarted(Story::new().play(0, HOUR, |_, _| {}), |_, _| {}).play(HOUR, 2 * HOUR, swapped);
    assert_eq!(story.told, ["3660 opened drive-new-or-moved notice"; 2]);
    let story = story.play(2 * HOUR, 3 * HOUR, |_, _| {});
    assert_eq!(story.told[2..], ["7200 closed drive-new-or-moved"; 2]);
}

#[test]
fn what_is_there_at_first_is_no_news_however_slowly_it_appears() {
    let story = Story::closely().play(0, HOUR, |second, snapshot| {
        if second < 300 {
            snapshot.drives.remove(5);
        }
    });
    assert_eq!(story.of("drive-new-or-moved"), [""; 0]);
}

/// The last drive hangs on a USB bridge. A USB 3 socket is two ports, and the slow one has another number.
fn on_usb(drive: &mut Drive, megabits: u32, port: &str) {
    drive.bus = Bus::Usb;
    drive.port = Some(port.to_owned());
    speed(drive, megabits);
}

#[test]
fn a_usb_link_that_falls_back_is_slow_until_it_is_as_fast_as_it_was() {
    for slow_port in ["0000/14.0/usb-1:0", "0000/14.0/usb-5:0"] {
        let story = Story::new().play(0, 4 * HOUR, |second, snapshot| match second {
            ..HOUR => on_usb(&mut snapshot.drives[5], 5000, "0000/14.0/usb-1:0"),
            HOUR..10800 => on_usb(&mut snapshot.drives[5], 480, slow_port),
            _ => on_usb(&mut snapshot.drives[5], 5000, "0000/14.0/usb-1:0"),
        });
        assert_eq!(story.of("usb-slow"), ["4200 opened usb-slow warning", "10800 closed usb-slow"], "{slow_port}");
        assert_eq!(story.of("sata-slow"), [""; 0]);
    }
}

/// Near misses: a bridge that never did more, and a drive that was moved to another controller.
#[test]
fn a_usb_link_that_was_always_slow_or_is_elsewhere_is_not_slow() {
    let always = Story::slowly().play(0, DAY, |_, snapshot| on_usb(&mut snapshot.drives[5], 480, "0000/14.0/usb-1:0"));
    assert_eq!(always.told, [""; 0]);
    let moved = Story::new().play(0, 4 * HOUR, |second, snapshot| match second {
        ..HOUR => on_usb(&mut snapshot.drives[5], 5000, "0000/14.0/usb-1:0"),
        _ => on_usb(&mut snapshot.drives[5], 480, "0000/1a.0/usb-1:0"),
    });
    assert_eq!(moved.of("usb-slow"), [""; 0]);
}

/// Trays that are known by their ports: another drive is put where the lost one was.
#[test]
fn a_tray_with_another_drive_in_it_is_not_where_the_lost_one_is() {
    let mut story = Story::closely();
    for (number, tray) in (1..).zip(story.settings.shelves.iter_mut().flat_map(|shelf| &mut shelf.trays)) {
        tray.holds = Some(traylight_config::ExpectedDrive::Port(format!("0000/1c.0/00.0/ata-{number}")));
    }
    let moved = |second: u64, snapshot: &mut Snapshot| {
        if second >= MINUTE {
            super::let_go(snapshot, &["HN24-LARK"]);
        }
        // The last member moves into the third tray, and out again.
        if (10 * MINUTE..20 * MINUTE).contains(&second) {
            snapshot.drives[3].port = Some("0000/1c.0/00.0/ata-3".into());
        }
    };
    let told = |story: &Story| {
        let verdict = story.verdict.as_ref().expect("there was a look");
        let of = |held: &traylight_data::verdict::Condition| match &held.finding {
            Finding::DriveGone { drive, leave_in, .. } => Some((drive.label(), leave_in.join(" "))),
            _ => None,
        };
        verdict.conditions.iter().find_map(of).expect("one is gone")
    };
    let story = story.play(0, 5 * MINUTE, moved);
    assert_eq!(told(&story), ("3".into(), "1 2 4 5".into()));
    let story = story.play(5 * MINUTE, 15 * MINUTE, moved);
    assert_eq!(told(&story), ("LARK".into(), "1 2 3 4".into()));
    let story = story.restarted().play(15 * MINUTE, 16 * MINUTE, moved);
    assert_eq!(told(&story), ("LARK".into(), "1 2 3 4".into()));
    let story = story.play(16 * MINUTE, 25 * MINUTE, moved);
    assert_eq!(told(&story), ("3".into(), "1 2 4 5".into()), "its tray is free again");
}
