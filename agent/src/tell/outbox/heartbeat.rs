//! The heartbeat's pause over a restart: who was killed by what its address answered must not ask it again at once.

use super::kept::{KeptPause, Write};
use super::pause::Pause;
use crate::clock::Moment;
use crate::tell::message::Stamp;
use std::time::Duration;

/// The pause is kept beside those of the channels, none of which has a name like this.
pub(super) const NAME: &str = "(heartbeat)";

/// How long the heartbeat's address is left alone.
#[derive(Debug, Clone, Default)]
pub struct HeartbeatPause {
    /// The pause as the store has it.
    kept: Option<KeptPause>,
    /// Its address has answered in this run. Attempts are not noted any more then, which spares flash: who is killed by a
    /// later one asks once more after that, and not again at once.
    answers: bool,
}

impl HeartbeatPause {
    /// As it was kept; `None` where none was.
    pub(super) fn kept(kept: Option<KeptPause>) -> Self {
        Self { kept, answers: false }
    }

    /// As it is to be kept.
    pub(super) fn to_keep(&self) -> Option<KeptPause> {
        self.kept.clone()
    }

    /// The heartbeat's address is about to be fetched; `target` is a number for it.
    pub fn begun(&mut self, target: u64, now: &Stamp) -> Vec<Write> {
        if self.answers {
            return Vec::new();
        }
        let failures = self.kept.as_ref().filter(|kept| kept.target == target).map_or(0, |kept| kept.failures);
        let pause = KeptPause { channel: NAME.to_owned(), target, failures: failures + 1, since: now.clone() };
        self.kept = Some(pause.clone());
        vec![Write::Pause(pause)]
    }

    /// It has answered well, or is fetched no more.
    pub fn over(&mut self) -> Vec<Write> {
        self.answers = true;
        self.kept.take().map(|pause| Write::PauseOver(pause.channel)).into_iter().collect()
    }

    /// It has not answered well.
    pub fn failed(&mut self) {
        self.answers = false;
    }

    /// When it may be fetched after a restart: no later than it would be without one.
    pub fn next_at(&self, target: u64, every: Duration, now: &Stamp) -> Moment {
        let kept = self.kept.as_ref().filter(|kept| kept.target == target);
        let until = kept.and_then(|kept| Pause::resume(kept, now).until(now.moment));
        until.map_or(now.moment, |until| until.min(now.moment.plus(every)))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tell::outbox::{Kept, Outbox, Policy};

    fn second(second: u64) -> Stamp {
        Stamp { boot_id: "spring".into(), moment: Moment::after_boot(Duration::from_secs(second)), wall: None }
    }

    /// The program is killed by each attempt and started anew two seconds later.
    #[test]
    fn who_is_killed_by_the_answer_waits_longer_and_longer_but_no_longer_than_usual() {
        const EVERY: Duration = Duration::from_secs(15 * 60);
        let (mut kept, mut at, mut waited) = (Kept::default(), 100, Vec::new());
        for _ in 0..7 {
            let (mut outbox, _, _) = Outbox::new(Vec::new(), Policy::default(), kept);
            let due = outbox.heartbeat.next_at(7, EVERY, &second(at)).since_boot().as_secs();
            waited.push(due - at);
            assert!(matches!(outbox.heartbeat.begun(7, &second(due))[..], [Write::Pause(_)]));
            kept = outbox.kept();
            at = due + 2;
        }
        assert_eq!(waited, [0, 58, 118, 298, 898, 900, 900]);
        // Another address need not wait for what this one did, and one that has answered is asked as always.
        let (mut outbox, _, _) = Outbox::new(Vec::new(), Policy::default(), kept);
        assert_eq!(outbox.heartbeat.next_at(8, EVERY, &second(at)), second(at).moment);
        assert_eq!(outbox.heartbeat.over(), [Write::PauseOver(NAME.to_owned())]);
        assert_eq!(
            (outbox.heartbeat.next_at(7, EVERY, &second(at)), outbox.heartbeat.begun(7, &second(at))),
            (second(at).moment, vec![])
        );
        outbox.heartbeat.failed();
        assert_eq!(outbox.heartbeat.begun(7, &second(at)).len(), 1, "what fails is noted again");
    }
}
