//! Stories of limits: what is printed is what is compared, and says whose it is.

use super::*;
use crate::clock::Moment;
use crate::demo::{self, heron, story};
use crate::judge::{self, Memory, judge};
use crate::reading::{
    Counter, Drive, Files, Itself, MemberErrorKind, MemberErrors, Nominal, OwnLimits, Processor, Rail, Reading,
    Snapshot, Source, Temperature, Undervoltage, Unmounted, Writing,
};
use crate::tell::words::condition::tests::all;
use crate::units::{Bytes, Celsius, CelsiusDifference, Rpm, Volts};
use crate::verdict::{Condition, Finding, Kind, Place, PoolErrors, Severity, Subject, WeakFan};
use std::collections::BTreeSet;
use std::time::Duration;
use traylight_config::Settings;

/// As `alerts --why` prints them.
fn lines(limits: &[Limit]) -> Vec<String> {
    let line =
        |limit: &Limit| format!("{} ({})", text(limit, Language::ENGLISH), origin(limit.origin, Language::ENGLISH));
    limits.iter().map(line).collect()
}

/// A condition of each finding that there is, about nothing that is there.
pub(super) fn examples() -> Vec<Condition> {
    let place = Place { tray: None, serial: Some("HN24-LARK".into()), port: None };
    let condition = |finding| {
        let subject = Subject::Pool("md0".into());
        Condition { subject, severity: Severity::Warning, since: Moment::default(), finding }
    };
    all(&place, "md0").into_iter().map(condition).collect()
}

/// The limits of the first of heron's drives, which is as warm as it should not be.
fn limits_of(settings: &Settings, own: Option<f64>) -> Vec<String> {
    let mut snapshot = heron::snapshot(Moment::default(), &story::scene(Duration::ZERO));
    let maximum = own.map(Celsius);
    let drive = Drive { own_limits: OwnLimits { maximum, critical: None }, ..snapshot.drives[0].clone() };
    let finding = Finding::DriveHot {
        drive: Place { tray: None, serial: drive.serial.clone(), port: None },
        now: Celsius(61.0),
        limit: Celsius(58.0),
        own_limit: own.is_some(),
        others: None,
        is_alone: false,
        outlook: None,
    };
    let subject = Subject::Drive(drive.key.clone());
    let condition = Condition { subject, severity: Severity::Critical, since: Moment::default(), finding };
    snapshot.drives[0] = drive;
    lines(&judge::limits(settings, Some(&snapshot), &condition))
}

#[test]
fn a_limit_says_where_it_comes_from() {
    let settings = Settings::default();
    assert_eq!(limits_of(&settings, None)[..2], ["warning from 50 °C (default)", "critical from 58 °C (default)"]);
    // The critical limit is written, and equals the default.
    let text = "[limits.drive]\nhdd_warning_c = 47\nhdd_critical_c = 58\nwarning_hold = '60 s'";
    let settings = traylight_config::settle(text, "traylight.toml").expect("these are settings");
    assert_eq!(
        limits_of(&settings, None),
        [
            "warning from 47 °C (configuration)",
            "critical from 58 °C (configuration)",
            "after 60 s, critical after 60 s (configuration)",
            "clears 4 °C below it for 10 min (default)",
            "notice when it is forecast to get there within 30 min (fixed)",
        ]
    );
    assert_eq!(limits_of(&settings, Some(60.0))[1], "critical from 58 °C, by the drive's own limit of 60 °C (drive)");
}

/// A limit that were rounded would be printed where it is not compared.
#[test]
fn no_limit_is_rounded() {
    let file = "[limits.drive]\nwarning_hold = '150 s'\ncritical_hold = '2500 ms'\nclear_hold = '50 h'\n\
                [limits.supply]\nwarning_percent = 7.5";
    let settings = traylight_config::settle(file, "traylight.toml").expect("these are settings");
    let lines = limits_of(&settings, None).join("; ");
    assert!(lines.contains("after 150 s, critical after 2.5 s") && lines.contains("for 50 h"), "{lines}");
    let of_rail = |nominal, settings: &Settings, language| {
        let (now, low, high) = (Volts(3.0), Volts(3.1), Volts(3.5));
        let finding = Finding::RailOutOfRange { nominal, now, low, high };
        let subject = Subject::Supply("board/in0".into());
        let condition = Condition { subject, severity: Severity::Warning, since: Moment::default(), finding };
        text(&judge::limits(settings, None, &condition)[0], language)
    };
    let by_default = of_rail(Nominal::ThreePointThree, &Settings::default(), Language::ENGLISH);
    assert!(by_default.contains("below 3.135 V or above 3.465 V"), "{by_default}");
    let written = of_rail(Nominal::Five, &settings, Language::GERMAN);
    assert!(written.contains("4,625 V") && written.contains("5,375 V"), "{written}");
}

/// What its owner has written is not in force where the processor states its own.
#[test]
fn the_limits_of_a_processor_that_states_its_own_are_those() {
    let file = "[limits.processor]\nwarning_c = 70\ncritical_c = 75";
    let settings = traylight_config::settle(file, "traylight.toml").expect("these are settings");
    let mut snapshot = heron::snapshot(Moment::default(), &story::scene(Duration::ZERO));
    let finding = Finding::CpuHotThrottled { now: Some(Celsius(91.0)), limit: Celsius(90.0), slowed: false };
    let condition =
        Condition { subject: Subject::Processor, severity: Severity::Warning, since: Moment::default(), finding };
    let mut limits_with = |processor| {
        snapshot.temperatures = vec![Temperature {
            key: "coretemp/temp1".into(),
            label: "Package id 0".into(),
            value: Reading::new(Ok(Celsius(91.0)), snapshot.taken, Source::Hwmon),
            critical: Some(Celsius(100.0)),
            processor: Some(processor),
        }];
        lines(&judge::limits(&settings, Some(&snapshot), &condition))
    };
    assert_eq!(
        limits_with(Processor::X86)[..2],
        ["warning from 90 °C for 2 min (chip)", "critical from 97 °C for 30 s (chip)"]
    );
    assert_eq!(
        limits_with(Processor::SystemOnChip)[..2],
        ["warning from 70 °C for 2 min (configuration)", "critical from 75 °C for 30 s (configuration)"]
    );
}

/// A misspelt key would say "default" of what its owner has written.
#[test]
fn what_the_owner_has_written_is_called_so_for_every_kind() {
    let mut settings = Settings::default();
    let file = traylight_config::default_file();
    let keys = file.lines().scan(String::new(), |section, line| {
        let line = line.trim_start_matches("# ");
        if line.starts_with('[') {
            *section = line.trim_matches(['[', ']']).to_owned();
        }
        Some(line.split_once(" = ").map(|(key, _)| format!("{section}.{key}")))
    });
    settings.written = keys.flatten().filter(|key| key.starts_with("limits.")).collect();
    assert!(settings.written.len() > 30, "{:?}", settings.written);
    for condition in examples() {
        let lines = lines(&judge::limits(&settings, None, &condition));
        assert!(lines.iter().all(|line| !line.ends_with("(default)")), "{lines:?}");
    }
}

#[test]
fn every_kind_has_limits_and_each_limit_has_words_in_every_language() {
    let examples = examples();
    let kinds: BTreeSet<Kind> = examples.iter().map(Condition::kind).collect();
    assert_eq!(kinds, Kind::ALL.iter().copied().collect());
    for condition in examples {
        let limits = judge::limits(&Settings::default(), None, &condition);
        assert!(!limits.is_empty(), "{:?} has no limit", condition.kind());
        for limit in limits {
            for language in Language::ALL {
                let text = text(&limit, language);
                let figures = limit.figures.iter().map(|(_, of)| figure(*of, language));
                let unsaid: Vec<String> = figures.filter(|figure| !text.contains(figure)).collect();
                assert!(unsaid.is_empty(), "{language:?} says {unsaid:?} not: {text}");
            }
        }
    }
}

/// Machines read the same figures by their names: one name twice would hide one of them.
#[test]
fn the_figures_of_a_limit_have_names_of_their_own() {
    for limit in examples().iter().flat_map(|condition| judge::limits(&Settings::default(), None, condition)) {
        let names: BTreeSet<&str> = limit.figures.iter().map(|(name, _)| *name).collect();
        assert_eq!(names.len(), limit.figures.len(), "{limit:?}");
    }
}

/// What holds of one kind after so many looks at heron, and what is printed of its limits.
fn held(
    settings: &Settings,
    pace: u64,
    seconds: u64,
    id: &str,
    change: impl Fn(u64, &mut Snapshot),
) -> Option<(Severity, String)> {
    let (mut memory, mut found) = (Memory::default(), None);
    for second in (0..=seconds).step_by(pace as usize) {
        let now = Moment::after_boot(Duration::from_secs(864_000 + second));
        let mut snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
        change(second, &mut snapshot);
        let (verdict, _) = judge(settings, &mut memory, now, Some(&snapshot), &Itself::default());
        let condition = verdict.conditions.iter().find(|condition| condition.kind().id() == id).cloned();
        found = condition.map(|condition| (condition.severity, lines(verdict.limits_of(&condition)).join("; ")));
    }
    found
}

/// Just inside its limit nothing of this severity holds, at the limit it does, and the limit is printed.
fn edge(
    id: &str,
    severity: Severity,
    times: (u64, u64),
    values: (f64, f64),
    printed: &str,
    change: fn(f64, u64, &mut Snapshot),
) {
    let settings = demo::settings().expect("the pretend box has settings");
    let (pace, seconds) = times;
    let told = |value| held(&settings, pace, seconds, id, |second, snapshot| change(value, second, snapshot));
    let inside = told(values.0).filter(|(found, _)| *found >= severity);
    assert_eq!(inside, None, "{id} at {}", values.0);
    let (found, limits) = told(values.1).unwrap_or_else(|| panic!("{id} at {}", values.1));
    assert!(found >= severity, "{id} {found} at {}", values.1);
    assert!(limits.contains(printed), "{id}: {limits}");
}

/// The same of a time for which something holds.
fn hold(id: &str, severity: Severity, limit: u64, printed: &str, change: fn(&mut Snapshot)) {
    let settings = demo::settings().expect("the pretend box has settings");
    // All is well at first.
    let told = |seconds: u64| {
        held(&settings, 2, 20 + seconds, id, |second, snapshot| {
            if second >= 20 {
                change(snapshot)
            }
        })
    };
    assert_eq!(told(limit - 2).filter(|(found, _)| *found >= severity), None, "{id} after {} s", limit - 2);
    let (found, limits) = told(limit).unwrap_or_else(|| panic!("{id} after {limit} s"));
    assert!(found >= severity && limits.contains(printed), "{id} {found}: {limits}");
}

pub(super) fn warm(snapshot: &mut Snapshot, drive: usize, degrees: f64) {
    snapshot.drives[drive].temperature = Reading::new(Ok(Celsius(degrees)), snapshot.taken, Source::Drive);
}

/// What the first drive counts: nothing in the first two minutes.
fn counts(snapshot: &mut Snapshot, second: u64, name: &str, value: f64) {
    if let Ok(health) = &mut snapshot.drives[0].health.value {
        let value = if second < 120 { 0 } else { value as i64 };
        health.counters.retain(|counter| counter.name != name);
        health.counters.push(Counter { name: name.into(), value, origin: "test".into() });
    }
}

pub(super) fn turn(snapshot: &mut Snapshot, rpm: f64) {
    snapshot.fans[0].speed = Reading::new(Ok(Rpm(rpm as u32)), snapshot.taken, Source::Hwmon);
}

#[test]
fn temperatures_open_at_the_limit_that_is_printed() {
    use Severity::{Critical, Notice, Warning};
    let minutes = |minutes: u64| (60, 60 * minutes);
    edge("drive-hot", Warning, minutes(8), (49.9, 50.0), "warning from 50 °C", |it, _, snapshot| {
        warm(snapshot, 0, it)
    });
    edge("drive-hot", Critical, minutes(8), (57.9, 58.0), "critical from 58 °C", |it, _, snapshot| {
        warm(snapshot, 0, it)
    });
    edge("drive-cold", Warning, minutes(12), (5.0, 4.9), "below 5 °C for 10 min", |it, _, snapshot| {
        warm(snapshot, 0, it)
    });
    edge("drive-hotter-than-peers", Notice, minutes(32), (7.9, 8.0), "8 °C above", |it, _, snapshot| {
        (0..5).for_each(|drive| warm(snapshot, drive, 37.0));
        warm(snapshot, 0, 37.0 + it);
    });
    edge(
        "drives-heating-together",
        Warning,
        minutes(20),
        (4.9, 5.0),
        "5 °C warmer within 10 min",
        |it, second, snapshot| {
            turn(snapshot, if second < 600 { 900.0 } else { 0.0 });
            (0..5).for_each(|drive| warm(snapshot, drive, if second < 900 { 36.0 } else { 36.0 + it }));
        },
    );
}

#[test]
fn counts_open_at_the_limit_that_is_printed() {
    use Severity::{Critical, Notice, Warning};
    let looks = (60, 300);
    let pending = |it: f64, second: u64, snapshot: &mut Snapshot| counts(snapshot, second, "pending_sectors", it);
    edge("pending-or-uncorrectable", Warning, looks, (0.0, 1.0), "warning at 1 sector", pending);
    edge("pending-or-uncorrectable", Critical, looks, (9.0, 10.0), "critical at 10", pending);
    let reallocated =
        |it: f64, second: u64, snapshot: &mut Snapshot| counts(snapshot, second, "reallocated_sectors", it);
    edge("reallocated-growth", Warning, looks, (0.0, 1.0), "1 more within 7 d", reallocated);
    edge("reallocated-growth", Critical, looks, (49.0, 50.0), "50 within", reallocated);
    let crc = |it: f64, second: u64, snapshot: &mut Snapshot| counts(snapshot, second, "interface_crc_errors", it);
    edge("sata-crc-growth", Notice, looks, (0.0, 1.0), "1 more within 7 d", crc);
    edge("sata-crc-growth", Warning, looks, (2.0, 3.0), "3 within", crc);
    let worn = |it: f64, second: u64, snapshot: &mut Snapshot| counts(snapshot, second, "wear_used_percent", it);
    edge("ssd-worn", Warning, looks, (79.0, 80.0), "80 % used", worn);
    edge("ssd-worn", Critical, looks, (94.0, 95.0), "critical at 95 %", worn);
    let starts = |it: f64, second: u64, snapshot: &mut Snapshot| counts(snapshot, second, "power_cycles", it);
    edge("drive-lost-power", Warning, looks, (0.0, 1.0), "1 power cycle", starts);
    let errors = |it: f64, second: u64, snapshot: &mut Snapshot| {
        let count = if second < 120 { 0 } else { it as u64 };
        snapshot.pools[0].members[0].errors = vec![MemberErrors { kind: MemberErrorKind::Read, count }];
    };
    edge("member-errors", Warning, looks, (0.0, 1.0), "1 more within 7 d", errors);
    edge("member-errors", Critical, looks, (100.0, 101.0), "critical above 100 within", errors);
    edge("member-errors", Critical, looks, (0.0, 1.0), "1 damaged file", |it, _, snapshot| {
        snapshot.pools[0].lost_data = Some(it as u64);
    });
    edge("mismatches", Warning, looks, (0.0, 1.0), "1 mismatching sector", |it, _, snapshot| {
        snapshot.pools[0].mismatches = Some(it as u64);
    });
    edge("undervoltage", Critical, looks, (2.0, 3.0), "3 within 10 min", |it, second, snapshot| {
        let low = second / 60 % 2 == 0 && second / 120 < it as u64;
        let low = Reading::new(Ok(low), snapshot.taken, Source::Hwmon);
        snapshot.undervoltages = vec![Undervoltage { key: "board/in0".into(), low }];
    });
}

#[test]
fn shares_open_at_the_limit_that_is_printed() {
    use Severity::{Critical, Warning};
    let minutes = (60, 420);
    let files = |it: f64, _: u64, snapshot: &mut Snapshot| {
        if let Ok(room) = &mut snapshot.volumes[1].room.value {
            room.files = Some(Files { total: 1000, free: 1000 - (it * 10.0) as u64 });
        }
    };
    edge("inodes-or-metadata-low", Warning, minutes, (89.9, 90.0), "90 % used", files);
    edge("inodes-or-metadata-low", Critical, minutes, (96.9, 97.0), "critical at 97 %", files);
    edge("space-low", Warning, minutes, (10.1, 9.9), "below 10 % and 100 GiB", |it, _, snapshot| {
        if let Ok(room) = &mut snapshot.volumes[1].room.value {
            (room.size, room.free, room.used) =
                (Bytes(1000), Bytes((it * 10.0) as u64), Bytes(1000 - (it * 10.0) as u64));
            (room.size.0, room.free.0, room.used.0) = (room.size.0 << 27, room.free.0 << 27, room.used.0 << 27);
        }
    });
    edge(
        "space-low",
        Critical,
        minutes,
        (1.01, 0.99),
        "critical below 1 GiB free, whatever the share",
        |it, _, snapshot| {
            if let Ok(room) = &mut snapshot.volumes[1].room.value {
                let gib = |count: f64| Bytes((count * f64::from(1 << 30)) as u64);
                (room.size, room.free, room.used) = (gib(8.0), gib(it), gib(8.0 - it));
            }
        },
    );
    edge("rail-out-of-range", Warning, minutes, (11.41, 11.39), "below 11.40 V", |it, _, snapshot| {
        let value = Reading::new(Ok(Volts(it)), snapshot.taken, Source::Hwmon);
        let (key, label) = ("board/in2".to_owned(), "12V".to_owned());
        snapshot.rails = vec![Rail { key, label, nominal: Some(Nominal::Twelve), value }];
    });
    let weak = |it: f64, second: u64, snapshot: &mut Snapshot| turn(snapshot, if second < 900 { 1000.0 } else { it });
    edge("fan-weak", Warning, (60, 1200), (600.0, 599.0), "below 60 %", weak);
    let mut settings = demo::settings().expect("the pretend box has settings");
    settings.limits.fan.weak_percent = 45.0;
    settings.written.insert("limits.fan.weak_percent".to_owned());
    let told = |rpm| held(&settings, 60, 1200, "fan-weak", |second, snapshot| weak(rpm, second, snapshot));
    assert_eq!(told(450.0), None);
    let (_, limits) = told(449.0).expect("it is weak");
    assert!(
        limits.starts_with("below 45 % of its usual speed at this PWM level for 2 min (configuration)"),
        "{limits}"
    );
}

#[test]
fn times_are_those_that_are_printed() {
    use Severity::{Critical, Warning};
    let stalled = |snapshot: &mut Snapshot| snapshot.drives[0].stalled_since = Some(snapshot.taken);
    hold("drive-not-answering", Warning, 30, "completes for 30 s; critical", stalled);
    hold("drive-not-answering", Critical, 90, "critical at 90 s", stalled);
    hold("fan-stopped", Warning, 16, "0 rpm for 15 s", |snapshot| turn(snapshot, 0.0));
    hold("link-trouble", Warning, 60, "down for 60 s", |snapshot| snapshot.links[0].up.value = Ok(false));
    hold("volume-readonly", Critical, 10, "for 10 s", |snapshot| snapshot.volumes[1].writing = Writing::StoppedByError);
    hold("volume-absent", Critical, 30, "for 30 s", |snapshot| {
        let wanted = Unmounted { mount: "/srv/more".into(), source: "UUID=1".into() };
        snapshot.unmounted.push(wanted);
    });
    hold("pool-down", Critical, 10, "down for 10 s", |snapshot| {
        snapshot.pools[0].running.value = Ok(crate::reading::PoolRunning::Inactive);
    });
}

#[test]
fn a_fan_that_is_only_suspected_and_lost_data_have_limits_of_their_own() {
    let lines = |finding| {
        let subject = Subject::AllDrives;
        let condition = Condition { subject, severity: Severity::Warning, since: Moment::default(), finding };
        lines(&judge::limits(&Settings::default(), None, &condition)).join("; ")
    };
    let suspected =
        lines(Finding::FanWeak { what: WeakFan::Airflow { drives: Vec::new(), above: CelsiusDifference(7.0) } });
    assert!(suspected.contains("6 °C above the warmest") && !suspected.contains("usual speed"), "{suspected}");
    assert!(
        !lines(Finding::MemberErrors { pool: "md0".into(), what: PoolErrors::DataLost { pieces: 1 } })
            .contains("1 more within")
    );
}
