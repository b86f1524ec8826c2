//! What one drive has told so far, and when. A newer word replaces an older one; a session that broke off replaces no
//! health, and a late answer no newer reading. Pure: the time comes in.

use crate::clock::Moment;
use crate::reading::{
    Counter, Health, Missing, OwnLimits, Power, Reading, Reason, SelfAssessment, SelfTests, Source, TestOutcome,
    WhyMissing,
};
use crate::sense::ask::{self, DriveAnswers};
use crate::units::Celsius;

/// Degrees a minute (common practice, no source).
const FASTEST_PER_MINUTE: f64 = 15.0;

/// The account of one drive.
#[derive(Debug, Clone, PartialEq)]
pub struct Account {
    /// Whether it sleeps.
    pub power: Reading<Power>,
    /// Temperature inside it.
    pub temperature: Reading<Celsius>,
    /// What it told last, where that is too far from what it told before to be believed at once.
    doubted: Option<Celsius>,
    /// The limits that it has stated itself.
    pub limits: OwnLimits,
    /// Its health, by the newest session about it that came to its end.
    pub health: Reading<Health>,
    /// How its self-tests stand.
    pub self_tests: Reading<SelfTests>,
}

impl Account {
    /// Nothing was told yet; `no_temperature` says why there is none.
    pub fn new(no_temperature: Missing, now: Moment) -> Self {
        Self {
            power: Reading::new(Err(not_yet()), now, Source::Drive),
            temperature: Reading::new(Err(no_temperature), now, Source::Hwmon),
            doubted: None,
            limits: OwnLimits::default(),
            health: Reading::new(Err(not_yet()), now, Source::Drive),
            self_tests: Reading::new(Err(not_yet()), now, Source::Drive),
        }
    }

    /// Takes in what the drive told at that moment. What is news about its health comes back as such.
    pub fn take_in(&mut self, told: DriveAnswers, at: Moment) -> Option<HealthTold> {
        if told.power == Ok(Power::Asleep) {
            self.sleeps(at, Source::Drive);
            return None;
        }
        renew(&mut self.power, Reading::new(told.power, at, Source::Drive));
        if let Some(temperature) = told.temperature.filter(|told| !self.is_doubtful(told, at)) {
            renew(&mut self.temperature, Reading::new(temperature, at, Source::Drive));
        }
        let OwnLimits { maximum, critical } = told.own_limits;
        self.limits =
            OwnLimits { maximum: maximum.or(self.limits.maximum), critical: critical.or(self.limits.critical) };
        if let Some(why) = &told.broke_off {
            self.nothing_told(why.clone(), at);
        }
        if let Ok(health) = &mut self.health.value {
            health.broke_off = told.broke_off;
        }
        let health = as_read(told.health?);
        let is_news = is_news(self.health.get(), &health);
        self.health = Reading::new(Ok(health), at, Source::Drive);
        Some(HealthTold { is_news })
    }

    /// Takes in what the drive told of its self-tests.
    pub fn take_in_tests(&mut self, told: Result<SelfTests, Missing>, at: Moment) -> TestsTold {
        let is_running = told.as_ref().is_ok_and(SelfTests::is_running);
        let is_news = told.as_ref().is_ok_and(|now| match self.self_tests.get() {
            Some(before) => failures(before) != failures(now) || before.is_running() != is_running,
            None => now.standing_failure().is_some(),
        });
        renew(&mut self.self_tests, Reading::new(told, at, Source::Drive));
        TestsTold { is_running, is_news }
    }

    /// No body of that size warms or cools so fast, so a leap is believed only when the next reading agrees; until then the
    /// value before it stays, with its age.
    fn is_doubtful(&mut self, told: &Result<Celsius, Missing>, at: Moment) -> bool {
        let (Ok(now), Some(before)) = (told, self.temperature.get()) else { return false };
        let minutes = at.since(self.temperature.taken).as_secs_f64() / 60.0;
        let leaps = (now.0 - before.0).abs() > FASTEST_PER_MINUTE * minutes.max(1.0);
        let agrees = self.doubted.is_some_and(|doubted| (now.0 - doubted.0).abs() <= FASTEST_PER_MINUTE);
        self.doubted = leaps.then_some(*now);
        leaps && !agrees
    }

    /// No answer within the deadline.
    pub fn give_up(&mut self, why: Missing, now: Moment) {
        self.power = Reading::new(Err(why.clone()), now, Source::Drive);
        self.temperature = Reading::new(Err(why.clone()), now, Source::Drive);
        self.nothing_told(why, now);
    }

    /// Why there is no health and no word of self-tests, as long as none was told; what was told stays, with its age.
    fn nothing_told(&mut self, why: Missing, now: Moment) {
        if self.health.get().is_none() {
            self.health = Reading::new(Err(why.clone()), now, Source::Drive);
        }
        if self.self_tests.get().is_none() {
            self.self_tests = Reading::new(Err(why), now, Source::Drive);
        }
    }

    /// A sleeping drive is healthy; what it told last stays, with its age.
    pub fn sleeps(&mut self, now: Moment, by: Source) {
        renew(&mut self.power, Reading::new(Ok(Power::Asleep), now, by));
        if self.temperature.get().is_none() {
            self.temperature = Reading::new(Err(Missing::of(Reason::Asleep)), now, Source::Drive);
        }
        self.nothing_told(Missing::of(Reason::Asleep), now);
    }

    /// The kernel has woken it; how it is now, only an answer will tell.
    pub fn woken(&mut self, no_temperature: Missing, now: Moment) {
        self.power = Reading::new(Err(not_yet()), now, Source::Drive);
        if self.temperature.get().is_none() {
            self.temperature = Reading::new(Err(no_temperature), now, Source::Drive);
        }
        self.nothing_told(not_yet(), now);
    }
}

/// The drive told its health.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct HealthTold {
    /// What matters most has changed, or looks bad at first sight.
    pub is_news: bool,
}

/// The drive told of its self-tests.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct TestsTold {
    /// One runs.
    pub is_running: bool,
    /// A failure is new on its record, or one has begun or ended.
    pub is_news: bool,
}

/// A value stays against an older answer that came late; a mere reason for none does not.
fn renew<T>(reading: &mut Reading<T>, new: Reading<T>) {
    if reading.get().is_none() || new.taken >= reading.taken {
        *reading = new;
    }
}

fn not_yet() -> Missing {
    Missing::from(WhyMissing::Pending)
}

fn as_read(health: ask::Health) -> Health {
    let counters = health.counters.iter().map(|counter| Counter {
        name: counter.name.to_owned(),
        value: counter.value,
        origin: counter.origin.to_string(),
    });
    Health {
        assessment: health.assessment,
        counters: counters.collect(),
        newest_error: health.newest_error,
        recovery_limit: health.recovery_limit,
        unread: health.unread,
        broke_off: None,
    }
}

/// True when what matters most has changed since the reading before, or looks bad in the first.
fn is_news(before: Option<&Health>, now: &Health) -> bool {
    const MATTERS: [&str; 6] = [
        "pending_sectors",
        "reallocated_sectors",
        "offline_uncorrectable_sectors",
        "reported_uncorrectable_errors",
        "media_errors",
        "wear_used_percent",
    ];
    let told = |health: &Health| -> Vec<i64> {
        let matters = health.counters.iter().filter(|counter| MATTERS.contains(&counter.name.as_str()));
        matters.map(|counter| counter.value).collect()
    };
    let fails = now.assessment == Ok(SelfAssessment::Failing);
    match before {
        Some(before) => before.assessment != now.assessment || told(before) != told(now),
        None => fails || now.counters.iter().any(|counter| counter.name == "pending_sectors" && counter.value > 0),
    }
}

/// Which failures of self-tests a drive has on its record, by their hours.
fn failures(tests: &SelfTests) -> Vec<u64> {
    let failed = tests.past.iter().filter(|test| test.outcome == TestOutcome::Failed);
    failed.map(|test| test.power_on_hours).collect()
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::sense::parse::counter::{self, CounterOrigin, CounterUnit};
    use std::time::Duration;

    fn at(seconds: u64) -> Moment {
        Moment::after_boot(Duration::from_secs(seconds))
    }

    fn silent() -> Missing {
        Missing::from(WhyMissing::KernelGaveUp)
    }

    fn nothing_told() -> Account {
        Account::new(Missing::from(WhyMissing::NoDriver), at(0))
    }

    /// Some flash drives tell nonsense for a moment when they wake.
    #[test]
    fn a_leap_in_temperature_is_believed_when_it_is_told_twice() {
        let mut account = nothing_told();
        let mut told = |degrees, seconds| {
            account.take_in(warm(degrees), at(seconds));
            account.temperature.get().map(|celsius| celsius.0)
        };
        assert_eq!(told(36.0, 0), Some(36.0), "the first has nothing to leap from");
        assert_eq!(told(51.0, 60), Some(51.0), "15 degrees in a minute can be");
        assert_eq!(told(88.0, 120), Some(51.0), "a leap");
        assert_eq!(told(52.0, 180), Some(52.0), "that was none");
        assert_eq!(told(90.0, 240), Some(52.0), "another");
        assert_eq!(told(91.0, 300), Some(91.0), "that is one");
        assert_eq!(told(38.0, 1_200), Some(38.0), "in a quarter of an hour it may cool that far");
    }

    /// What was told before stays; where nothing was, the reason is the true one.
    #[test]
    fn a_drive_that_sleeps_or_is_silent_has_that_as_the_reason_for_no_health() {
        let why = |account: &Account| account.health.missing().map(|why| why.reason);
        let mut account = nothing_told();
        account.take_in(DriveAnswers::only(Ok(Power::Asleep)), at(1));
        assert_eq!(why(&account), Some(Reason::Asleep));
        account.woken(silent(), at(2));
        assert_eq!(why(&account), Some(Reason::NotRead));
        account.give_up(silent(), at(3));
        assert_eq!(why(&account), Some(Reason::TimedOut));
        account.take_in(whole(0), at(4));
        account.give_up(silent(), at(5));
        account.sleeps(at(6), Source::Drive);
        assert_eq!((why(&account), account.health.taken), (None, at(4)));
    }

    /// A session of an active drive at this temperature.
    fn warm(degrees: f64) -> DriveAnswers {
        DriveAnswers { temperature: Some(Ok(Celsius(degrees))), ..DriveAnswers::only(Ok(Power::Active)) }
    }

    /// The same, with so many pending sectors.
    fn whole(pending: i64) -> DriveAnswers {
        let counter =
            counter::DecodedCounter::new("pending_sectors", pending, CounterUnit::Count, CounterOrigin::Attribute(197));
        let health = ask::Health {
            assessment: Ok(SelfAssessment::Passed),
            counters: vec![counter],
            newest_error: Ok(None),
            recovery_limit: Err(crate::sense::ask::recovery_not_asked()),
            unread: Vec::new(),
        };
        DriveAnswers { health: Some(health), ..warm(36.0) }
    }

    fn broken() -> DriveAnswers {
        DriveAnswers {
            temperature: Some(Err(silent())),
            broke_off: Some(silent()),
            ..DriveAnswers::only(Ok(Power::Active))
        }
    }

    #[test]
    fn a_session_that_broke_off_leaves_the_health_told_before_and_says_so() {
        let mut drive = nothing_told();
        assert_eq!(drive.take_in(whole(3), at(10)), Some(HealthTold { is_news: true }));
        let before = drive.health.clone();

        assert_eq!(drive.take_in(broken(), at(100)), None);
        assert_eq!(drive.health.taken, at(10), "with its age");
        let kept = drive.health.get().unwrap();
        assert_eq!((&kept.counters, &kept.broke_off), (&before.get().unwrap().counters, &Some(silent())));
        assert_eq!(drive.temperature.missing(), Some(&silent()), "a temperature is of now or not at all");

        assert_eq!(drive.take_in(whole(3), at(200)), Some(HealthTold { is_news: false }));
        assert_eq!((drive.health.taken, &drive.health.get().unwrap().broke_off), (at(200), &None));
    }

    #[test]
    fn a_first_session_that_broke_off_is_the_reason_for_no_health() {
        let mut drive = nothing_told();
        drive.take_in(broken(), at(10));
        assert_eq!(drive.health.missing(), Some(&silent()));
        drive.take_in(warm(36.0), at(20));
        assert_eq!(drive.health.missing(), Some(&silent()), "nobody has asked since");
    }

    /// The kernel may let a command return long after anybody waits for it.
    #[test]
    fn an_answer_after_the_deadline_is_an_answer_but_never_beats_a_newer_reading() {
        let mut drive = nothing_told();
        drive.give_up(silent(), at(30));
        drive.take_in(warm(41.0), at(29));
        assert_eq!(drive.temperature.get(), Some(&Celsius(41.0)), "late, and better than none");
        assert_eq!(drive.temperature.taken, at(29));

        drive.sleeps(at(40), Source::Sysfs);
        drive.take_in(warm(44.0), at(35));
        assert_eq!(drive.power, Reading::new(Ok(Power::Asleep), at(40), Source::Sysfs));
        drive.take_in(warm(45.0), at(50));
        drive.take_in(warm(43.0), at(45));
        assert_eq!((drive.temperature.get(), drive.temperature.taken), (Some(&Celsius(45.0)), at(50)));
    }

    #[test]
    fn a_drive_that_sleeps_keeps_what_it_told_with_its_age() {
        let mut drive = nothing_told();
        drive.take_in(whole(0), at(10));
        drive.take_in(DriveAnswers::only(Ok(Power::Asleep)), at(100));
        assert_eq!((drive.power.get(), drive.temperature.taken), (Some(&Power::Asleep), at(10)));
        drive.woken(Missing::from(WhyMissing::Idle), at(110));
        assert_eq!((drive.power.get(), drive.health.taken), (None, at(10)));
    }

    #[test]
    fn what_a_drive_stated_once_of_its_limits_stays() {
        let mut drive = nothing_told();
        let limits = OwnLimits { maximum: Some(Celsius(60.0)), critical: None };
        drive.take_in(DriveAnswers { own_limits: limits, ..whole(0) }, at(10));
        drive.take_in(warm(36.0), at(20));
        assert_eq!(drive.limits, limits);
    }

    #[test]
    fn a_new_failure_and_the_end_of_a_self_test_are_news() {
        use crate::reading::{PastTest, SelfTest, TestKind};
        let failed = PastTest {
            kind: TestKind::Short,
            outcome: TestOutcome::Failed,
            power_on_hours: 9_000,
            age_hours: None,
            failed_at_lba: None,
        };
        let tests = |now, past: &[PastTest]| {
            Ok(SelfTests { now, past: past.to_vec(), short_minutes: None, extended_minutes: None })
        };
        let running = SelfTest::Running { remaining_percent: Some(50) };
        let mut drive = nothing_told();
        let mut told = |tests, second| {
            let TestsTold { is_running, is_news } = drive.take_in_tests(tests, at(second));
            (is_running, is_news)
        };
        assert_eq!(told(tests(SelfTest::Passed, &[]), 10), (false, false));
        assert_eq!(told(tests(running, &[]), 20), (true, true));
        assert_eq!(told(tests(running, &[]), 30), (true, false));
        assert_eq!(told(tests(SelfTest::Failed, &[failed]), 40), (false, true));
        assert_eq!(told(tests(SelfTest::Failed, &[failed]), 50), (false, false));
        drive.sleeps(at(60), Source::Drive);
        assert_eq!(drive.self_tests.taken, at(50), "what it told stays, with its age");
    }
}
