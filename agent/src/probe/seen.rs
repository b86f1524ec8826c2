//! One drive as the probe has seen it so far: who it is and what it moved. What it told is in [`super::account`], and
//! what may be asked when in [`super::polling`].

use super::account::Account;
use super::polling::{DriveRequest, PollingPolicy};
use super::schedule::Candidate;
use crate::clock::{Clock, Moment};
use crate::reading::{
    AskedBy, Attachment, Bus, Drive, DriveKind, DriveUse, Missing, OwnLimits, Power, Reading, Reason, SelfTestStep,
    Source, TestRequest, Traffic, WhyMissing,
};
use crate::sense::ask::DriveAnswers;
use crate::sense::ask::drive::Asker;
use crate::sense::drives::{self, DriveIdentity, ListedDrive};
use crate::sense::host::Host;
use crate::sense::parse::rate::{CountedAt, rate};
use crate::sense::parse::sysfs::block::Stat;
use crate::sense::{attachment, uses};
use crate::units::BytesPerSecond;
use std::sync::{Arc, Mutex};
use std::time::Duration;

/// So long after a drive was spotted udev may still be asking it who it is.
const UDEV_ASKS: Duration = Duration::from_secs(15);
/// A drive that has had work for so long and finished none is not asked anything on top.
const STUCK_AFTER: Duration = Duration::from_secs(5);

/// A drive as seen so far.
pub struct SeenDrive {
    /// Which appearance of which drive.
    pub spotted: ListedDrive,
    /// Who it is.
    pub identity: DriveIdentity,
    spotted_at: Moment,
    /// Shared with the drive's worker; at most one question is under way, so nobody waits for it.
    asker: Option<Arc<Mutex<Asker>>>,
    polling: PollingPolicy,
    stat: Option<(Stat, Moment)>,
    stalled_since: Option<Moment>,
    traffic: Reading<Traffic>,
    told: Account,
    attachment: Attachment,
    uses: Reading<Vec<DriveUse>>,
    /// The request that the drive is asked right now.
    under_way: Option<DriveRequest>,
    test_request: Option<TestRequest>,
}

impl SeenDrive {
    /// A drive that has just been spotted.
    pub fn new(host: &Host, spotted: ListedDrive, now: Moment) -> Self {
        let identity = drives::identify(host, &spotted, now);
        // A recorded tree has no drives to send commands to.
        let asker =
            host.is_live().then(|| Asker::new(host, &spotted.device, &identity, drives::bridge(host, &spotted)));
        Self {
            polling: PollingPolicy::new(identity.kind != DriveKind::Ssd, identity.bus == Bus::Usb),
            attachment: attachment::attachment(host, &spotted, now),
            uses: Reading::new(uses::uses(host, &spotted.device), now, Source::Sysfs),
            spotted,
            spotted_at: now,
            asker: asker.map(|asker| Arc::new(Mutex::new(asker))),
            stat: None,
            stalled_since: None,
            traffic: Reading::new(Err(first_count()), now, Source::Sysfs),
            told: Account::new(no_temperature(&identity), now),
            under_way: None,
            test_request: None,
            identity,
        }
    }

    /// True while more may become known of it from moment to moment.
    pub fn is_new(&self, now: Moment) -> bool {
        now.since(self.spotted_at) < UDEV_ASKS
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
        self.polling.saw(used, now);
        if used && self.told.power.get() == Some(&Power::Asleep) {
            self.told.power = Reading::new(Ok(Power::Active), now, Source::Sysfs);
        }
        let has_work = drives::in_flight(host, &self.spotted.device).is_ok_and(|requests| requests > 0);
        self.stalled_since = if has_work && !used { self.stalled_since.or(Some(now)) } else { None };
        self.traffic = Reading::new(self.traffic_since(before, &read, now), now, Source::Sysfs);
        self.stat = read.ok().map(|stat| (stat, now));
    }

    /// Takes in how the kernel gets on with it.
    pub fn look_at_attachment(&mut self, host: &Host, now: Moment) {
        self.attachment = attachment::attachment(host, &self.spotted, now);
        self.uses = Reading::new(uses::uses(host, &self.spotted.device), now, Source::Sysfs);
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
            let sectors =
                rate(CountedAt { value: old, at: then, instance }, CountedAt { value: new, at: now, instance })?;
            Ok::<_, Missing>(BytesPerSecond(sectors * 512.0))
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
    ) -> Option<impl FnOnce() -> (DriveAnswers, Moment) + use<>> {
        if let Some(void) = self.polling.void_request(now) {
            self.answer(void, Err(Missing::from(WhyMissing::TooBusy)), now);
        }
        if drives::is_suspended(host, &self.spotted.device) {
            self.told.sleeps(now, Source::Sysfs);
            return None;
        }
        if self.told.power.get() == Some(&Power::Asleep) && self.told.power.source == Source::Sysfs {
            self.told.woken(no_temperature(&self.identity), now);
        }
        if self.stalled_since.is_some_and(|since| now.since(since) >= STUCK_AFTER) {
            return None;
        }
        let wanted = self.polling.wish(now)?;
        let (host, clock, asker) = (host.clone(), clock.clone(), self.asker.clone());
        let (thermometer, critical) = (self.identity.thermometer.clone(), self.identity.own_limits.critical);
        let may_read_file = wanted.in_use || self.identity.kind == DriveKind::Ssd;
        Some(move || {
            let told = match asker {
                Some(asker) => match asker.lock() {
                    Ok(mut asker) => asker.ask(&host, wanted),
                    Err(_) => DriveAnswers::only(Err(Missing::from(WhyMissing::Interrupted))),
                },
                None => {
                    let power = Err(Missing::from(WhyMissing::NotRecorded));
                    let temperature =
                        thermometer.filter(|_| may_read_file).map(|file| drives::temperature(&host, &file, critical));
                    DriveAnswers { temperature, ..DriveAnswers::only(power) }
                }
            };
            (told, clock.now())
        })
    }

    /// The worker has taken the question.
    pub fn asked(&mut self, now: Moment) {
        self.under_way = self.polling.asked(now).or(self.under_way);
    }

    /// Somebody wants to know of its self-tests or, with a step, that one begins or ends.
    pub fn request(&mut self, step: Option<SelfTestStep>, by: AskedBy, now: Moment) {
        self.polling.request(DriveRequest { step, by, at: now });
    }

    /// What the schedule of self-tests must know of it.
    pub fn candidate(&self) -> Candidate<'_> {
        Candidate {
            key: &self.identity.key,
            is_active: self.told.power.get() == Some(&Power::Active) && self.stalled_since.is_none(),
            is_used: self.polling.is_used(),
            has_disks: self.identity.kind != DriveKind::Ssd,
            self_tests: self.told.self_tests.get(),
            requested: self.test_request.as_ref().map(|request| request.at),
            is_pending: self.polling.has_request() || self.under_way.is_some(),
        }
    }

    /// Notes what came of a request for a step; a mere question has its answer in the readings.
    fn answer(&mut self, request: DriveRequest, answer: Result<(), Missing>, at: Moment) {
        if let Some(step) = request.step {
            self.test_request = Some(TestRequest { step, by: request.by, answer, at });
        }
    }

    /// Takes in an answer.
    pub fn take_in(&mut self, mut told: DriveAnswers, at: Moment) {
        self.polling.told_power(told.power.as_ref().ok().copied());
        if let Some(request) = self.under_way.take() {
            let not_done = || match &told.power {
                Ok(Power::Asleep) => Missing::of(Reason::Asleep),
                Ok(_) => Missing::from(WhyMissing::Interrupted),
                Err(why) => why.clone(),
            };
            self.answer(request, told.step.take().unwrap_or_else(|| Err(not_done())), at);
        }
        match told.broke_off {
            Some(_) => self.polling.broke_off(at),
            None => self.polling.came_to_an_end(),
        }
        if let Some(tests) = told.self_tests.take() {
            let tests = self.told.take_in_tests(tests, at);
            self.polling.told_tests(tests.is_running, tests.is_news, at);
        }
        if let Some(health) = self.told.take_in(told, at) {
            self.polling.told_health(health.is_news, at);
        }
    }

    /// No answer within the deadline.
    pub fn give_up(&mut self, why: Missing, now: Moment) {
        self.told.give_up(why.clone(), now);
        // A late answer may still come, and then it counts.
        if let Some(request) = self.under_way {
            self.answer(request, Err(why), now);
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
            power: self.told.power.clone(),
            stalled_since: self.stalled_since,
            temperature: self.told.temperature.clone(),
            own_limits: OwnLimits {
                maximum: identity.own_limits.maximum.or(self.told.limits.maximum),
                critical: identity.own_limits.critical.or(self.told.limits.critical),
            },
            traffic: self.traffic.clone(),
            attachment: self.attachment.clone(),
            uses: self.uses.clone(),
            health: self.told.health.clone(),
            self_tests: self.told.self_tests.clone(),
            test_request: self.test_request.clone(),
        }
    }
}

fn no_temperature(identity: &DriveIdentity) -> Missing {
    match identity.thermometer {
        Some(_) => Missing::from(WhyMissing::Idle),
        None => Missing::from(WhyMissing::NoDriver),
    }
}

/// A rate needs two counts; this is the first.
pub fn first_count() -> Missing {
    Missing::from(WhyMissing::FirstCount)
}
