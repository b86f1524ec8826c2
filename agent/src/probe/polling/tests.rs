//! Stories of polling: a sleeping disk, a restless one, one that falls silent, and requests.

use super::*;
use crate::reading::{Missing, Reason};
use crate::sense::ask::ata::AtaDrive;
use crate::sense::ask::command::{Ata, DriveCommand};
use crate::sense::ask::{Failure, Reply, Transport};
use crate::sense::parse::quirks::Quirks;
use crate::sense::parse::scsi::sense_data::Answering;
use crate::sense::parse::testing::hex;

/// A disk behind the kernel's translation that sleeps unless `count` says otherwise, and notes what it is sent.
struct Disk {
    count: u8,
    /// How many times more it refuses to say whether it sleeps, and how many times more it then says nothing.
    refusals: usize,
    silences: usize,
    sent: Vec<DriveCommand>,
}

impl Disk {
    fn new(count: u8) -> Self {
        Self { count, refusals: 0, silences: 0, sent: Vec::new() }
    }
}

/// True as often as `left` says.
fn once_less(left: &mut usize) -> bool {
    let some = *left > 0;
    *left = left.saturating_sub(1);
    some
}

impl Transport for Disk {
    fn send(&mut self, command: &DriveCommand) -> Result<Reply, Failure> {
        self.sent.push(*command);
        match command {
            DriveCommand::Ata(Ata::CheckPowerMode) if once_less(&mut self.refusals) => {
                Err(Failure::NotSupported("not now".to_owned()))
            }
            DriveCommand::Ata(Ata::CheckPowerMode) if once_less(&mut self.silences) => {
                Err(Failure::Missing(Missing::of(Reason::TimedOut)))
            }
            // The reply of QEMU's drive under Linux 6.12, with another COUNT.
            DriveCommand::Ata(Ata::CheckPowerMode) => {
                let mut sense = hex("72 01 00 1d 00 00 00 0e 09 0c 00 00 00 ff 00 00 00 00 00 00 00 50");
                sense[13] = self.count;
                Ok(Reply { data: Vec::new(), sense })
            }
            _ => Err(Failure::NotSupported("this disk knows nothing else".to_owned())),
        }
    }

    fn answering(&self) -> Answering {
        Answering::Kernel
    }
}

/// A day of looks every two seconds; `used` says at which seconds somebody used the disk.
fn day(disk: &mut Disk, used: impl Fn(u64) -> bool, hours: u64) -> Vec<u64> {
    days(PollingPolicy::new(true, false), disk, used, hours)
}

fn days(mut polling: PollingPolicy, disk: &mut Disk, used: impl Fn(u64) -> bool, hours: u64) -> Vec<u64> {
    let mut drive = AtaDrive::new(None, Quirks::default());
    let mut asked_at = Vec::new();
    for second in (0..hours * 3600).step_by(2) {
        let now = Moment::after_boot(Duration::from_secs(second));
        polling.saw(used(second), now);
        let Some(wanted) = polling.wish(now) else { continue };
        polling.asked(now);
        let told = drive.ask(disk, wanted);
        polling.told_power(told.power.ok());
        match told.broke_off {
            Some(_) => polling.broke_off(now),
            None => polling.came_to_an_end(),
        }
        if told.health.is_some() {
            polling.told_health(false, now);
        }
        asked_at.push(second);
    }
    asked_at
}

fn gaps(asked_at: &[u64]) -> Vec<u64> {
    asked_at.windows(2).map(|pair| pair[1] - pair[0]).collect()
}

/// CHECK POWER MODE neither changes the mode nor touches the standby timer (ATA-4, as quoted in facts of drives;
/// HC310 clause 9.4.2): the one command that is harmless.
#[test]
fn in_a_day_a_sleeping_disk_is_asked_whether_it_sleeps_and_nothing_else() {
    let mut disk = Disk::new(0x00);
    let asked_at = day(&mut disk, |_| false, 24);
    assert_eq!(asked_at.len(), 144, "every ten minutes");
    assert_eq!(disk.sent.len(), 144);
    assert!(disk.sent.iter().all(|command| *command == DriveCommand::Ata(Ata::CheckPowerMode)));
}

#[test]
fn a_disk_in_use_is_asked_every_minute() {
    let mut disk = Disk::new(0xFF);
    let asked_at = day(&mut disk, |_| true, 1);
    assert_eq!(asked_at.len(), 60);
}

#[test]
fn a_disk_that_never_sleeps_although_idle_is_asked_more_seldom_after_a_day() {
    let mut disk = Disk::new(0x80);
    let asked_at = day(&mut disk, |_| false, 48);
    let gaps = gaps(&asked_at);
    assert!(gaps[..143].iter().all(|&gap| gap == 600), "the first day");
    assert!(gaps[145..].iter().all(|&gap| gap == 3600), "the second day");
}
#[test]
fn a_disk_that_falls_silent_is_left_alone_for_longer_and_longer() {
    let mut disk = Disk { silences: 5, ..Disk::new(0xFF) };
    let asked_at = day(&mut disk, |_| true, 5);
    assert_eq!(gaps(&asked_at)[..7], [60, 600, 3600, 3600, 3600, 60, 60], "until it answers");
    assert_eq!(disk.sent[..6], [DriveCommand::Ata(Ata::CheckPowerMode); 6], "one question, one silence");

    let silent_again = Disk { silences: 1, ..Disk::new(0xFF) };
    let gaps = gaps(&day(&mut { silent_again }, |_| true, 1));
    assert_eq!(gaps[..3], [60, 60, 60], "the count begins anew");
}

/// The reset after a time-out takes along whatever shares the bridge.
#[test]
fn a_bridge_that_fell_silent_is_left_alone_for_an_hour_then_for_a_day() {
    let mut disk = Disk { silences: 2, ..Disk::new(0xFF) };
    let asked_at = days(PollingPolicy::new(true, true), &mut disk, |_| true, 27);
    assert_eq!(gaps(&asked_at)[..4], [3600, 24 * 3600, 60, 60]);
}

#[test]
fn a_quiet_disk_rests_at_least_as_long_as_any_other_that_nobody_uses() {
    let mut disk = Disk { silences: 1, ..Disk::new(0x00) };
    assert_eq!(gaps(&day(&mut disk, |_| false, 1))[..3], [600, 600, 600]);
}

#[test]
fn a_disk_that_refused_once_to_say_whether_it_sleeps_is_asked_again() {
    let mut disk = Disk { refusals: 1, ..Disk::new(0x00) };
    day(&mut disk, |_| false, 2);
    assert_eq!(disk.sent.len(), 12, "every ten minutes, as if nothing had been");
}

#[test]
fn a_disk_that_keeps_refusing_is_asked_twice_a_day_and_forgiven_on_the_next() {
    let power_mode = DriveCommand::Ata(Ata::CheckPowerMode);
    let mut disk = Disk { refusals: usize::MAX, ..Disk::new(0x00) };
    day(&mut disk, |_| false, 72);
    assert_eq!(disk.sent, [power_mode; 6], "two a day, for three days");

    let mut disk = Disk { refusals: 2, ..Disk::new(0x00) };
    day(&mut disk, |_| false, 48);
    assert!(disk.sent.len() > 2 + 130, "a day later it answers");
}

/// Identify, and whatever else is tried and refused: once a day.
#[test]
fn what_an_active_disk_refuses_is_tried_once_a_day() {
    let mut disk = Disk::new(0xFF);
    day(&mut disk, |_| true, 72);
    assert_eq!(disk.sent.iter().filter(|command| **command == DriveCommand::Ata(Ata::Identify)).count(), 3);
}

fn at(second: u64) -> Moment {
    Moment::after_boot(Duration::from_secs(second))
}

/// An idle disk that has been asked at `second`, and told that a test runs or not.
fn asked(second: u64, is_running: bool) -> PollingPolicy {
    let mut polling = PollingPolicy::new(true, false);
    polling.saw(false, at(second));
    polling.asked(at(second));
    polling.told_health(false, at(second));
    polling.told_tests(is_running, false, at(second));
    polling
}

fn request(step: Option<SelfTestStep>, second: u64) -> DriveRequest {
    DriveRequest { step, by: AskedBy::Owner, at: at(second) }
}

#[test]
fn a_request_is_put_to_the_drive_at_once_and_once() {
    let mut polling = asked(0, false);
    assert_eq!(polling.wish(at(2)), None);
    polling.request(request(Some(SelfTestStep::Short), 2));
    let wish = polling.wish(at(4)).expect("the owner waits");
    assert_eq!((wish.step, wish.self_tests, wish.by_owner), (Some(SelfTestStep::Short), true, true));
    assert_eq!(polling.asked(at(4)), Some(request(Some(SelfTestStep::Short), 2)));
    assert_eq!((polling.wish(at(6)), polling.has_request()), (None, false));
}

#[test]
fn a_request_that_found_no_ear_within_a_minute_is_void() {
    let mut polling = asked(0, false);
    let wanted = request(Some(SelfTestStep::Extended), 2);
    polling.request(wanted);
    assert_eq!(polling.void_request(at(61)), None);
    assert_eq!(polling.void_request(at(62)), Some(wanted));
    assert_eq!((polling.wish(at(62)), polling.void_request(at(62))), (None, None));
}

#[test]
fn how_a_test_goes_on_is_asked_by_its_length() {
    let next = |polling: &PollingPolicy| (1..=1200).find(|&second| polling.wish(at(second)).is_some());
    assert_eq!(next(&asked(0, true)), Some(60), "nobody said that it is a short one");
    let mut short = PollingPolicy::new(true, false);
    short.request(request(Some(SelfTestStep::Short), 0));
    short.asked(at(0));
    short.told_health(false, at(0));
    short.told_tests(true, false, at(0));
    assert_eq!(next(&short), Some(10));
    assert!(short.wish(at(10)).is_some_and(|wish| wish.self_tests && !wish.health && wish.step.is_none()));
    short.told_tests(false, false, at(10));
    assert_eq!(next(&short), Some(600), "as any idle disk");
    let mut asleep = asked(0, true);
    asleep.told_power(Some(Power::Asleep));
    assert_eq!(next(&asleep), Some(600), "a test does not outlast sleep");
}

#[test]
fn a_disk_in_use_is_asked_for_its_self_tests_in_passing() {
    let mut polling = asked(0, false);
    polling.saw(true, at(60));
    assert!(polling.wish(at(60)).is_some_and(|wish| !wish.self_tests));
    assert!(polling.wish(at(30 * 60)).is_some_and(|wish| wish.self_tests && !wish.by_owner));
    let idle = asked(0, false);
    assert!(idle.wish(at(30 * 60)).is_some_and(|wish| !wish.self_tests), "but not one that nobody uses");
    let mut failed = asked(0, false);
    failed.told_tests(false, true, at(0));
    assert_eq!(failed.wish(at(2)), None);
    assert!(failed.wish(at(600)).is_some_and(|wish| wish.self_tests), "unless what it told was news");
}
