//! When the next round is run: by the pace, or soon after something has called. Pure; now is an argument.

use crate::clock::Moment;
use crate::reading::{Event, EventKind, Part};
use std::time::Duration;

/// Time between two rounds when nothing calls.
pub const PACE: Duration = Duration::from_secs(2);
/// Time between the first round and the second, whatever calls: a rate needs two, and slow parts need time to answer.
pub const FIRST_PACE: Duration = Duration::from_secs(1);
/// After a call the round waits so long for what belongs to it: one pulled drive is a dozen messages.
const SETTLE: Duration = Duration::from_millis(50);
/// From one round to one that was called for: a failing md member calls a thousand times a second.
const GAP: Duration = Duration::from_millis(250);
/// From a round that noticed a drive's loss to the next: what confirms it, such as the list of drives or the state of its
/// pool, may follow without a call.
const CONFIRM: Duration = Duration::from_millis(500);
/// So many rounds in a row with calls, about five seconds, are a storm: nobody is listened to until one pace was calm.
const STORM: u32 = 20;

/// What is to be done now.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum PacingStep {
    /// Run a round.
    Round,
    /// Wait for so long. Calls end it early when `listening`; they are not lost when not.
    Wait {
        /// How long.
        left: Duration,
        /// Whether calls count.
        listening: bool,
    },
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
    pub fn step(&self, now: Moment) -> PacingStep {
        let Some(last) = self.last else { return PacingStep::Round };
        let by_pace = last.plus(self.pace);
        let due = if self.called { by_pace.min(self.settled_at.max(last.plus(self.gap))) } else { by_pace };
        if now >= due {
            return PacingStep::Round;
        }
        let until = if self.called || self.in_a_row >= STORM { due } else { due.min(self.settled_at) };
        match until.since(now) {
            Duration::ZERO => PacingStep::Wait { left: due.since(now), listening: true },
            left => PacingStep::Wait { left, listening: false },
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

    /// A round has ended, with these events.
    pub fn round_ended(&mut self, events: &[Event]) {
        let is_loss = |event: &Event| event.what == EventKind::Vanished && matches!(event.part, Part::Drive(_));
        if events.iter().any(is_loss) {
            self.pace = self.pace.min(CONFIRM);
        }
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{DriveKey, EventSource};

    /// Plays the probe's loop against calls at known milliseconds; a call that nobody listens to waits until somebody does.
    #[derive(Default)]
    struct PlayedRounds {
        /// When rounds were run.
        rounds: Vec<u64>,
        /// How many waits there were: each is a wake-up of the process.
        waits: usize,
    }

    fn play(until: u64, counts: bool, calls: impl IntoIterator<Item = u64>) -> PlayedRounds {
        let (mut calls, mut pacing, mut played, mut now) =
            (calls.into_iter().peekable(), Pacing::new(), PlayedRounds::default(), 0);
        while now < until {
            let at = Moment::after_boot(Duration::from_millis(now));
            let PacingStep::Wait { left, listening } = pacing.step(at) else {
                let called = std::iter::from_fn(|| calls.next_if(|call| *call <= now)).count() > 0;
                pacing.round(at, called && counts);
                played.rounds.push(now);
                continue;
            };
            assert_ne!(left, Duration::ZERO, "a wait must wait");
            played.waits += 1;
            let end = now + left.as_millis() as u64;
            match calls.peek().copied().filter(|call| listening && *call <= end) {
                None => now = end,
                Some(call) => {
                    now = now.max(call);
                    while calls.next_if(|call| *call <= now).is_some() {}
                    pacing.woken(Moment::after_boot(Duration::from_millis(now)), counts);
                }
            }
        }
        played
    }

    #[test]
    fn without_calls_the_second_round_comes_sooner_and_the_rest_by_the_pace() {
        let played = play(7000, true, []);
        assert_eq!(played.rounds, [0, 1000, 3000, 5000]);
        assert_eq!(played.waits, 4, "and nothing else wakes the process");
    }

    #[test]
    fn a_call_has_its_round_when_what_belongs_to_it_has_settled() {
        let one_pulled_drive = [3500, 3501, 3503, 3510, 3540];
        assert_eq!(play(7000, true, one_pulled_drive).rounds, [0, 1000, 3000, 3550, 5550]);
    }

    #[test]
    fn what_calls_again_after_its_round_has_another_but_not_at_once() {
        assert_eq!(play(6500, true, [3500, 3560, 3900]).rounds, [0, 1000, 3000, 3550, 3800, 4050, 6050]);
    }

    #[test]
    fn a_call_just_before_the_pace_does_not_put_the_round_off() {
        assert_eq!(play(6000, true, [2990]).rounds, [0, 1000, 3000, 5000]);
    }

    /// Rounds that nobody calls for; the one at 3 s hears of this.
    fn rounds_after(part: Part, what: EventKind) -> Vec<u64> {
        let event = Event { at: Moment::default(), part, what, teller: EventSource::Uevent, line: String::new() };
        let (mut pacing, mut rounds, mut now) = (Pacing::new(), Vec::new(), 0);
        while now < 8000 {
            let at = Moment::after_boot(Duration::from_millis(now));
            if let PacingStep::Wait { left, .. } = pacing.step(at) {
                now += left.as_millis() as u64;
                continue;
            }
            pacing.round(at, false);
            rounds.push(now);
            pacing.round_ended(if now == 3000 { std::slice::from_ref(&event) } else { &[] });
        }
        rounds
    }

    #[test]
    fn the_loss_of_a_drive_is_looked_at_again_soon_and_once() {
        let drive = || Part::Drive(DriveKey("WREN-0001".to_owned()));
        assert_eq!(rounds_after(drive(), EventKind::Vanished), [0, 1000, 3000, 3500, 5500, 7500]);
        for (part, what) in [(drive(), EventKind::Reset), (Part::Usb("2.1".to_owned()), EventKind::Vanished)] {
            assert_eq!(rounds_after(part, what), [0, 1000, 3000, 5000, 7000]);
        }
    }

    #[test]
    fn the_second_round_waits_for_slow_parts_whatever_calls() {
        assert_eq!(play(4000, true, [20, 300]).rounds, [0, 1000, 3000]);
    }

    #[test]
    fn any_single_call_has_its_round_within_a_third_of_a_second() {
        for call in 1000..3500 {
            let played = play(6000, true, [call]);
            let answered = played.rounds.iter().find(|round| **round >= call).expect("rounds go on");
            assert!(answered - call <= 300, "called at {call}, answered at {answered}");
        }
    }

    #[test]
    fn a_storm_of_161_calls_in_a_tenth_of_a_second_costs_two_rounds() {
        let storm = (0..161).map(|call| 3500 + call * 110 / 161);
        assert_eq!(play(5000, true, storm).rounds, [0, 1000, 3000, 3550, 3800]);
    }

    #[test]
    fn what_calls_for_ever_soon_has_the_pace_and_no_more() {
        let played = play(600_000, true, 0..600_000);
        assert_eq!(
            played.rounds.iter().filter(|round| **round < 10_000).count(),
            1 + 19 + 2,
            "20 in a row, then the pace"
        );
        let late = played.rounds.iter().filter(|round| **round >= 10_000).count();
        assert_eq!(late, 295, "one in two seconds");
        assert!(played.waits <= played.rounds.len() + 2 * STORM as usize, "{} waits", played.waits);
    }

    #[test]
    fn after_a_storm_and_one_calm_pace_calls_have_their_rounds_again() {
        let rounds = play(14_000, true, (0..7000).chain([12_500])).rounds;
        assert_eq!(rounds[rounds.len() - 5..], [5500, 7500, 9500, 11_500, 12_550]);
    }

    #[test]
    fn a_flood_about_other_things_costs_no_round_and_twenty_wake_ups_a_second_at_most() {
        let played = play(11_000, false, 1000..11_000);
        assert_eq!(played.rounds, [0, 1000, 3000, 5000, 7000, 9000]);
        assert!(played.waits <= 2 * 20 * 10 + 10, "{} waits", played.waits);
    }
}
