//! Stories of the board's supply, its processor, its own disk and memory, its restarts, and of the program itself.

use super::{DAY, HOUR, MINUTE, Story};
use crate::memory::Memory;
use crate::memory::ledger::Ledger;
use traylight_data::reading::{
    Blind, Event, EventKind, EventSource, Listing, Missing, Nominal, Part, Processor, Rail, Reading, Reason, Snapshot,
    Source, SystemDisk, SystemDiskKind, Temperature, Throttling, Undervoltage,
};
use traylight_data::units::{Bytes, Celsius, Volts};

fn alarm(snapshot: &mut Snapshot, is_low: bool) {
    let low = Reading::new(Ok(is_low), snapshot.taken, Source::Hwmon);
    snapshot.undervoltages = vec![Undervoltage { key: "rpi_volt/in0".into(), low }];
}

#[test]
fn one_dip_warns_at_once_and_an_hour_without_ends_it() {
    let told = Story::closely().play(0, 2 * HOUR, |second, snapshot| alarm(snapshot, second == 100));
    assert_eq!(told.told, ["100 opened undervoltage warning", "3700 closed undervoltage"]);
}

#[test]
fn three_dips_in_ten_minutes_or_one_of_ten_seconds_are_critical_and_that_eases() {
    let three = Story::closely().play(0, 1000, |second, snapshot| alarm(snapshot, [100, 300, 500].contains(&second)));
    assert_eq!(
        three.told,
        ["100 opened undervoltage warning", "500 worsened undervoltage critical", "700 eased undervoltage warning"]
    );
    let long = Story::closely().play(0, 200, |second, snapshot| alarm(snapshot, (100..=110).contains(&second)));
    assert_eq!(long.told, ["100 opened undervoltage warning", "110 worsened undervoltage critical"]);
    let apart = Story::closely().play(0, 3000, |second, snapshot| alarm(snapshot, [100, 800, 1500].contains(&second)));
    assert_eq!(apart.told, ["100 opened undervoltage warning"], "never three in ten minutes");
}

#[test]
fn an_alarm_that_does_not_answer_is_not_over() {
    let told = Story::closely().play(0, 2 * HOUR, |second, snapshot| {
        alarm(snapshot, second == 100);
        if second > 100 {
            let why = Missing::found(Reason::TimedOut, "no answer for 10 s");
            snapshot.undervoltages[0].low = Reading::new(Err(why), snapshot.taken, Source::Hwmon);
        }
    });
    let wanted = ["100 opened undervoltage warning", "312 opened agent-and-alerts warning"];
    assert_eq!(told.told, wanted, "it is not over because nobody tells, and that nobody tells is told itself");
}

fn rail(snapshot: &mut Snapshot, nominal: Option<Nominal>, volts: f64) {
    let value = Reading::new(Ok(Volts(volts)), snapshot.taken, Source::Hwmon);
    snapshot.rails = vec![Rail { key: "hutboard/in1".into(), label: "rail".into(), nominal, value }];
}

/// Serial ATA Revision 3.1, 6.1 (from memory) and the data sheets of common disks: 12 V and 5 V within 5 % at the drive.
#[test]
fn a_rail_has_its_range_its_three_samples_and_its_channel_back() {
    let worst = |nominal, volts: f64| {
        let story = Story::closely().play(0, 60, |_, snapshot| rail(snapshot, Some(nominal), volts));
        story.told.join(",").replace("4 opened rail-out-of-range ", "")
    };
    use Nominal::{Five, ThreePointThree, Twelve};
    let cases = [
        (Twelve, 11.45, ""),
        (Twelve, 11.35, "warning"),
        (Twelve, 12.65, "warning"),
        (Twelve, 10.75, "critical"),
        (Twelve, 13.25, "critical"),
        (Twelve, 0.0, "critical"),
        (Five, 4.8, ""),
        (Five, 4.7, "warning"),
        (Five, 5.3, "warning"),
        (Five, 4.6, "critical"),
        (ThreePointThree, 3.2, ""),
        (ThreePointThree, 3.1, "warning"),
        (ThreePointThree, 3.5, "warning"),
    ];
    for (nominal, volts, wanted) in cases {
        assert_eq!(worst(nominal, volts), wanted, "{nominal:?} at {volts}");
    }
    let back = Story::closely().play(0, HOUR, |second, snapshot| {
        let volts = match second {
            ..100 => 11.3,
            // Inside its range, but not far enough.
            100..1000 => 11.45,
            _ => 11.55,
        };
        rail(snapshot, Some(Nominal::Twelve), volts);
    });
    assert_eq!(back.told, ["4 opened rail-out-of-range warning", "1600 closed rail-out-of-range"]);
    let short = Story::closely().play(0, 60, |second, snapshot| {
        rail(snapshot, Some(Nominal::Twelve), if (20..24).contains(&second) { 10.0 } else { 12.0 });
    });
    assert_eq!(short.told, [""; 0], "two samples are not three");
    let unnamed = Story::closely().play(0, 60, |_, snapshot| rail(snapshot, None, 1.2));
    assert_eq!(unnamed.told, [""; 0], "nobody knows what it should be");
}

fn processor(snapshot: &mut Snapshot, kind: Processor, degrees: f64, critical: Option<f64>) {
    snapshot.temperatures = vec![Temperature {
        key: "cpu_thermal/temp1".into(),
        label: "cpu".into(),
        value: Reading::new(Ok(Celsius(degrees)), snapshot.taken, Source::Hwmon),
        critical: critical.map(Celsius),
        processor: Some(kind),
    }];
}

#[test]
fn a_processor_has_the_limits_of_its_firmware_or_its_own() {
    let told = |kind, critical, degrees: f64| {
        let story = Story::closely().play(0, 200, |_, snapshot| processor(snapshot, kind, degrees, critical));
        story.told.join(",").replace(" opened cpu-hot-throttled", "")
    };
    use Processor::{SystemOnChip, X86};
    assert_eq!(told(SystemOnChip, Some(110.0), 79.0), "");
    assert_eq!(told(SystemOnChip, Some(110.0), 80.0), "120 warning", "it slows down there, whatever the zone's end");
    assert_eq!(told(SystemOnChip, None, 85.0), "30 critical");
    assert_eq!(told(X86, Some(100.0), 89.0), "", "its maker lets it");
    assert_eq!(told(X86, Some(100.0), 90.0), "120 warning");
    assert_eq!(told(X86, Some(100.0), 97.0), "30 critical");
    assert_eq!(told(X86, None, 81.0), "120 warning", "one that states no end");
}

#[test]
fn a_processor_that_cools_is_well_again_five_degrees_below_after_five_minutes() {
    let told = Story::closely().play(0, HOUR, |second, snapshot| {
        let degrees = match second {
            ..200 => 82.0,
            200..1000 => 76.0,
            _ => 75.0,
        };
        processor(snapshot, Processor::SystemOnChip, degrees, None);
    });
    assert_eq!(told.told, ["120 opened cpu-hot-throttled warning", "1300 closed cpu-hot-throttled"]);
}

#[test]
fn a_processor_that_goes_on_slowing_down_is_told_of_without_a_sensor_and_one_time_is_not() {
    let throttling = |count: fn(u64) -> u64| {
        Story::new().play(0, HOUR, move |second, snapshot| {
            snapshot.temperatures.clear();
            let now = Throttling { count: Some(count(second)), held_back: None };
            snapshot.board.throttling = Some(Reading::new(Ok(now), snapshot.taken, Source::Sysfs));
        })
    };
    let often = throttling(|second| second.min(1200));
    assert_eq!(often.told, ["180 opened cpu-hot-throttled warning", "1620 closed cpu-hot-throttled"]);
    assert_eq!(throttling(|second| u64::from(second > 1000)).told, [""; 0]);
    assert_eq!(throttling(|_| 4711).told, [""; 0], "what was before is no news");
}

fn run_after(ledger: &str, boot: &str) -> Story {
    let mut ledger: Ledger = serde_json::from_str(ledger).expect("a ledger comes back");
    ledger.begin(boot);
    let mut story = Story::new();
    story.memory = Memory::with_ledger(ledger);
    story
}

/// The ledger of a run in the boot `first`, as it is kept, ended in order or not.
fn kept(ended: bool) -> String {
    let mut ledger = Ledger::default();
    ledger.begin("first");
    let mut story = Story::new();
    story.memory = Memory::with_ledger(ledger);
    let mut story = story.play(0, HOUR, |_, _| {});
    if ended {
        story.memory.end();
    }
    serde_json::to_string(story.memory.ledger()).expect("a ledger is JSON")
}

#[test]
fn a_restart_that_nobody_asked_for_is_told_for_a_week_of_watching_and_over_restarts() {
    let story =
        run_after(&kept(false), "second").play(0, HOUR, |_, _| {}).passes(6 * DAY).play(HOUR, 2 * DAY, |_, _| {});
    assert_eq!(story.told[0], "0 opened box-storage-and-restart warning");
    let closed: u64 = story.told[1].split(' ').next().and_then(|word| word.parse().ok()).expect("a second");
    assert!((DAY..DAY + 2 * HOUR).contains(&closed), "{:?}", story.told);
    assert_eq!(run_after(&kept(true), "second").play(0, HOUR, |_, _| {}).told, [""; 0], "it was shut down");
    let alone = run_after(&kept(false), "first").play(0, HOUR, |_, _| {});
    assert_eq!(alone.told, ["0 opened agent-and-alerts warning"], "the machine is the same, the program died");
    assert_eq!(run_after(&kept(true), "first").play(0, HOUR, |_, _| {}).told, [""; 0]);
}

#[test]
fn the_kernel_of_the_start_before_is_known() {
    let story = run_after(&kept(true), "second").play(0, HOUR, |_, snapshot| snapshot.board.kernel = "6.18".into());
    assert_eq!(story.memory.ledger().kernel(), (Some("6.12"), Some("6.18")));
}

fn ended_for_memory(snapshot: &mut Snapshot, count: u64) {
    snapshot.board.out_of_memory = Some(Reading::new(Ok(count), snapshot.taken, Source::Proc));
}

#[test]
fn a_process_that_was_ended_for_want_of_memory_is_told_and_old_ones_are_not() {
    let told = Story::new().play(0, HOUR, |second, snapshot| ended_for_memory(snapshot, 3 + u64::from(second >= 600)));
    assert_eq!(told.told, ["600 opened box-storage-and-restart warning"]);
    let new_boot = run_after(&kept(true), "second").play(0, HOUR, |_, snapshot| ended_for_memory(snapshot, 1));
    assert_eq!(new_boot.told, ["0 opened box-storage-and-restart warning"], "this boot began with none");
    let same_boot = run_after(&kept(true), "first").play(0, HOUR, |_, snapshot| ended_for_memory(snapshot, 0));
    assert_eq!(same_boot.told, [""; 0]);
}

fn system_disk(snapshot: &mut Snapshot, kind: SystemDiskKind, written: f64) {
    let disk = SystemDisk { device: "mmcblk0".into(), kind, written: Bytes(written as u64) };
    snapshot.board.system_disk = Some(Reading::new(Ok(disk), snapshot.taken, Source::Sysfs));
}

#[test]
fn a_card_that_is_written_to_too_much_for_a_day_is_told_of() {
    let written = |kind, per_day: f64| {
        let story = Story::new().play(0, 3 * DAY, move |second, snapshot| {
            // Ninety gigabytes were written before.
            system_disk(snapshot, kind, 90e9 + per_day * second as f64 / DAY as f64);
        });
        story.told.into_iter().map(|line| line.split(' ').skip(1).collect::<Vec<_>>().join(" ")).collect::<Vec<_>>()
    };
    assert_eq!(written(SystemDiskKind::SdCard, 2.4e9), ["opened box-storage-and-restart warning"]);
    assert_eq!(written(SystemDiskKind::SdCard, 1.9e9), [""; 0]);
    assert_eq!(written(SystemDiskKind::Disk, 50e9), [""; 0], "a disk is made for it");
    let burst = Story::new().play(0, 3 * DAY, |second, snapshot| {
        let more = if second >= DAY { 3e9 } else { 0.0 };
        system_disk(snapshot, SystemDiskKind::SdCard, more);
    });
    let told = burst.of("box-storage-and-restart");
    assert_eq!(told[0], format!("{} opened box-storage-and-restart warning", DAY + HOUR));
    let (closed, what) = told[1].split_once(' ').expect("a second");
    assert_eq!(what, "closed box-storage-and-restart");
    // What is counted is forgotten up to a hundredth later.
    let closed: u64 = closed.parse().expect("a second");
    assert!((2 * DAY..=2 * DAY + DAY / 100 + 60).contains(&closed), "a day later: {told:?}");
}

#[test]
fn a_card_whose_commands_fail_is_critical_and_a_disk_is_judged_as_a_drive() {
    let failing = |kind, place: &'static str| {
        Story::new().play(0, HOUR, move |second, snapshot| {
            system_disk(snapshot, kind, 1e9);
            if second == 600 {
                let (at, part) = (snapshot.taken, Part::Place(place.into()));
                let (what, line) = (EventKind::CommandFailed, "I/O error, dev mmcblk0".into());
                snapshot.events.push(Event { at, part, what, teller: EventSource::Log, line });
            }
        })
    };
    let critical = ["600 opened box-storage-and-restart critical"];
    assert_eq!(failing(SystemDiskKind::SdCard, "mmcblk0").told, critical);
    assert_eq!(failing(SystemDiskKind::Emmc, "mmc0").told, critical, "its host tells of it, too");
    assert_eq!(failing(SystemDiskKind::SdCard, "mmcblk1").told, [""; 0], "another card");
    assert_eq!(failing(SystemDiskKind::Disk, "mmcblk0").told, [""; 0]);
}

#[test]
fn the_program_tells_of_its_panel_and_its_clock_with_patience() {
    let mut story = Story::new();
    story.itself.panel_answers = Some(false);
    story.itself.clock_set = Some(false);
    let mut story = story.play(0, 2 * DAY, |_, _| {});
    assert_eq!(story.told, ["600 opened agent-and-alerts notice", "86400 opened agent-and-alerts warning"]);
    story.itself.panel_answers = Some(true);
    story.itself.clock_set = Some(true);
    let story = story.play(2 * DAY, 2 * DAY + HOUR, |_, _| {});
    assert_eq!(story.told[2..], ["172800 closed agent-and-alerts", "172800 closed agent-and-alerts"]);
    let nobody_knows = Story::new().play(0, 2 * DAY, |_, _| {});
    assert_eq!(nobody_knows.told, [""; 0], "a box without a panel misses none");
}

#[test]
fn a_part_that_is_not_seen_for_three_looks_is_told_and_over_when_it_is() {
    let told = Story::closely().play(0, 300, |second, snapshot| {
        if (100..200).contains(&second) {
            let why = Missing::found(Reason::TimedOut, "no answer for 10 s");
            snapshot.blind.push(Blind { what: Listing::Links, why });
        }
    });
    assert_eq!(told.told, ["130 opened agent-and-alerts warning", "200 closed agent-and-alerts"]);
    let short = Story::closely().play(0, 5 * MINUTE, |second, snapshot| {
        if (100..120).contains(&second) {
            snapshot.blind.push(Blind { what: Listing::Links, why: Missing::of(Reason::TimedOut) });
        }
    });
    assert_eq!(short.told, [""; 0]);
}
