//! When the next round is run: by the pace, or soon after something has called. Pure; now is an argument.

use crate::clock::Moment;
use std::time::Duration;

/// Time between two rounds when nothing calls.
pub const PACE: Duration = Duration::from_secs(2);
/// Time between the first round and the second, whatever calls: a rate needs two, and slow parts need time to answer.
pub const FIRST_PACE: Duration = Duration::from_secs(1);
/// After a call the round waits so long for what belongs to it: one pulled drive is a dozen messages.
const SETTLE: Duration = Duration::from_millis(50);
/// From one round to one that was called for: a failing md member calls a thousand times a second.
const GAP: Duration = Duration::from_millis(250);
/// So many rounds in a row with calls, five seconds at least, are a storm: nobody is listened to until one pace was calm.
const STORM: u32 = 20;

/// What is to be done now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Step {
    /// Run a round.
    Round,
    /// Wait for so long. Calls end it early when `listening`; they are not lost when not.
    Wait { left: Duration, listening: bool },
}

/// What the next step follows from.
#[derive(Debug)]
pub struct Pacing {
    /// The last round; none yet.
    last: Option<Moment>,
    /// From it to the next one that nobody called for.
    pace: Duration,
    /// From it to the next one that was called for.
    gap: Duration,
    /// Something has called since.
    called: bool,
    /// Nobody is listened to before.
    settled_at: Moment,
    /// Rounds in a row with calls between them.
    in_a_row: u32,
}

impl Pacing {
    /// Before the first round, which is due at once.
    pub fn new() -> Self {
        let settled_at = Moment::default();
        Self { last: None, pace: FIRST_PACE, gap: FIRST_PACE, called: false, settled_at, in_a_row: 0 }
    }

    /// What is to be done at `now`.
    pub fn step(&self, now: Moment) -> Step {
        let Some(last) = self.last else { return Step::Round };
        let by_pace = last.plus(self.pace);
        let due = if self.called { by_pace.min(self.settled_at.max(last.plus(self.gap))) } else { by_pace };
        if now >= due {
            return Step::Round;
        }
        let unheard = if self.called || self.in_a_row >= STORM { due } else { due.min(self.settled_at) };
        match unheard.since(now) {
            Duration::ZERO => Step::Wait { left: due.since(now), listening: true },
            left => Step::Wait { left, listening: false },
        }
    }

    /// A wait was ended early, by a call that counts or by one about something else.
    pub fn woken(&mut self, now: Moment, counts: bool) {
        self.settled_at = now.plus(SETTLE);
        self.called |= counts;
    }

    /// A round begins; `called_late` when calls were found only now, after a wait without listening.
    pub fn round(&mut self, now: Moment, called_late: bool) {
        (self.pace, self.gap) = if self.last.is_some() { (PACE, GAP) } else { (FIRST_PACE, FIRST_PACE) };
        self.in_a_row = if self.called || called_late { self.in_a_row.saturating_add(1) } else { 0 };
        self.called = false;
        self.last = Some(now);
    }
}
