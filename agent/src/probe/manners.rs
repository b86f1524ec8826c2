//! When a drive may be asked what. Asking too often keeps a disk from falling asleep; a disk that somebody uses is
//! awake anyway. Pure: the time comes in, a wish or none goes out.

use crate::clock::Moment;
use crate::reading::{AskedBy, Power, SelfTestStep};
use crate::sense::ask::Wanted;
use std::time::Duration;

/// A drive that is in use is asked this often.
const IN_USE_EVERY: Duration = Duration::from_secs(60);
/// A disk that nobody uses is asked this often.
const IDLE_EVERY: Duration = Duration::from_secs(10 * 60);
/// A disk that nobody uses and that never slept for a day may be kept awake by the questions themselves; the kernel's
/// document on drivetemp advises more than twice its standby time. An hour is more than twice the usual ones.
const RESTLESS_EVERY: Duration = Duration::from_secs(3600);
const RESTLESS_AFTER: Duration = Duration::from_secs(24 * 3600);
/// Health changes slowly.
const HEALTH_EVERY: Duration = Duration::from_secs(6 * 3600);

/// A drive in use is asked for its self-tests this often: somebody may have started one by other means.
const TESTS_EVERY: Duration = Duration::from_secs(30 * 60);
/// How a test goes on is asked this often; a short one is over in minutes. The test keeps the drive awake itself.
const SHORT_TEST_EVERY: Duration = Duration::from_secs(10);
const LONG_TEST_EVERY: Duration = Duration::from_secs(60);
/// A request that could not be put to the drive for so long is void: a test must not begin when nobody thinks of it.
const REQUEST_LASTS: Duration = Duration::from_secs(60);

/// A wish about self-tests that goes before all manners, but never before sleep.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Request {
    /// What to do, if it is more than a question.
    pub step: Option<SelfTestStep>,
    /// Who wants it.
    pub by: AskedBy,
    /// When it came.
    pub at: Moment,
}

/// What is remembered to be polite to one drive.
#[derive(Debug, Clone)]
pub struct Manners {
    has_disks: bool,
    asked: Option<Moment>,
    told_health: Option<Moment>,
    told_tests: Option<Moment>,
    /// While a test runs: how often to ask how it goes on.
    test_every: Option<Duration>,
    last_step: Option<SelfTestStep>,
    request: Option<Request>,
    /// Somebody else used the drive since it was last asked.
    used: bool,
    /// Since when nobody used it, and it was not seen asleep either.
    restless_since: Option<Moment>,
}

impl Manners {
    /// For a drive with turning disks, or without.
    pub fn new(has_disks: bool) -> Self {
        Self {
            has_disks,
            asked: None,
            told_health: None,
            told_tests: None,
            test_every: None,
            last_step: None,
            request: None,
            used: false,
            restless_since: None,
        }
    }

    /// Takes in whether anybody used the drive since the look before.
    pub fn saw(&mut self, used: bool, now: Moment) {
        self.used |= used;
        self.restless_since = if used { None } else { self.restless_since.or(Some(now)) };
    }

    /// What may be asked now, if anything.
    pub fn wish(&self, now: Moment) -> Option<Wanted> {
        let restless = self.restless_since.is_some_and(|since| now.since(since) >= RESTLESS_AFTER);
        let every = match (self.has_disks && !self.used, restless) {
            (false, _) => IN_USE_EVERY,
            (true, false) => IDLE_EVERY,
            (true, true) => RESTLESS_EVERY,
        };
        let is_due = |last: Option<Moment>, every| last.is_none_or(|last| now.since(last) >= every);
        let health = is_due(self.told_health, HEALTH_EVERY);
        let goes_on = self.test_every.is_some_and(|every| is_due(self.told_tests.max(self.asked), every));
        let in_passing = match self.told_tests {
            None => true,
            told => is_due(told, TESTS_EVERY) && (self.used || !self.has_disks),
        };
        let request = self.request;
        (request.is_some() || goes_on || is_due(self.asked, every)).then(|| Wanted {
            temperature: true,
            health,
            self_tests: request.is_some() || goes_on || health || in_passing,
            step: request.and_then(|request| request.step),
            by_owner: request.is_some_and(|request| request.by == AskedBy::Owner),
            in_use: self.used,
        })
    }

    /// Somebody wants something of its self-tests.
    pub fn request(&mut self, request: Request) {
        self.request = Some(request);
    }

    /// True while a request waits for the drive to be asked.
    pub fn has_request(&self) -> bool {
        self.request.is_some()
    }

    /// The request that could not be put to the drive in time, once.
    pub fn void_request(&mut self, now: Moment) -> Option<Request> {
        self.request.take_if(|request| now.since(request.at) >= REQUEST_LASTS)
    }

    /// Somebody else used the drive since it was last asked.
    pub fn is_used(&self) -> bool {
        self.used
    }

    /// The drive was asked; the request that was put to it, if there was one.
    pub fn asked(&mut self, now: Moment) -> Option<Request> {
        self.asked = Some(now);
        self.used = false;
        let request = self.request.take();
        self.last_step = request.and_then(|request| request.step).or(self.last_step);
        request
    }

    /// The drive told whether it sleeps.
    pub fn told_power(&mut self, power: Option<Power>) {
        if power == Some(Power::Asleep) {
            self.restless_since = None;
            self.test_every = None;
        }
    }

    /// The drive told of its self-tests. What is news there is asked once more soon.
    pub fn told_tests(&mut self, is_running: bool, is_news: bool, now: Moment) {
        let every = if self.last_step == Some(SelfTestStep::Short) { SHORT_TEST_EVERY } else { LONG_TEST_EVERY };
        self.test_every = is_running.then_some(every);
        self.told_tests = (!is_news || is_running).then_some(now);
    }

    /// The drive told of its health. What is news there is asked once more soon: nothing is judged on one reading.
    pub fn told_health(&mut self, is_news: bool, now: Moment) {
        self.told_health = (!is_news).then_some(now);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sense::ask::ata::AtaDrive;
    use crate::sense::ask::command::{Ata, Command};
    use crate::sense::ask::{Failure, Reply, Transport};
    use crate::sense::parse::quirks::Quirks;
    use crate::sense::parse::sense_data::Answering;
    use crate::sense::parse::testing::hex;

    /// A disk behind the kernel's translation that sleeps unless `count` says otherwise, and notes what it is sent.
    struct Disk {
        count: u8,
        sent: Vec<Command>,
    }

    impl Transport for Disk {
        fn send(&mut self, command: &Command) -> Result<Reply, Failure> {
            self.sent.push(*command);
            match command {
                // The reply of QEMU's drive under Linux 6.12, with another COUNT.
                Command::Ata(Ata::CheckPowerMode) => {
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
        let mut drive = AtaDrive::new(None, Quirks::default());
        let mut manners = Manners::new(true);
        let mut asked_at = Vec::new();
        for second in (0..hours * 3600).step_by(2) {
            let now = Moment::after_boot(Duration::from_secs(second));
            manners.saw(used(second), now);
            let Some(wanted) = manners.wish(now) else { continue };
            manners.asked(now);
            let told = drive.ask(disk, wanted);
            manners.told_power(told.power.ok());
            if told.health.is_some() {
                manners.told_health(false, now);
            }
            asked_at.push(second);
        }
        asked_at
    }

    /// CHECK POWER MODE neither changes the mode nor touches the standby timer (ATA-4, as quoted in facts of drives;
    /// HC310 clause 9.4.2): the one command that is harmless.
    #[test]
    fn in_a_day_a_sleeping_disk_is_asked_whether_it_sleeps_and_nothing_else() {
        let mut disk = Disk { count: 0x00, sent: Vec::new() };
        let asked_at = day(&mut disk, |_| false, 24);
        assert_eq!(asked_at.len(), 144, "every ten minutes");
        assert_eq!(disk.sent.len(), 144);
        assert!(disk.sent.iter().all(|command| *command == Command::Ata(Ata::CheckPowerMode)));
    }

    #[test]
    fn a_disk_in_use_is_asked_every_minute() {
        let mut disk = Disk { count: 0xFF, sent: Vec::new() };
        let asked_at = day(&mut disk, |_| true, 1);
        assert_eq!(asked_at.len(), 60);
    }

    #[test]
    fn a_disk_that_never_sleeps_although_idle_is_asked_more_seldom_after_a_day() {
        let mut disk = Disk { count: 0x80, sent: Vec::new() };
        let asked_at = day(&mut disk, |_| false, 48);
        let gaps: Vec<u64> = asked_at.windows(2).map(|pair| pair[1] - pair[0]).collect();
        assert!(gaps[..143].iter().all(|&gap| gap == 600), "the first day");
        assert!(gaps[145..].iter().all(|&gap| gap == 3600), "the second day");
    }

    fn at(second: u64) -> Moment {
        Moment::after_boot(Duration::from_secs(second))
    }

    /// An idle disk that has been asked at `second`, and told that a test runs or not.
    fn asked(second: u64, is_running: bool) -> Manners {
        let mut manners = Manners::new(true);
        manners.saw(false, at(second));
        manners.asked(at(second));
        manners.told_health(false, at(second));
        manners.told_tests(is_running, false, at(second));
        manners
    }

    fn request(step: Option<SelfTestStep>, second: u64) -> Request {
        Request { step, by: AskedBy::Owner, at: at(second) }
    }

    #[test]
    fn a_request_is_put_to_the_drive_at_once_and_once() {
        let mut manners = asked(0, false);
        assert_eq!(manners.wish(at(2)), None);
        manners.request(request(Some(SelfTestStep::Short), 2));
        let wish = manners.wish(at(4)).expect("the owner waits");
        assert_eq!((wish.step, wish.self_tests, wish.by_owner), (Some(SelfTestStep::Short), true, true));
        assert_eq!(manners.asked(at(4)), Some(request(Some(SelfTestStep::Short), 2)));
        assert_eq!((manners.wish(at(6)), manners.has_request()), (None, false));
    }

    #[test]
    fn a_request_that_found_no_ear_within_a_minute_is_void() {
        let mut manners = asked(0, false);
        let wanted = request(Some(SelfTestStep::Extended), 2);
        manners.request(wanted);
        assert_eq!(manners.void_request(at(61)), None);
        assert_eq!(manners.void_request(at(62)), Some(wanted));
        assert_eq!((manners.wish(at(62)), manners.void_request(at(62))), (None, None));
    }

    #[test]
    fn how_a_test_goes_on_is_asked_by_its_length() {
        let next = |manners: &Manners| (1..=1200).find(|&second| manners.wish(at(second)).is_some());
        assert_eq!(next(&asked(0, true)), Some(60), "nobody said that it is a short one");
        let mut short = Manners::new(true);
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
        let mut manners = asked(0, false);
        manners.saw(true, at(60));
        assert!(manners.wish(at(60)).is_some_and(|wish| !wish.self_tests));
        assert!(manners.wish(at(30 * 60)).is_some_and(|wish| wish.self_tests && !wish.by_owner));
        let idle = asked(0, false);
        assert!(idle.wish(at(30 * 60)).is_some_and(|wish| !wish.self_tests), "but not one that nobody uses");
        let mut failed = asked(0, false);
        failed.told_tests(false, true, at(0));
        assert_eq!(failed.wish(at(2)), None);
        assert!(failed.wish(at(600)).is_some_and(|wish| wish.self_tests), "unless what it told was news");
    }
}
