//! One worker thread a target: a question that never comes back costs its own thread and nothing else. At most one
//! question a target is under way; a late answer is an older reading, not a lost one.

use crate::clock::{Clock, Moment};
use std::collections::BTreeMap;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::time::Duration;

/// Questions only read small files; the default stack would be most of the probe's memory.
const STACK: usize = 128 << 10;

type Question<A> = Box<dyn FnOnce() -> A + Send>;

/// The workers, by target.
pub struct Workers<T, A> {
    clock: Clock,
    workers: BTreeMap<T, Worker<A>>,
    answers: Receiver<(T, A)>,
    /// Cloned for every worker.
    to_us: Sender<(T, A)>,
}

struct Worker<A> {
    questions: Sender<Question<A>>,
    asked: Option<OpenQuestion>,
}

#[derive(Clone, Copy)]
struct OpenQuestion {
    at: Moment,
    told_late: bool,
}

impl<T: Ord + Clone + Send + 'static, A: Send + 'static> Workers<T, A> {
    /// No workers yet.
    pub fn new(clock: Clock) -> Self {
        let (to_us, answers) = channel();
        Self { clock, workers: BTreeMap::new(), answers, to_us }
    }

    /// Gives the target's worker a question, unless one is under way. True when it was taken.
    pub fn ask(&mut self, target: &T, question: impl FnOnce() -> A + Send + 'static) -> bool {
        if !self.workers.contains_key(target) {
            let Some(worker) = self.hire(target) else { return false };
            self.workers.insert(target.clone(), worker);
        }
        let Some(worker) = self.workers.get_mut(target).filter(|worker| worker.asked.is_none()) else { return false };
        let taken = worker.questions.send(Box::new(question)).is_ok();
        worker.asked = taken.then(|| OpenQuestion { at: self.clock.now(), told_late: false });
        taken
    }

    /// A thread that answers until its questions end. `None` when the machine has no thread to spare.
    fn hire(&self, target: &T) -> Option<Worker<A>> {
        let (questions, asked) = channel::<Question<A>>();
        let (to_us, target) = (self.to_us.clone(), target.clone());
        let work = move || {
            for question in asked {
                if to_us.send((target.clone(), question())).is_err() {
                    return;
                }
            }
        };
        std::thread::Builder::new().stack_size(STACK).spawn(work).ok()?;
        Some(Worker { questions, asked: None })
    }

    /// Answers that have come, waiting up to `patience` for those not yet told of as late.
    pub fn answers(&mut self, patience: Duration) -> Vec<(T, A)> {
        let end = self.clock.now().plus(patience);
        let mut found = Vec::new();
        loop {
            let waits = self.workers.values().any(|worker| worker.asked.is_some_and(|asked| !asked.told_late));
            let left = if waits { end.since(self.clock.now()) } else { Duration::ZERO };
            match self.answers.recv_timeout(left) {
                Ok((target, answer)) => {
                    if let Some(worker) = self.workers.get_mut(&target) {
                        worker.asked = None;
                    }
                    found.push((target, answer));
                }
                Err(RecvTimeoutError::Timeout | RecvTimeoutError::Disconnected) => return found,
            }
        }
    }

    /// Targets whose question has been under way for longer than `deadline`; each is told once a question.
    pub fn late(&mut self, deadline: Duration) -> Vec<T> {
        let now = self.clock.now();
        let mut late = Vec::new();
        for (target, worker) in &mut self.workers {
            if let Some(asked) =
                worker.asked.as_mut().filter(|asked| !asked.told_late && now.since(asked.at) >= deadline)
            {
                asked.told_late = true;
                late.push(target.clone());
            }
        }
        late
    }

    /// Lets go of the workers of targets that are no more. A stuck one stays until its question returns.
    pub fn keep_only(&mut self, wanted: impl Fn(&T) -> bool) {
        self.workers.retain(|target, _| wanted(target));
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::sync::mpsc;

    #[test]
    fn a_target_that_hangs_costs_no_other_an_answer() {
        let mut workers = Workers::new(Clock::of_this_machine());
        let (free, hangs) = mpsc::channel::<()>();
        assert!(workers.ask(&"stuck", move || hangs.recv().map_or("released", |()| "released")));
        assert!(workers.ask(&"fine", || "here"));

        let mut answers = Vec::new();
        while answers.is_empty() {
            answers = workers.answers(Duration::from_millis(5));
        }
        assert_eq!(answers, [("fine", "here")]);
        assert!(!workers.ask(&"stuck", || "second"), "a second question must not be put to a stuck target");
        assert!(workers.ask(&"fine", || "again"));

        assert_eq!(workers.late(Duration::ZERO), ["fine", "stuck"], "late is told");
        assert_eq!(workers.late(Duration::ZERO), [""; 0], "and told once");

        drop(free);
        let mut seen = Vec::new();
        while seen.len() < 2 {
            seen.extend(workers.answers(Duration::from_millis(5)));
        }
        seen.sort_unstable();
        assert_eq!(seen, [("fine", "again"), ("stuck", "released")], "a late answer still counts");
        assert!(workers.ask(&"stuck", || "second"), "and the target may be asked again");
    }
}
