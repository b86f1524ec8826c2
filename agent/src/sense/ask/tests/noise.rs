//! Whatever a drive or its bridge answers: nothing breaks, nothing is made up, nothing is sent that is not on the list,
//! and no drive is asked more unless it is known to be awake.

use super::*;
use crate::reading::{OwnLimits, Power, SelfTestStep};
use crate::sense::ask::ata::AtaDrive;
use crate::sense::ask::nvme::NvmeDrive;
use crate::sense::ask::scsi::ScsiDrive;
use crate::sense::parse::ata;
use crate::sense::parse::ata::identify::identify;
use crate::sense::parse::counter::{CounterOrigin, CounterUnit, DecodedCounter};
use crate::sense::parse::quirks::Quirks;
use crate::sense::parse::scsi::sense_data::sense;
use crate::sense::parse::testing::{any_bytes, bent};
use proptest::prelude::*;

/// An answer like the good one, bent, cut, blank, or none.
fn any_answer(good: Answer) -> impl Strategy<Value = Answer> {
    let reply = good.clone().unwrap_or_default();
    let bend = |bytes: Vec<u8>| if bytes.is_empty() { Just(bytes).boxed() } else { bent(bytes).boxed() };
    let length = reply.data.len();
    prop_oneof![
        6 => Just(good),
        4 => (bend(reply.data), bend(reply.sense)).prop_map(|(data, sense)| Ok(Reply { data, sense })),
        1 => (any_bytes(600), any_bytes(64)).prop_map(|(data, sense)| Ok(Reply { data, sense })),
        1 => prop_oneof![Just(0x00), Just(0xFF)].prop_map(move |blank| data(vec![blank; length])),
        1 => Just(refused()),
        1 => Just(timed_out()),
    ]
}

/// A drive like this one with any answers. Every command that was ever sent to the good one is among them.
fn noisy(good: Replay) -> impl Strategy<Value = Replay> {
    let Replay { answering, answers, .. } = good;
    let answers: Vec<_> = answers
        .into_iter()
        .map(|(command, good)| {
            let good = good.first().cloned().unwrap_or_else(refused);
            (Just(command), proptest::collection::vec(any_answer(good), 1..3))
        })
        .collect();
    answers.prop_map(move |answers| Replay { answers: answers.into_iter().collect(), ..Replay::new(answering) })
}

fn any_wish() -> impl Strategy<Value = DriveQuestions> {
    any::<[bool; 5]>().prop_map(|[temperature, health, self_tests, in_use, afresh]| DriveQuestions {
        temperature,
        health,
        self_tests,
        in_use,
        afresh,
        ..NOTHING
    })
}

fn noisy_disk() -> impl Strategy<Value = Replay> {
    let limits = data(thresholds(&[(5, 36)]));
    let older = data(self_tests(Some(0x00)));
    let kernel = disk().with(Ata::SmartReadThresholds, [limits]).with(SELF_TESTS, [older]);
    let bridge = Replay { answering: Answering::Bridge, ..kernel.clone() };
    prop_oneof![noisy(kernel), noisy(bridge)]
}

fn known() -> AtaDrive {
    AtaDrive::new(identify(&identity("Songbird HB4000", &ABLE)).ok(), Quirks::default())
}

/// True for an answer to CHECK POWER MODE that can be believed and says so.
fn is_awake(answer: &Answer, answering: Answering) -> bool {
    let Ok(reply) = answer else { return false };
    sense(&reply.sense, answering).and_then(|sense| ata::power::power_mode(&sense)).is_ok_and(|mode| !mode.is_asleep())
}

/// Commands that may be sent without a wish of the owner: they read, and none reads user data.
fn is_on_the_list(command: &DriveCommand) -> bool {
    match command {
        DriveCommand::Ata(Ata::SelfTest(_))
        | DriveCommand::Scsi(Scsi::SelfTest(_))
        | DriveCommand::Nvme(Nvme::SelfTest(_)) => false,
        DriveCommand::Ata(Ata::SmartReadLog { log }) => matches!(log, 0x01 | 0x06 | 0xE0),
        DriveCommand::Ata(Ata::ReadLogExt { log: STATISTICS, page }) => *page <= 7,
        DriveCommand::Ata(Ata::ReadLogExt { log: EXTENDED_SELF_TESTS, page }) => *page < 16,
        DriveCommand::Ata(Ata::ReadLogExt { log: EXTENDED_ERRORS, .. }) => true,
        DriveCommand::Ata(Ata::ReadLogExt { log, page }) => matches!(log, 0x00 | 0x11) && *page == 0,
        DriveCommand::Scsi(Scsi::LogSense { page }) => {
            matches!(page, 0x00 | 0x02 | 0x03 | 0x05 | 0x0D..=0x11 | 0x15 | 0x18 | 0x2F)
        }
        DriveCommand::Nvme(Nvme::GetLog { log, bytes }) => {
            matches!((log, bytes), (0x01, 64) | (0x02, 512) | (0x06, 564))
        }
        _ => true,
    }
}

/// The command whose answer a counter was read from.
fn source(counter: &DecodedCounter) -> DriveCommand {
    match counter.origin {
        CounterOrigin::Attribute(_) => Ata::SmartReadData.into(),
        CounterOrigin::Statistic { page, .. } => log(STATISTICS, page.into()).into(),
        CounterOrigin::PhyEvent(_) => log(0x11, 0).into(),
        CounterOrigin::AtaLog(0x01) => Ata::SmartReadLog { log: 0x01 }.into(),
        CounterOrigin::AtaLog(number) => log(number, 0).into(),
        CounterOrigin::SctStatus => SCT_STATUS.into(),
        CounterOrigin::NvmeHealth => Nvme::GetLog { log: 0x02, bytes: 512 }.into(),
        CounterOrigin::ScsiLog(page) => Scsi::LogSense { page }.into(),
    }
}

/// What holds after any session: `before` is the drive as it was before it was asked, `after` with what it was sent.
fn check(before: &Replay, after: &Replay, told: &DriveAnswers, wanted: DriveQuestions) -> Result<(), TestCaseError> {
    prop_assert!(after.sent.iter().all(is_on_the_list), "{:?}", after.sent);
    prop_assert!(wanted.temperature || told.temperature.is_none());
    prop_assert!(wanted.health || told.health.is_none());
    let said_something = |command: &DriveCommand| {
        let said = |answer: &Answer| {
            let bytes = answer.as_ref().map(|reply| [&reply.data[..], &reply.sense].concat()).unwrap_or_default();
            [0x00, 0xFF].iter().all(|blank| bytes.iter().any(|byte| byte != blank))
        };
        after.sent.contains(command) && before.answers.get(command).is_some_and(|answers| answers.iter().any(said))
    };
    if let Some(Ok(now)) = told.temperature {
        prop_assert!((-60.0..=125.0).contains(&now.0), "{now:?}");
        prop_assert!(after.sent.iter().any(said_something));
    }
    let Some(health) = &told.health else { return Ok(()) };
    prop_assert!(told.broke_off.is_none(), "half a health was told");
    for counter in &health.counters {
        prop_assert!(said_something(&source(counter)), "{counter:?} from an answer that says nothing");
        prop_assert!(counter.value >= 0 || counter.unit == CounterUnit::Celsius, "{counter:?}");
        prop_assert_eq!(health.counters.iter().filter(|other| other.name == counter.name).count(), 1);
    }
    let verdicts: [DriveCommand; 4] = [
        Ata::SmartReturnStatus.into(),
        Ata::SmartReadThresholds.into(),
        Scsi::LogSense { page: 0x2F }.into(),
        Nvme::GetLog { log: 0x02, bytes: 512 }.into(),
    ];
    prop_assert!(health.assessment.is_err() || verdicts.iter().any(said_something));
    Ok(())
}

proptest! {
    #[test]
    fn whatever_an_ata_drive_answers(mut disk in noisy_disk(), wishes in proptest::collection::vec(any_wish(), 1..4)) {
        let mut drive = AtaDrive::new(None, Quirks::default());
        for wanted in wishes {
            let before = disk.clone();
            let told = drive.ask(&mut disk, wanted);
            check(&before, &disk, &told, wanted)?;
            disk.sent();
        }
    }

    #[test]
    fn whatever_a_scsi_drive_answers(mut drive in noisy(super::scsi::whole()), wanted in any_wish()) {
        let before = drive.clone();
        let told = ScsiDrive::default().ask(&mut drive, wanted);
        check(&before, &drive, &told, wanted)?;
        if !wanted.in_use && !matches!(told.power, Ok(Power::Active | Power::Idle)) {
            prop_assert_eq!(drive.sent, commands([Scsi::RequestSense]));
        }
    }

    #[test]
    fn whatever_an_nvme_drive_answers(mut drive in noisy(super::nvme::flash()), wanted in any_wish()) {
        let before = drive.clone();
        let told = NvmeDrive::default().ask(&mut drive, wanted);
        check(&before, &drive, &told, wanted)?;
    }

    #[test]
    fn a_disk_that_nobody_uses_must_be_known_to_be_awake(mut disk in noisy_disk(), wanted in any_wish()) {
        let answers = disk.answers[&Ata::CheckPowerMode.into()].clone();
        let told = known().ask(&mut disk, DriveQuestions { in_use: false, ..wanted });
        let questions = disk.sent.iter().filter(|command| **command == Ata::CheckPowerMode.into()).count();
        prop_assert!(questions <= 2);
        if !answers.iter().any(|answer| is_awake(answer, disk.answering)) {
            prop_assert!(!matches!(told.power, Ok(Power::Active | Power::Idle)));
            prop_assert_eq!(disk.sent.len(), questions, "{:?}", disk.sent);
        }
    }

    #[test]
    fn a_self_test_begins_on_no_disk_that_did_not_say_that_it_is_awake(
        disk in noisy_disk(),
        wanted in any_wish(),
        by_owner in any::<bool>(),
    ) {
        let answers = disk.answers[&Ata::CheckPowerMode.into()].clone();
        let mut disk = disk.with(Ata::SelfTest(SelfTestStep::Short), [data([])]);
        known().ask(&mut disk, DriveQuestions { step: Some(SelfTestStep::Short), by_owner, ..wanted });
        let begun = disk.sent.iter().filter(|command| !is_on_the_list(command)).count();
        prop_assert!(begun <= usize::from(answers.iter().any(|answer| is_awake(answer, disk.answering))));
    }

    /// HC580 clause 12.1 table 86: all but 41h, 80h to 83h and FFh is standby, or has no meaning.
    #[test]
    fn a_sleeping_disk_hears_nothing_but_whether_it_sleeps(
        disk in noisy_disk(),
        count in any::<u8>().prop_filter("asleep", |count| !matches!(count, 0x41 | 0x80..=0x83 | 0xFF)),
        wishes in proptest::collection::vec(any_wish(), 1..4),
    ) {
        let mut disk = disk.with(Ata::CheckPowerMode, [power_mode(count)]);
        let mut drive = known();
        for wanted in wishes {
            prop_assert_eq!(drive.ask(&mut disk, wanted), DriveAnswers::only(Ok(Power::Asleep)));
            prop_assert_eq!(disk.sent(), commands([Ata::CheckPowerMode]));
        }
    }
}

/// Bridges answer with empty buffers of any length, and with the whole buffer where less was asked for.
#[test]
fn nothing_is_read_from_blank_replies() {
    for blank in [0x00, 0xFF] {
        for length in [0, 1, 4, 18, 64, 252, 511, 512, 564, 4096, 65_536] {
            for senses in [0, 18, 64] {
                let reply = Reply { data: vec![blank; length], sense: vec![blank; senses] };
                nothing_is_read_from(&reply, &format!("{length} x {blank:02X}h, {senses} of sense"));
            }
        }
    }
}

fn nothing_is_read_from(reply: &Reply, what: &str) {
    let blank = |good: Replay| good.answers.keys().fold(good.clone(), |all, &key| all.with(key, [Ok(reply.clone())]));
    for wanted in [ALL, ALL_IN_USE] {
        let disks = [
            known().ask(&mut blank(disk()), wanted),
            known().ask(&mut Replay { answering: Answering::Bridge, ..blank(disk()) }, wanted),
            AtaDrive::default().ask(&mut blank(disk()), wanted),
            ScsiDrive::default().ask(&mut blank(super::scsi::whole()), wanted),
        ];
        assert!(wanted.in_use || disks.iter().all(|told| told.power.is_err()), "{what}: {disks:?}");
        let flash = NvmeDrive::default().ask(&mut blank(super::nvme::flash()), wanted);
        for told in disks.iter().chain([&flash]) {
            assert!(told.temperature.as_ref().is_none_or(Result::is_err), "{what}: {told:?}");
            assert_eq!(told.own_limits, OwnLimits::default(), "{what}");
            assert!(told.self_tests.as_ref().is_none_or(Result::is_err), "{what}: {told:?}");
            let Some(health) = &told.health else { continue };
            assert!(health.counters.is_empty() && health.assessment.is_err(), "{what}: {health:?}");
            assert!(!matches!(health.newest_error, Ok(Some(_))), "{what}: {health:?}");
        }
    }
}
