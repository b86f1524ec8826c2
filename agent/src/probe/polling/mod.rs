//! When a drive may be asked what. Asking too often keeps a disk from falling asleep; a disk that somebody uses is
//! awake anyway. One that fell silent is left alone for a while: the kernel resets it each time. Pure: the time comes
//! in, a wish or none goes out.

use crate::clock::Moment;
use crate::reading::{AskedBy, Power, SelfTestStep};
use crate::sense::ask::DriveQuestions;
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

/// A drive that fell silent is left alone for so long: after the first session that broke off, the second in a row, and
/// each further one.
const LEFT_ALONE: [Duration; 3] = [Duration::from_secs(60), Duration::from_secs(10 * 60), Duration::from_secs(3600)];
/// The same behind a USB bridge, where the reset takes every drive along that shares it.
const BRIDGE_LEFT_ALONE: [Duration; 3] =
    [Duration::from_secs(3600), Duration::from_secs(24 * 3600), Duration::from_secs(24 * 3600)];
/// What a drive has refused is asked once more after this. Most refusals last for the drive's life, and each costs a
/// halt of its port of some 50 ms; but one may have come of a reset, and must not silence the drive until it is
/// plugged anew.
const AFRESH_EVERY: Duration = Duration::from_secs(24 * 3600);

/// A wish about self-tests that goes before all rules of polling, but never before sleep.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct DriveRequest {
    /// What to do, if it is more than a question.
    pub step: Option<SelfTestStep>,
    /// Who wants it.
    pub by: AskedBy,
    /// When it came.
    pub at: Moment,
}

/// What is remembered to be polite to one drive.
#[derive(Debug, Clone)]
pub struct PollingPolicy {
    has_disks: bool,
    left_alone: [Duration; 3],
    asked: Option<Moment>,
    told_health: Option<Moment>,
    told_tests: Option<Moment>,
    /// While a test runs: how often to ask how it goes on.
    test_every: Option<Duration>,
    last_step: Option<SelfTestStep>,
    request: Option<DriveRequest>,
    /// Somebody else used the drive since it was last asked.
    used: bool,
    /// Since when nobody used it, and it was not seen asleep either.
    restless_since: Option<Moment>,
    /// How many sessions in a row broke off.
    broken_off: usize,
    /// Left alone until then.
    quiet_until: Option<Moment>,
    asked_afresh: Option<Moment>,
}

impl PollingPolicy {
    /// For a drive with turning disks or without, behind a USB bridge or not.
    pub fn new(has_disks: bool, behind_bridge: bool) -> Self {
        Self {
            has_disks,
            left_alone: if behind_bridge { BRIDGE_LEFT_ALONE } else { LEFT_ALONE },
            asked: None,
            told_health: None,
            told_tests: None,
            test_every: None,
            last_step: None,
            request: None,
            used: false,
            restless_since: None,
            broken_off: 0,
            quiet_until: None,
            asked_afresh: None,
        }
    }

    /// Takes in whether anybody used the drive since the look before.
    pub fn saw(&mut self, used: bool, now: Moment) {
        self.used |= used;
        self.restless_since = if used { None } else { self.restless_since.or(Some(now)) };
    }

    /// What may be asked now, if anything.
    pub fn wish(&self, now: Moment) -> Option<DriveQuestions> {
        if self.quiet_until.is_some_and(|end| now < end) {
            return None;
        }
        let restless = self.restless_since.is_some_and(|since| now.since(since) >= RESTLESS_AFTER);
        let every = match (self.has_disks && !self.used, restless) {
            (false, _) => IN_USE_EVERY,
            (true, false) => IDLE_EVERY,
            (true, true) => RESTLESS_EVERY,
        };
        let health = now.is_due(self.told_health, HEALTH_EVERY);
        let goes_on = self.test_every.is_some_and(|every| now.is_due(self.told_tests.max(self.asked), every));
        let in_passing = match self.told_tests {
            None => true,
            told => now.is_due(told, TESTS_EVERY) && (self.used || !self.has_disks),
        };
        let request = self.request;
        (request.is_some() || goes_on || now.is_due(self.asked, every)).then(|| DriveQuestions {
            temperature: true,
            health,
            self_tests: request.is_some() || goes_on || health || in_passing,
            step: request.and_then(|request| request.step),
            by_owner: request.is_some_and(|request| request.by == AskedBy::Owner),
            in_use: self.used,
            afresh: now.is_due(self.asked_afresh, AFRESH_EVERY),
        })
    }

    /// Somebody wants something of its self-tests.
    pub fn request(&mut self, request: DriveRequest) {
        self.request = Some(request);
    }

    /// True while a request waits for the drive to be asked.
    pub fn has_request(&self) -> bool {
        self.request.is_some()
    }

    /// The request that could not be put to the drive in time, once.
    pub fn void_request(&mut self, now: Moment) -> Option<DriveRequest> {
        self.request.take_if(|request| now.since(request.at) >= REQUEST_LASTS)
    }

    /// Somebody else used the drive since it was last asked.
    pub fn is_used(&self) -> bool {
        self.used
    }

    /// The drive was asked; the request that was put to it, if there was one.
    pub fn asked(&mut self, now: Moment) -> Option<DriveRequest> {
        self.asked = Some(now);
        self.used = false;
        if now.is_due(self.asked_afresh, AFRESH_EVERY) {
            self.asked_afresh = Some(now);
        }
        let request = self.request.take();
        self.last_step = request.and_then(|request| request.step).or(self.last_step);
        request
    }

    /// The drive fell silent in the midst of a session, which ended then.
    pub fn broke_off(&mut self, at: Moment) {
        let [first, second, further] = self.left_alone;
        let wait = match self.broken_off {
            0 => first,
            1 => second,
            _ => further,
        };
        self.broken_off += 1;
        self.quiet_until = Some(at.plus(wait));
    }

    /// A session came to its end.
    pub fn came_to_an_end(&mut self) {
        self.broken_off = 0;
        self.quiet_until = None;
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
mod tests;
