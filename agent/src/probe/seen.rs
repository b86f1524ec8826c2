//! One drive as the probe has seen it so far: who it is, what it moved, what it told. What of it may be asked when is in
//! [`super::manners`].

use super::manners::{Manners, Request};
use super::schedule::Candidate;
use crate::clock::{Clock, Moment};
use crate::reading::{
    AskedBy, Counter, Drive, DriveKind, Health, Missing, OwnLimits, Power, Reading, Reason, SelfAssessment,
    SelfTestStep, SelfTests, Source, TestOutcome, TestRequest, Traffic,
};
use crate::sense::ask::drive::Asker;
use crate::sense::ask::{self, Told};
use crate::sense::drives::{self, Identity, Spotted};
use crate::sense::host::Host;
use crate::sense::parse::block::Stat;
use crate::sense::parse::rate::{Count, rate};
use crate::units::{BytesPerSecond, Celsius};
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// A drive that has had work for so long and finished none is not asked anything on top.
const STUCK_AFTER: Duration = Duration::from_secs(5);

/// A drive as seen so far.
pub struct SeenDrive {
    /// Which appearance of which drive.
    pub spotted: Spotted,
    /// Who it is.
    pub identity: Identity,
    /// Shared with the drive's worker; at most one question is under way, so nobody waits for it.
    asker: Option<Arc<Mutex<Asker>>>,
    manners: Manners,
    stat: Option<(Stat, Moment)>,
    stalled_since: Option<Moment>,
    traffic: Reading<Traffic>,
    power: Reading<Power>,
    temperature: Reading<Celsius>,
    told_limits: OwnLimits,
    health: Reading<Health>,
    self_tests: Reading<SelfTests>,
    /// The request that the drive is asked right now.
    under_way: Option<Request>,
    test_request: Option<TestRequest>,
}

impl SeenDrive {
    /// A drive that has just been spotted.
    pub fn new(host: &Host, spotted: Spotted, now: Moment) -> Self {
        let identity = drives::identify(host, &spotted, now);
        // A recorded tree has no drives to send commands to.
        let asker =
            host.is_live().then(|| Asker::new(host, &spotted.device, &identity, drives::bridge(host, &spotted)));
        Self {
            manners: Manners::new(identity.kind != DriveKind::Ssd),
            spotted,
            asker: asker.map(|asker| Arc::new(Mutex::new(asker))),
            stat: None,
            stalled_since: None,
            traffic: Reading::new(Err(first_count()), now, Source::Sysfs),
            power: Reading::new(Err(not_yet()), now, Source::Drive),
            temperature: Reading::new(Err(no_temperature(&identity)), now, Source::Hwmon),
            told_limits: OwnLimits::default(),
            health: Reading::new(Err(not_yet()), now, Source::Drive),
            self_tests: Reading::new(Err(not_yet()), now, Source::Drive),
            under_way: None,
            test_request: None,
            identity,
        }
    }

    /// Looks again at who it is: udev may have learned more since, or a driver was loaded.
    pub fn identify(&mut self, host: &Host, now: Moment) {
        let mut again = drives::identify(host, &self.spotted, now);
        // What is known of a drive hangs on its key, so that stays while the drive does.
        if again.serial == self.identity.serial {
            again.key = self.identity.key.clone();
        }
        if again != self.identity {
            self.identity = again;
            if host.is_live() {
                let bridge = drives::bridge(host, &self.spotted);
                let asker = Asker::new(host, &self.spotted.device, &self.identity, bridge);
                self.asker = Some(Arc::new(Mutex::new(asker)));
            }
        }
    }

    /// Takes in its counters; the kernel has them in memory.
    pub fn count(&mut self, host: &Host, now: Moment) {
        // Without time between two looks there is no rate, and what moved must be left for the next one.
        if self.stat.is_some_and(|(_, last)| now <= last) {
            return;
        }
        let read = drives::counters(host, &self.spotted.device);
        let before = self.stat;
        let finished = |stat: &Stat| (stat.reads, stat.writes);
        let used = match (&read, before) {
            (Ok(stat), Some((last, _))) => finished(stat) != finished(&last),
            _ => false,
        };
        self.manners.saw(used, now);
        if used && self.power.get() == Some(&Power::Asleep) {
            self.power = Reading::new(Ok(Power::Active), now, Source::Sysfs);
        }
        let has_work = drives::in_flight(host, &self.spotted.device).is_ok_and(|requests| requests > 0);
        self.stalled_since = if has_work && !used { self.stalled_since.or(Some(now)) } else { None };
        self.traffic = Reading::new(self.traffic_since(before, &read, now), now, Source::Sysfs);
        self.stat = read.ok().map(|stat| (stat, now));
    }

    fn traffic_since(
        &self,
        before: Option<(Stat, Moment)>,
        read: &Result<Stat, Missing>,
        now: Moment,
    ) -> Result<Traffic, Missing> {
        let stat = read.clone()?;
        let (last, then) = before.ok_or_else(first_count)?;
        let instance = self.spotted.instance;
        let bytes = |old: u64, new: u64| {
            let sectors = rate(Count { value: old, at: then, instance }, Count { value: new, at: now, instance })?;
            Ok(BytesPerSecond(sectors * 512.0))
        };
        Ok(Traffic {
            inward: bytes(last.sectors_read, stat.sectors_read)?,
            outward: bytes(last.sectors_written, stat.sectors_written)?,
        })
    }

    /// What to ask the drive now, if anything: to be answered by its worker.
    pub fn question(
        &mut self,
        host: &Host,
        clock: &Clock,
        now: Moment,
    ) -> Option<impl FnOnce() -> (Told, Moment) + use<>> {
        if let Some(void) = self.manners.void_request(now) {
            self.answer(void, Err(Missing::new(Reason::TimedOut, "the drive had no time for another question")), now);
        }
        if drives::is_suspended(host, &self.spotted.device) {
            self.sleeps(now, Source::Sysfs);
            return None;
        }
        if self.power.get() == Some(&Power::Asleep) && self.power.source == Source::Sysfs {
            self.woken(now);
        }
        if self.stalled_since.is_some_and(|since| now.since(since) >= STUCK_AFTER) {
            return None;
        }
        let wanted = self.manners.wish(now)?;
        let (host, clock, asker) = (host.clone(), clock.clone(), self.asker.clone());
        let thermometer = self.identity.thermometer.clone();
        let may_read_file = wanted.in_use || self.identity.kind == DriveKind::Ssd;
        Some(move || {
            let told = match asker {
                Some(asker) => match asker.lock() {
                    Ok(mut asker) => asker.ask(&host, wanted),
                    Err(_) => Told::only(Err(Missing::new(Reason::Unreadable, "an earlier question broke off"))),
                },
                None => {
                    let power = Err(Missing::new(Reason::NotAsked, "a recorded tree has no drive to ask"));
                    let temperature =
                        thermometer.filter(|_| may_read_file).map(|file| drives::temperature(&host, &file));
                    Told { temperature, ..Told::only(power) }
                }
            };
            (told, clock.now())
        })
    }

    /// The worker has taken the question.
    pub fn asked(&mut self, now: Moment) {
        self.under_way = self.manners.asked(now).or(self.under_way);
    }

    /// Somebody wants to know of its self-tests or, with a step, that one begins or ends.
    pub fn request(&mut self, step: Option<SelfTestStep>, by: AskedBy, now: Moment) {
        self.manners.request(Request { step, by, at: now });
    }

    /// What the schedule of self-tests must know of it.
    pub fn candidate(&self) -> Candidate<'_> {
        Candidate {
            key: &self.identity.key,
            is_active: self.power.get() == Some(&Power::Active) && self.stalled_since.is_none(),
            is_used: self.manners.is_used(),
            has_disks: self.identity.kind != DriveKind::Ssd,
            self_tests: self.self_tests.get(),
            requested: self.test_request.as_ref().map(|request| request.at),
            is_pending: self.manners.has_request() || self.under_way.is_some(),
        }
    }

    /// Notes what came of a request for a step; a mere question has its answer in the readings.
    fn answer(&mut self, request: Request, answer: Result<(), Missing>, at: Moment) {
        if let Some(step) = request.step {
            self.test_request = Some(TestRequest { step, by: request.by, answer, at });
        }
    }

    /// Takes in an answer.
    pub fn take_in(&mut self, told: Told, at: Moment) {
        self.manners.told_power(told.power.as_ref().ok().copied());
        if let Some(request) = self.under_way.take() {
            let not_done = || match &told.power {
                Ok(Power::Asleep) => Missing::new(Reason::Asleep, ""),
                Ok(_) => Missing::new(Reason::NotAsked, "the talk broke off before"),
                Err(why) => why.clone(),
            };
            self.answer(request, told.step.unwrap_or_else(|| Err(not_done())), at);
        }
        if told.power == Ok(Power::Asleep) {
            return self.sleeps(at, Source::Drive);
        }
        self.power = Reading::new(told.power, at, Source::Drive);
        if let Some(temperature) = told.temperature {
            self.temperature = Reading::new(temperature, at, Source::Drive);
        }
        let OwnLimits { maximum, critical } = told.own_limits;
        self.told_limits = OwnLimits {
            maximum: maximum.or(self.told_limits.maximum),
            critical: critical.or(self.told_limits.critical),
        };
        if let Some(health) = told.health {
            let health = as_read(health);
            self.manners.told_health(is_news(self.health.get(), &health), at);
            self.health = Reading::new(Ok(health), at, Source::Drive);
        }
        if let Some(tests) = told.self_tests {
            let is_running = tests.as_ref().is_ok_and(SelfTests::is_running);
            let is_news = tests.as_ref().ok().is_some_and(|now| match self.self_tests.get() {
                Some(before) => failures(before) != failures(now) || before.is_running() != is_running,
                None => now.standing_failure().is_some(),
            });
            self.manners.told_tests(is_running, is_news, at);
            self.self_tests = Reading::new(tests, at, Source::Drive);
        }
    }

    /// No answer within the deadline.
    pub fn give_up(&mut self, why: Missing, now: Moment) {
        self.power = Reading::new(Err(why.clone()), now, Source::Drive);
        self.temperature = Reading::new(Err(why.clone()), now, Source::Drive);
        // A late answer may still come, and then it counts.
        if let Some(request) = self.under_way {
            self.answer(request, Err(why), now);
        }
    }

    /// A sleeping drive is healthy; what it told last stays, with its age.
    fn sleeps(&mut self, now: Moment, by: Source) {
        self.power = Reading::new(Ok(Power::Asleep), now, by);
        if self.temperature.get().is_none() {
            self.temperature = Reading::new(Err(Missing::new(Reason::Asleep, "")), now, Source::Drive);
        }
    }

    /// The kernel has woken it; how it is now, only an answer will tell.
    fn woken(&mut self, now: Moment) {
        self.power = Reading::new(Err(not_yet()), now, Source::Drive);
        if self.temperature.get().is_none() {
            self.temperature = Reading::new(Err(no_temperature(&self.identity)), now, Source::Drive);
        }
    }

    /// The reading to hand on.
    pub fn as_read(&self) -> Drive {
        let identity = self.identity.clone();
        Drive {
            key: identity.key,
            device: self.spotted.device.clone(),
            serial: identity.serial,
            wwn: identity.wwn,
            model: identity.model,
            bus: identity.bus,
            kind: identity.kind,
            port: identity.port,
            removable: identity.removable,
            size: identity.size,
            power: self.power.clone(),
            stalled_since: self.stalled_since,
            temperature: self.temperature.clone(),
            own_limits: OwnLimits {
                maximum: identity.own_limits.maximum.or(self.told_limits.maximum),
                critical: identity.own_limits.critical.or(self.told_limits.critical),
            },
            traffic: self.traffic.clone(),
            health: self.health.clone(),
            self_tests: self.self_tests.clone(),
            test_request: self.test_request.clone(),
        }
    }
}

fn not_yet() -> Missing {
    Missing::new(Reason::NotAsked, "not asked yet")
}

fn no_temperature(identity: &Identity) -> Missing {
    match identity.thermometer {
        Some(_) => Missing::new(Reason::NotAsked, "idle, left alone so that it can fall asleep"),
        None => Missing::new(Reason::NotFitted, "no driver offers it"),
    }
}

fn as_read(health: ask::Health) -> Health {
    let counters = health.counters.iter().map(|counter| Counter {
        name: counter.name.to_owned(),
        value: counter.value,
        origin: counter.origin.to_string(),
    });
    Health { assessment: health.assessment, counters: counters.collect(), unread: health.unread }
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

/// A rate needs two counts; this is the first.
pub fn first_count() -> Missing {
    Missing::new(Reason::NotAsked, "a rate needs two counts")
}
