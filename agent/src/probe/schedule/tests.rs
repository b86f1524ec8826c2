//! Stories of the schedule, and days of a box whose disks note what they are sent.

use super::*;
use crate::probe::polling::{DriveRequest, PollingPolicy};
use crate::reading::{
    Activity, AskedBy, Member, MemberRole, MemberState, PastTest, PoolKind, Power, Reading, SelfTest, Source,
    TestOutcome,
};
use crate::sense::ask::ata::AtaDrive;
use crate::sense::ask::command::{Ata, DriveCommand};
use crate::sense::ask::{Failure, Reply, Transport};
use crate::sense::parse::quirks::Quirks;
use crate::sense::parse::scsi::sense_data::Answering;
use crate::sense::parse::testing::{hex, page, summed};
use crate::units::Bytes;
use proptest::prelude::*;

const WEEKLY_AND_QUARTERLY: Schedule = Schedule { short_every_days: 7, long_every_days: 90 };
const MINUTE: u64 = 60;
const HOUR: u64 = 3600;

fn at(second: u64) -> Moment {
    Moment::after_boot(Duration::from_secs(second))
}

/// A record: kind, outcome, and how many hours ago, the newest first.
fn tests(past: &[(TestKind, TestOutcome, Option<u64>)]) -> SelfTests {
    let test = |&(kind, outcome, age_hours): &(TestKind, TestOutcome, Option<u64>)| PastTest {
        kind,
        outcome,
        power_on_hours: 0,
        age_hours,
        failed_at_lba: None,
    };
    let past = past.iter().map(test).collect();
    SelfTests { now: SelfTest::Passed, past, short_minutes: None, extended_minutes: None }
}

fn disk<'a>(key: &'a DriveKey, self_tests: &'a SelfTests) -> Candidate<'a> {
    let self_tests = Some(self_tests);
    Candidate { key, is_active: true, is_used: true, has_disks: true, self_tests, requested: None, is_pending: false }
}

/// A RAID 1 of two disks that is whole and does nothing.
fn pool() -> Pool {
    let member = |device: &str| Member {
        device: device.into(),
        drive_device: device.into(),
        slot: Some(0),
        state: MemberState::Active,
        role: MemberRole::Data,
        doubted: false,
        device_gone: false,
        errors: Vec::new(),
    };
    Pool {
        key: "songs".into(),
        name: "md0".into(),
        kind: PoolKind::Md,
        level: "raid1".into(),
        running: Reading::new(Ok(PoolRunning::Running), Moment::default(), Source::Sysfs),
        wanted: 2,
        missing: Some(0),
        members: vec![member("sda"), member("sdb")],
        activity: Activity::IDLE,
        size: Reading::new(Ok(Bytes(1)), Moment::default(), Source::Sysfs),
        groups: Vec::new(),
        mismatches: None,
        last_check: None,
        lost_data: None,
        after_crash: None,
        metadata: None,
        is_partial: false,
    }
}

/// What one disk with this record would begin, an hour after the start.
fn step(self_tests: &SelfTests, change: impl Fn(&mut Candidate, &mut Pool)) -> Option<SelfTestStep> {
    let (key, mut pool) = (DriveKey("HN24-WREN".into()), pool());
    let mut candidate = disk(&key, self_tests);
    change(&mut candidate, &mut pool);
    due(WEEKLY_AND_QUARTERLY, at(HOUR), at(0), &[candidate], Some(&[pool])).map(|(_, step)| step)
}

#[test]
fn the_drives_own_record_says_what_is_due() {
    use TestKind::{Extended, Other, Short};
    use TestOutcome::{Ended, Failed, Passed};
    let due = |past: &[(TestKind, TestOutcome, Option<u64>)]| step(&tests(past), |_, _| {});
    let (week, quarter) = (Some(7 * 24), Some(90 * 24));
    assert_eq!(due(&[]), Some(SelfTestStep::Extended), "never tested: the long one includes the short one");
    assert_eq!(due(&[(Extended, Passed, Some(30))]), None);
    assert_eq!(due(&[(Extended, Passed, Some(7 * 24 - 1))]), None);
    assert_eq!(due(&[(Extended, Passed, week)]), Some(SelfTestStep::Short));
    assert_eq!(due(&[(Short, Passed, Some(30)), (Extended, Passed, week)]), None);
    assert_eq!(due(&[(Short, Passed, Some(30)), (Extended, Passed, quarter)]), Some(SelfTestStep::Extended));
    assert_eq!(due(&[(Short, Ended, Some(23)), (Extended, Passed, week)]), None, "it was tried today");
    assert_eq!(due(&[(Short, Ended, Some(24)), (Extended, Passed, week)]), Some(SelfTestStep::Short));
    assert_eq!(due(&[(Short, Failed, week), (Extended, Passed, quarter)]), None, "a failure is its owner's to look at");
    assert_eq!(due(&[(Other, Failed, quarter)]), None);
    assert_eq!(due(&[(Extended, Passed, None)]), None, "a record that contradicts the drive's clock tells nothing");
    assert_eq!(due(&[(Short, Passed, Some(1)), (Extended, Passed, None)]), None);
}

#[test]
fn off_is_off() {
    let (key, record) = (DriveKey("HN24-WREN".into()), tests(&[]));
    let begun = |short_every_days, long_every_days| {
        let schedule = Schedule { short_every_days, long_every_days };
        due(schedule, at(HOUR), at(0), &[disk(&key, &record)], Some(&[])).map(|(_, step)| step)
    };
    assert_eq!(begun(0, 0), None);
    assert_eq!((begun(1, 0), begun(0, 1)), (Some(SelfTestStep::Short), Some(SelfTestStep::Extended)));
}

#[test]
fn what_speaks_against_a_test_now() {
    let record = tests(&[]);
    let begins = |change: &dyn Fn(&mut Candidate, &mut Pool)| step(&record, change).is_some();
    assert!(begins(&|_, _| {}));
    assert!(!begins(&|disk, _| disk.is_active = false), "it sleeps, rests, or does not answer");
    assert!(!begins(&|disk, _| disk.is_used = false), "a test would keep it from falling asleep");
    assert!(begins(&|disk, _| (disk.is_used, disk.has_disks) = (false, false)), "flash has nothing to spin down");
    assert!(!begins(&|disk, _| disk.requested = Some(at(1))), "it was asked today");
    assert!(!begins(&|disk, _| disk.is_pending = true));
    assert!(!begins(&|disk, _| disk.self_tests = None), "it has not told of its self-tests");
    assert!(!begins(&|_, pool| pool.missing = Some(1)));
    assert!(!begins(&|_, pool| pool.members[1].device_gone = true), "md has not noticed yet");
    assert!(!begins(&|_, pool| pool.members[1].state = MemberState::Rebuilding));
    assert!(!begins(&|_, pool| pool.activity.kind = ActivityKind::Check));
    assert!(!begins(&|_, pool| pool.running.value = Ok(PoolRunning::Inactive)));
}

#[test]
fn not_in_the_first_ten_minutes_nor_without_a_sight_of_the_pools() {
    let (key, record) = (DriveKey("HN24-WREN".into()), tests(&[]));
    let begins = |second, pools| due(WEEKLY_AND_QUARTERLY, at(second), at(0), &[disk(&key, &record)], pools).is_some();
    assert!(!begins(10 * MINUTE - 1, Some(&[])));
    assert!(begins(10 * MINUTE, Some(&[])));
    assert!(!begins(HOUR, None));
}

#[test]
fn one_at_a_time_and_the_longest_overdue_first() {
    let keys = ["HN24-WREN", "HN24-TERN", "HN24-LARK"].map(|serial| DriveKey(serial.into()));
    let month = |days: u64| tests(&[(TestKind::Extended, TestOutcome::Passed, Some(days * 24))]);
    let mut records = [month(8), month(12), month(12)];
    let first = |records: &[SelfTests; 3]| {
        let drives: Vec<_> = keys.iter().zip(records).map(|(key, record)| disk(key, record)).collect();
        due(WEEKLY_AND_QUARTERLY, at(HOUR), at(0), &drives, Some(&[])).map(|(key, _)| key.0.clone())
    };
    assert_eq!(first(&records).as_deref(), Some("HN24-LARK"), "of two alike the first by name");
    records[0].now = SelfTest::Running { remaining_percent: Some(50) };
    assert_eq!(first(&records), None);
}

/// IDENTIFY DEVICE of a disk with SMART switched on (words 82, 85), self-test and its log (84, 87).
fn identity() -> Vec<u8> {
    let words = [(20, *b"EHOR"), (54, *b"oSgn"), (164, [1, 0, 0, 0]), (168, [2, 0x40, 0, 0]), (170, [1, 0, 0, 0])];
    let fields: Vec<(usize, &[u8])> = words.iter().map(|(offset, bytes)| (*offset, &bytes[..])).collect();
    let mut bytes = page(&fields);
    bytes[510] = 0xA5;
    summed(bytes)
}

/// A disk that falls asleep when nobody uses it, tests itself when it is told to, and keeps a record.
struct Disk {
    second: u64,
    used_at: u64,
    /// Falls asleep so long after it was used, in seconds.
    patience: u64,
    /// When its test ends.
    test_ends: Option<u64>,
    /// Hours at which tests ended.
    record: Vec<u16>,
    /// When tests began, and whether it slept.
    begun: Vec<(u64, bool)>,
}

impl Disk {
    const HOURS_BEFORE: u64 = 9_000;

    fn sleeps(&self) -> bool {
        self.test_ends.is_none() && self.second - self.used_at >= self.patience
    }

    fn look(&mut self, second: u64, is_used: bool) {
        self.second = second;
        if is_used {
            self.used_at = second;
        }
        if let Some(end) = self.test_ends.filter(|end| second >= *end) {
            self.test_ends = None;
            self.used_at = second;
            self.record.push((Self::HOURS_BEFORE + end / HOUR) as u16);
        }
    }

    fn smart(&self) -> Vec<u8> {
        let hours = (Self::HOURS_BEFORE + self.second / HOUR).to_le_bytes();
        let status = if self.test_ends.is_some() { 0xF5 } else { 0x00 };
        let attribute = [&[9, 2, 0, 90, 90][..], &hours[..6], &[0]].concat();
        summed(page(&[(0, &[1, 0]), (2, &attribute), (363, &[status]), (367, &[0x19])]))
    }

    fn log(&self) -> Vec<u8> {
        let count = self.record.len() as u8;
        let entries: Vec<u8> = self
            .record
            .iter()
            .flat_map(|hours| {
                let [low, high] = hours.to_le_bytes();
                [&[1, 0, low, high][..], &[0; 20]].concat()
            })
            .collect();
        summed(page(&[(0, &[1, 0]), (2, &entries), (508, &[count])]))
    }
}

impl Transport for Disk {
    fn send(&mut self, command: &DriveCommand) -> Result<Reply, Failure> {
        let data = |data: Vec<u8>| Ok(Reply { data, sense: Vec::new() });
        let sleeps = self.sleeps();
        match command {
            // The reply of QEMU's drive under Linux 6.12, with another COUNT.
            DriveCommand::Ata(Ata::CheckPowerMode) => {
                let mut sense = hex("72 01 00 1d 00 00 00 0e 09 0c 00 00 00 ff 00 00 00 00 00 00 00 50");
                sense[13] = if sleeps { 0x00 } else { 0xFF };
                Ok(Reply { data: Vec::new(), sense })
            }
            DriveCommand::Ata(Ata::Identify) => data(identity()),
            DriveCommand::Ata(Ata::SmartReadData) => data(self.smart()),
            DriveCommand::Ata(Ata::SmartReadLog { log: 0x06 }) => data(self.log()),
            DriveCommand::Ata(Ata::SelfTest(_)) => {
                self.begun.push((self.second, sleeps));
                self.test_ends = Some(self.second + 2 * MINUTE);
                data(Vec::new())
            }
            _ => Err(Failure::NotSupported("this disk knows nothing else".to_owned())),
        }
    }

    fn answering(&self) -> Answering {
        Answering::Kernel
    }
}

/// A box as the probe has it: what it remembers of each disk, and the last that each told.
struct Seen {
    key: DriveKey,
    disk: Disk,
    drive: AtaDrive,
    polling: PollingPolicy,
    power: Option<Power>,
    self_tests: Option<SelfTests>,
    requested: Option<Moment>,
}

impl Seen {
    fn new(number: usize, patience: u64) -> Self {
        let disk = Disk { second: 0, used_at: 0, patience, test_ends: None, record: Vec::new(), begun: Vec::new() };
        Self {
            key: DriveKey(format!("HERON-{number}")),
            disk,
            drive: AtaDrive::new(None, Quirks::default()),
            polling: PollingPolicy::new(true, false),
            power: None,
            self_tests: None,
            requested: None,
        }
    }

    fn look(&mut self, second: u64, is_used: bool) {
        let now = at(second);
        self.disk.look(second, is_used);
        self.polling.saw(is_used, now);
        let Some(wanted) = self.polling.wish(now) else { return };
        let request = self.polling.asked(now);
        let told = self.drive.ask(&mut self.disk, wanted);
        self.power = told.power.ok();
        self.polling.told_power(self.power);
        if request.is_some() {
            self.requested = Some(now);
        }
        if told.health.is_some() {
            self.polling.told_health(false, now);
        }
        if let Some(Ok(tests)) = told.self_tests {
            self.polling.told_tests(tests.is_running(), false, now);
            self.self_tests = Some(tests);
        }
    }

    fn candidate(&self) -> Candidate<'_> {
        Candidate {
            key: &self.key,
            is_active: self.power == Some(Power::Active),
            is_used: self.polling.is_used(),
            has_disks: true,
            self_tests: self.self_tests.as_ref(),
            requested: self.requested,
            is_pending: self.polling.has_request(),
        }
    }
}

/// Looks every two seconds at disks that fall asleep after so many seconds; says when each is used, and when a pool is
/// not whole. What each disk began when.
fn days(
    hours: u64,
    patience: &[u64],
    is_used: impl Fn(usize, u64) -> bool,
    is_degraded: impl Fn(u64) -> bool,
) -> Vec<Vec<(u64, bool)>> {
    let schedule = Schedule { short_every_days: 1, long_every_days: 0 };
    let mut box_of: Vec<Seen> = patience.iter().enumerate().map(|(nth, &patience)| Seen::new(nth, patience)).collect();
    for second in (0..hours * HOUR).step_by(2) {
        box_of.iter_mut().enumerate().for_each(|(nth, seen)| seen.look(second, is_used(nth, second)));
        let candidates: Vec<Candidate> = box_of.iter().map(Seen::candidate).collect();
        let pools = [Pool { missing: Some(u32::from(is_degraded(second))), ..pool() }];
        let due = due(schedule, at(second), at(0), &candidates, Some(&pools));
        if let Some((key, step)) = due.map(|(key, step)| (key.clone(), step)) {
            let request = DriveRequest { step: Some(step), by: AskedBy::Schedule, at: at(second) };
            box_of.iter_mut().filter(|seen| seen.key == key).for_each(|seen| seen.polling.request(request));
        }
    }
    box_of.into_iter().map(|seen| seen.disk.begun).collect()
}

#[test]
fn in_a_day_a_sleeping_disk_gets_no_self_test() {
    assert_eq!(days(24, &[0], |_, _| false, |_| false), [[]]);
}

#[test]
fn a_disk_in_use_tests_itself_once_a_day_and_no_two_at_once() {
    let begun = days(72, &[20 * MINUTE; 3], |_, _| true, |_| false);
    assert!(begun.iter().all(|begun| begun.len() == 3 || begun.len() == 2), "{begun:?}");
    let mut all: Vec<u64> = begun.iter().flatten().map(|(second, _)| *second).collect();
    all.sort_unstable();
    assert!(all.windows(2).all(|pair| pair[1] - pair[0] >= 2 * MINUTE), "{all:?}");
    assert!(all[0] >= 10 * MINUTE);
}

proptest! {
    #![proptest_config(ProptestConfig::with_cases(24))]

    /// However three disks are used, whenever they fall asleep, and whenever the pool lacks a member: within 24 hours no
    /// disk gets a self-test asleep, unused for a minute, beside another, or while the pool needs it.
    #[test]
    fn no_day_sees_a_self_test_that_would_do_harm(
        patience in prop::collection::vec(30..40 * MINUTE, 3),
        // Whether each disk is used in each stretch of a quarter of an hour.
        used in prop::collection::vec(any::<[bool; 3]>(), 96),
        every in 2..30_u64,
        degraded in 0..96_u64,
    ) {
        let quarter = |second: u64| (second / (15 * MINUTE)) as usize;
        let is_used = |nth: usize, second: u64| used[quarter(second)][nth] && second / 2 % every == 0;
        let is_degraded = |second| (degraded..degraded + 12).contains(&(quarter(second) as u64));
        let begun = days(24, &patience, is_used, is_degraded);
        let mut all = Vec::new();
        for (nth, begun) in begun.iter().enumerate() {
            for &(second, slept) in begun {
                prop_assert!(!slept, "disk {nth} slept at {second}");
                prop_assert!((0..=MINUTE).any(|ago| second >= ago && is_used(nth, second - ago)), "nobody used {nth}");
                prop_assert!(!is_degraded(second.saturating_sub(2)), "the pool lacked a member at {second}");
                all.push(second);
            }
            prop_assert!(begun.len() <= 1, "disk {nth}: {begun:?}");
        }
        all.sort_unstable();
        prop_assert!(all.windows(2).all(|pair| pair[1] - pair[0] >= 2 * MINUTE), "{all:?}");
    }
}
