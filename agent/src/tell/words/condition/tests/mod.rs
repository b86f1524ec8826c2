//! The rules that all words keep: they fit, they never say to take a drive out without its guard, they say what to do
//! and what not.

pub(in crate::tell) mod both_languages;
mod box_examples;

use super::super::drives::pointed_at;
use super::*;
use crate::clock::Moment;
use crate::reading::{ActivityKind, DriveKey, MemberErrorKind, MemberRole, Missing, Reason, TestKind, Writing};
use crate::units::{Bytes, BytesPerSecond, Celsius, CelsiusDifference, MegabitsPerSecond, Percent, Rpm};
use crate::verdict::{
    Down, Estimate, HealthFailure, Interval, Kind, LinkFault, MemberFault, Outlook, Place, PoolErrors, Reaches,
    ReadRisk, Scarce, Severity, SpaceLimit, Subject,
};
use proptest::prelude::*;
use std::collections::BTreeSet;
use std::time::Duration;

const DAY: Duration = Duration::from_secs(86_400);

fn told_of(finding: Finding) -> Words {
    told_in(Language::ENGLISH, finding)
}

fn told_in(language: Language, finding: Finding) -> Words {
    let subject = Subject::Drive(DriveKey("HN24-LARK".into()));
    words(&Condition { subject, severity: Severity::Warning, since: Moment::default(), finding }, language)
}

/// Facts of every kind, in all their forms, about these two names.
pub fn all(drive: &Place, name: &str) -> Vec<Finding> {
    let (place, text) = (drive, name);
    let (drive, name) = (|| place.clone(), || text.to_owned());
    use ActivityKind::{Check, Rebuild, Repair, Reshape, Resync};
    let gone = |pool, leave_in| Finding::DriveGone { drive: drive(), pool, leave_in };
    let hot = |own_limit, others: Option<(Celsius, Celsius)>| {
        let (now, limit) = (Celsius(61.4), Celsius(58.0));
        let is_alone = others.is_some_and(|(_, warmest)| warmest < Celsius(50.0));
        Finding::DriveHot { drive: drive(), now, limit, own_limit, others, is_alone, outlook: None }
    };
    let ahead = |now, heading, minutes| {
        let outlook = Some(on_its_way(heading, minutes));
        Finding::DriveHot {
            drive: drive(),
            now: Celsius(now),
            limit: Celsius(50.0),
            own_limit: false,
            others: None,
            is_alone: false,
            outlook,
        }
    };
    let degraded = |spare, leave_in, rebuilding| {
        let (pool, level, lost) = (name(), "raid6".to_owned(), vec![drive()]);
        let offline = if rebuilding { Vec::new() } else { lost.clone() };
        Finding::PoolDegraded { pool, level, missing: 1, of: 5, spare, lost, offline, leave_in, rebuilding }
    };
    let down = |why, of, lost| Finding::PoolDown { pool: name(), why, present: 3, of, lost };
    let busy = |activity| {
        let hours = |hours: u64| Duration::from_secs(3_600 * hours);
        let left = Some(Estimate { soonest: hours(5), middle: hours(6), latest: Some(hours(9)) });
        let risk = ReadRisk { chance: 0.173, bytes: Bytes(12_000_000_000_000), bits_per_error: 1e14, is_guess: true };
        let (done, risk) = (Some(Percent(62.9)), (activity == Rebuild).then_some(risk));
        Finding::PoolBusy { pool: name(), activity, done, left, risk }
    };
    let low = |amount: Option<Option<Bytes>>| {
        let days = |days: u32| days * DAY;
        let full_in = Some(Estimate { soonest: days(4), middle: days(6), latest: None });
        let (free, size, share) = (Bytes(9_000_000_000), Bytes(100_000_000_000), Percent(9.0));
        Finding::SpaceLow {
            mount: name(),
            free,
            size,
            share,
            limit: amount.map(|amount| SpaceLimit { share: Some(Percent(10.0)), amount }),
            full_in,
            soon: 7 * DAY,
        }
    };
    let fan = |speed, by_fault_line, with_heat| Finding::FanStopped { fan: name(), speed, by_fault_line, with_heat };
    let link = |what| Finding::LinkTrouble { link: name(), what };
    let (now, usual) = (MegabitsPerSecond(1000), MegabitsPerSecond(2500));
    let (total, grown, within) = (1_204, 117, DAY);
    let failing = |how| Finding::DriveHealthFailed { drive: drive(), how };
    let lost = |all| Finding::TemperatureLost { drive: drive(), why: Missing::of(Reason::TimedOut), all };
    let mismatch = |tries| {
        let (patience, enough) = (Duration::from_secs(30), Duration::from_secs(180));
        Finding::RecoveryTimeMismatch { drive: drive(), device: "sda".into(), tries, patience, enough }
    };
    let slow_usb = |now, best| Finding::UsbSlow { drive: drive(), now, best, held: Duration::from_secs(600) };
    let stalled = |activity| {
        let (stood, least) = (Duration::from_secs(2_400), BytesPerSecond(1e6));
        Finding::RebuildStalled { pool: name(), activity, done: Some(Percent(41.0)), stood, least }
    };
    let faulty =
        |drive, role, how| Finding::MemberFaulty { pool: name(), drive, device: "nvme0n1p4".into(), role, how };
    let errors = |errors| {
        let what = PoolErrors::OfMember { drive: drive(), errors, grown: 3, within: 7 * DAY };
        Finding::MemberErrors { pool: name(), what }
    };
    let all_but_three = || vec!["1".to_owned(), "2".to_owned(), "4".to_owned()];
    let mut all: Vec<Finding> = [Resync, Rebuild, Check, Repair, Reshape].into_iter().map(busy).collect();
    all.extend([
        gone(None, Vec::new()),
        gone(Some(name()), all_but_three()),
        hot(true, None),
        hot(false, Some((Celsius(38.0), Celsius(41.0)))),
        hot(false, Some((Celsius(55.0), Celsius(60.0)))),
        ahead(46.0, Some(53.2), [13, 18, 27]),
        ahead(46.0, None, [10, 18, 30]),
        ahead(51.0, Some(61.0), [5, 6, 8]),
        degraded(0, all_but_three(), true),
        degraded(1, Vec::new(), false),
        down(Down::Inactive, 0, Vec::new()),
        down(Down::TooManyLost, 5, vec![drive(), drive()]),
        down(Down::Absent, 5, vec![drive()]),
        down(Down::Absent, 3, Vec::new()),
        low(None),
        low(Some(None)),
        low(Some(Some(Bytes(107_374_182_400)))),
        fan(Some(Rpm(0)), false, false),
        fan(None, true, true),
        fan(None, false, false),
        link(LinkFault::Down),
        link(LinkFault::Slow { now, usual }),
        link(LinkFault::Unsteady { changes: 1_000, within: Duration::from_secs(600) }),
        failing(HealthFailure::Assessment),
        failing(HealthFailure::SelfTest { self_test: TestKind::Short, failed_at_lba: None, age_hours: None }),
        failing(HealthFailure::SelfTest {
            self_test: TestKind::Extended,
            failed_at_lba: Some(u64::MAX),
            age_hours: Some(60_000),
        }),
        Finding::PendingOrUncorrectable { drive: drive(), total, grown, within },
        Finding::ReallocatedGrowth { drive: drive(), total, grown, within },
        Finding::SataCrcGrowth { drive: drive(), total, grown, within },
        Finding::DriveLostPower { drive: drive(), total, grown, within },
        Finding::SsdWorn { drive: drive(), used: Percent(100.0) },
        Finding::DriveNotAnswering { drive: drive(), stalled: Duration::from_secs(95) },
        Finding::DriveFlapping { drive: drive(), losses: 3, within: DAY },
        Finding::DriveHotterThanPeers { drive: drive(), now: Celsius(44.0), median: Celsius(35.0) },
        Finding::DrivesHeatingTogether {
            drives: vec![drive(), drive()],
            rise: CelsiusDifference(6.2),
            within: Duration::from_secs(600),
        },
        Finding::DriveCold { drive: drive(), now: Celsius(3.0), limit: Celsius(5.0) },
        lost(false),
        lost(true),
        Finding::DriveTimeouts { drive: drive(), total, grown, within },
        Finding::SataSlow { drive: drive(), now: MegabitsPerSecond(1500), best: MegabitsPerSecond(6000) },
        mismatch(None),
        mismatch(Some(Duration::from_secs(45))),
        Finding::DriveNewOrMoved { drive: drive(), from: None },
        Finding::DriveNewOrMoved { drive: drive(), from: Some("0000/1f.2/ata-5".into()) },
        down(Down::Suspended, 5, Vec::new()),
        Finding::DriveBackNotUsed { drive: drive(), pool: name() },
        stalled(Rebuild),
        stalled(Reshape),
        Finding::Mismatches { pool: name(), level: "raid5".into(), bytes: Bytes(4_096) },
        Finding::CheckOverdue { pool: name(), since: 50 * DAY, never: true, every: 45 * DAY },
        Finding::CheckOverdue { pool: name(), since: 46 * DAY, never: false, every: 45 * DAY },
        errors(MemberErrorKind::Read),
        errors(MemberErrorKind::Write),
        errors(MemberErrorKind::Flush),
        errors(MemberErrorKind::Checksum),
        errors(MemberErrorKind::Generation),
        Finding::MemberErrors { pool: name(), what: PoolErrors::DataLost { pieces: 3 } },
        faulty(Some(drive()), MemberRole::Data, MemberFault::PutOut),
        faulty(Some(drive()), MemberRole::Spare, MemberFault::Gone),
        faulty(None, MemberRole::Log, MemberFault::Offline),
        faulty(None, MemberRole::Cache, MemberFault::Doubted),
        slow_usb(MegabitsPerSecond(480), MegabitsPerSecond(20_000)),
        Finding::DriveMissingAtStart { drive: drive(), missing: 2, of: 5 },
        Finding::VolumeReadonly { mount: name(), writing: Writing::ReadOnly },
        Finding::VolumeReadonly { mount: name(), writing: Writing::StoppedByError },
        Finding::VolumeReadonly { mount: name(), writing: Writing::ShutDown },
        Finding::VolumeAbsent { mount: name(), source: "UUID=5a6e-0b1c".into() },
        Finding::VolumeErrors { mount: name(), count: 2 },
        Finding::InodesOrMetadataLow { what: Scarce::Files { mount: name(), free: 12, used: Percent(99.9) } },
        Finding::InodesOrMetadataLow {
            what: Scarce::Metadata { pool: name(), unallocated: Bytes(200_000_000), used: Percent(96.0) },
        },
    ]);
    all.extend(box_examples::all(place, text));
    all
}

/// On its way to a limit of 53, there by these minutes.
fn on_its_way(heading: Option<f64>, minutes: [u64; 3]) -> Outlook {
    let heading = heading.map(|middle| Interval { low: middle - 1.0, middle, high: middle + 2.0 });
    let [earliest, middle, latest] = minutes.map(|minutes| Duration::from_secs(60 * minutes));
    Outlook { heading, limit: Celsius(53.0), reaches: Some(Reaches { earliest, middle, latest: Some(latest) }) }
}

fn tray(label: &str) -> Place {
    Place { tray: Some(label.into()), serial: Some("HN24-LARK".into()), port: Some("0000/1f.2/ata-3".into()) }
}

#[test]
fn every_kind_has_words_that_fit_and_say_what_to_do_and_what_not() {
    let all = all(&tray("B12a"), "md0");
    let kinds: BTreeSet<Kind> = all.iter().map(Finding::kind).collect();
    assert_eq!(kinds, Kind::ALL.iter().copied().collect(), "a kind has no example here");
    for finding in all {
        let words = told_of(finding.clone());
        for line in [words.title.as_str(), &words.name, &words.brief] {
            assert!((1..=TITLE_COLUMNS).contains(&line.chars().count()), "`{line}` does not fit a line: {finding:?}");
        }
        for sentence in [&words.sentence, &words.advice, &words.warning] {
            let is_sentence = sentence.ends_with('.') && !sentence.ends_with("..") && !sentence.contains("  ");
            assert!(is_sentence, "`{sentence}` is no sentence: {finding:?}");
        }
        assert!(words.warning.starts_with("Do not ") || words.warning.starts_with("Leave all "), "{finding:?}");
        assert!(!words.evidence.is_empty() && words.evidence.iter().all(|found| !found.is_empty()), "{finding:?}");
    }
}

/// The worst mistake is the owner's hand on the wrong tray: no text sends it there.
#[test]
fn nobody_is_told_to_pull_a_drive() {
    for finding in all(&tray("3"), "md0") {
        let words = told_of(finding);
        let brief = if words.brief == "PULL NOTHING" { String::new() } else { words.brief };
        let texts = [words.title, words.name, words.sentence, brief, words.advice, words.warning];
        let said = [texts.as_slice(), &words.evidence, words.leave_in.as_slice()].concat().join(" ");
        assert!(!said.to_lowercase().contains("pull"), "{said}");
    }
}

/// Whether 12 V was measured is said by what was not measured, box by box.
#[test]
fn no_condition_says_by_itself_that_a_rail_was_not_measured() {
    for language in Language::ALL {
        let finding = Finding::DriveLostPower { drive: tray("3"), total: 12, grown: 1, within: DAY };
        let evidence = told_in(language, finding).evidence.join(" ");
        assert!(!evidence.contains("12 V"), "{evidence}");
    }
}

/// Only a spare stands in for another drive.
#[test]
fn only_a_spare_is_said_to_be_missing_when_another_drive_fails() {
    for language in Language::ALL {
        for how in [MemberFault::PutOut, MemberFault::Gone] {
            let of = |role| {
                let (pool, device) = ("tank".to_owned(), "nvme0n1p4".to_owned());
                let words = told_in(language, Finding::MemberFaulty { pool, drive: None, device, role, how });
                format!("{} {}", words.sentence, words.warning)
            };
            let stands_in =
                |role| ["another drive fails", "anderes Laufwerk ausfällt"].iter().any(|one| of(role).contains(one));
            assert!(stands_in(MemberRole::Spare), "{}", of(MemberRole::Spare));
            for role in [MemberRole::Log, MemberRole::Cache, MemberRole::Data] {
                assert!(!stands_in(role), "{}", of(role));
            }
        }
        let cache = told_in(
            language,
            Finding::MemberFaulty {
                pool: "tank".to_owned(),
                drive: None,
                device: "nvme0n1p4".to_owned(),
                role: MemberRole::Cache,
                how: MemberFault::Gone,
            },
        );
        assert!(!cache.sentence.contains("wait") && !cache.sentence.contains("wartet"), "{}", cache.sentence);
    }
}

#[test]
fn what_must_stay_in_is_said_first_whenever_nothing_more_may_be_lost() {
    let mut told = 0;
    for finding in all(&tray("3"), "md0") {
        let must_stay = match &finding {
            Finding::DriveGone { leave_in, .. } | Finding::PoolDegraded { leave_in, .. } => !leave_in.is_empty(),
            _ => false,
        };
        let words = told_of(finding);
        let wanted = must_stay.then(|| "LEAVE IN 1 2 4".to_owned());
        assert_eq!(words.leave_in, wanted, "{}", words.title);
        assert_eq!(words.advice.starts_with("Leave 1 2 4 in. "), must_stay, "{}", words.advice);
        told += usize::from(must_stay);
    }
    assert_eq!(told, 2);
}

#[test]
fn a_list_of_what_must_stay_in_is_never_cut_short() {
    let line = |leave_in: &str| {
        let leave_in = leave_in.split_whitespace().map(str::to_owned).collect();
        let (pool, level, lost) = ("md0".to_owned(), "raid5".to_owned(), Vec::new());
        let (missing, of, spare, rebuilding) = (1, 8, 0, false);
        told_of(Finding::PoolDegraded {
            pool,
            level,
            missing,
            of,
            spare,
            lost,
            offline: Vec::new(),
            leave_in,
            rebuilding,
        })
        .leave_in
    };
    assert_eq!(line("1 2 3 4 5 6").as_deref(), Some("LEAVE IN 1 2 3 4 5 6"));
    assert_eq!(line("1 2 3 4 5 6 7").as_deref(), Some("LEAVE ALL DRIVES IN"), "seven of eight are too long");
    assert_eq!(line("").as_deref(), Some("LEAVE ALL DRIVES IN"), "members that no drive is known for");
}

#[test]
fn what_its_owner_took_offline_is_told_apart() {
    let finding = Finding::PoolDegraded {
        pool: "md0".to_owned(),
        level: "raid5".to_owned(),
        missing: 1,
        of: 5,
        spare: 0,
        lost: vec![tray("3")],
        offline: vec![tray("3")],
        leave_in: Vec::new(),
        rebuilding: false,
    };
    let words = told_of(finding);
    assert!(
        words.evidence[2].starts_with("taken offline by hand: the drive in tray 3 (serial"),
        "{:?}",
        words.evidence
    );
    assert!(words.advice.contains("Bring the member back online"), "{}", words.advice);
}

#[test]
fn a_pool_that_is_not_there_says_which_members_are_not() {
    let (lost, why) = (vec![tray("3"), tray("4")], Down::Absent);
    let sentence = told_of(Finding::PoolDown { pool: "md0".to_owned(), why, present: 3, of: 5, lost }).sentence;
    assert!(sentence.starts_with("md0 is gone; 3 of 5 members found; missing: the drive in tray 3"));
    assert!(sentence.contains(", the drive in tray 4 (serial"), "{sentence}");
}

#[test]
fn a_rebuild_says_what_it_risks_and_how_that_is_known() {
    let bytes = Bytes(5_840_000_000_000);
    let risk = Some(ReadRisk { chance: 0.373, bytes, bits_per_error: 1e14, is_guess: true });
    let finding =
        Finding::PoolBusy { pool: "md0".to_owned(), activity: ActivityKind::Rebuild, done: None, left: None, risk };
    let evidence = told_of(finding).evidence.join("; ");
    assert!(evidence.contains("chance of an unreadable sector during the rebuild: 37"), "{evidence}");
    assert!(evidence.contains("at 1 error in 10^14 bits, error rate assumed from the kind of drive"), "{evidence}");
}

#[test]
fn a_title_about_a_drive_names_its_tray() {
    for finding in all(&tray("B12a"), "md0").into_iter().filter(|finding| finding.drive().is_some()) {
        let words = told_of(finding);
        assert!(words.title.starts_with("TRAY B12a ") && words.name.starts_with("TRAY B12a "), "{}", words.title);
    }
}

#[test]
fn what_is_ahead_is_said_with_the_time_left_as_finely_as_it_can_be_meant() {
    let said = |now: f64, heading, seconds| {
        let within = |seconds| Duration::from_secs(seconds);
        let reaches = Reaches { earliest: within(300), middle: within(seconds), latest: Some(within(1_700)) };
        let outlook = Some(Outlook { reaches: Some(reaches), ..on_its_way(heading, [0; 3]) });
        let (now, limit) = (Celsius(now), Celsius(if now < 53.0 { 53.0 } else { 50.0 }));
        let (drive, own_limit, others, is_alone) = (tray("5"), true, None, false);
        told_of(Finding::DriveHot { drive, now, limit, own_limit, others, is_alone, outlook })
    };
    let words = said(47.0, Some(55.4), 1_090);
    assert_eq!((words.title.as_str(), words.name.as_str()), ("TRAY 5 ->53C 20m", "TRAY 5 WARMING"));
    assert_eq!(
        words.sentence,
        "The drive in tray 5 (serial ..LARK) is at 47 °C and rising towards 55 °C; 53 °C in about 20 min."
    );
    assert_eq!(words.evidence[2], "forecast: 53 °C in 5 min to 28 min if nothing changes");
    assert_eq!(
        said(47.0, None, 1_090).sentence,
        "The drive in tray 5 (serial ..LARK) is at 47 °C; 53 °C in about 20 min."
    );
    let titles: Vec<String> =
        [0, 29, 100, 599, 601, 750, 751, 1_799].map(|seconds| said(47.0, None, seconds).title).into();
    let minutes: Vec<&str> = titles.iter().filter_map(|title| title.strip_prefix("TRAY 5 ->53C ")).collect();
    assert_eq!(minutes, ["1m", "1m", "2m", "10m", "10m", "15m", "15m", "30m"]);
    let past = said(54.0, Some(61.0), 360);
    assert_eq!(past.title, "TRAY 5 HOT 54C", "what is comes before what will be");
}

#[test]
fn a_drive_is_pointed_at_with_the_best_that_is_known_of_it() {
    let place = |tray: Option<&str>, serial: Option<&str>, port: Option<&str>| {
        let owned = |text: Option<&str>| text.map(str::to_owned);
        pointed_at(&Place { tray: owned(tray), serial: owned(serial), port: owned(port) }, Language::ENGLISH)
    };
    assert_eq!(place(Some("3"), Some("HN24-LARK"), Some("0000/1f.2/ata-3")), "the drive in tray 3 (serial ..LARK)");
    assert_eq!(place(None, Some("HN24-LARK"), Some("0000/1f.2/ata-3")), "the drive at 0000/1f.2/ata-3 (serial ..LARK)");
    assert_eq!(place(None, None, None), "a drive with no known serial or port");
}

proptest! {
    /// Names come from the owner, the kernel and the drives, so they may be long and in any script.
    #[test]
    fn no_name_is_too_long_for_a_title(serial in any::<Option<String>>(), port in any::<Option<String>>(), name in ".{0,300}") {
        for finding in all(&Place { tray: None, serial: serial.clone(), port: port.clone() }, &name) {
            let words = told_of(finding);
            prop_assert!(words.title.chars().count() <= TITLE_COLUMNS, "{}", words.title);
            prop_assert!(words.name.chars().count() <= TITLE_COLUMNS, "{}", words.name);
        }
    }
}
