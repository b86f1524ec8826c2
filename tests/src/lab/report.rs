//! What the lab prints: each step as it ends, with its seconds, and the last line with the sums.

use super::error::LabError;
use super::wait::Stopwatch;
use std::time::Duration;

/// The steps played so far, in all scenarios.
#[derive(Debug, Default)]
pub struct Report {
    passed: usize,
    failed: usize,
    /// Scenarios that failed once and were played again.
    twice: Vec<String>,
}

impl Report {
    /// A scenario begins.
    pub fn begin(&mut self, name: &str, about: &str) {
        println!("\n== {name}: {about}\n");
        println!("  seconds  outcome  step");
    }

    /// Plays one step, and hands on what it found for the steps after it.
    ///
    /// # Errors
    /// Whatever the step said, after it was printed and counted.
    pub fn step<T>(&mut self, name: &str, play: impl FnOnce() -> Result<T, LabError>) -> Result<T, Failed> {
        let stopwatch = Stopwatch::start();
        let outcome = play();
        println!("{}", line(stopwatch.elapsed(), outcome.is_ok(), name));
        match outcome {
            Ok(found) => {
                self.passed += 1;
                Ok(found)
            }
            Err(error) => {
                self.failed += 1;
                for text in error.to_string().lines() {
                    println!("           {text}");
                }
                Err(Failed)
            }
        }
    }

    /// Something worth knowing that is neither passed nor failed.
    pub fn note(&self, text: &str) {
        println!("  {:>7}  {:<7}  {text}", "", "note");
    }

    /// How many steps have failed so far.
    pub fn failures(&self) -> usize {
        self.failed
    }

    /// A scenario failed for the first time and is played once more: an emulated machine on a busy computer can be too late
    /// for a step, or two programs of the guest can meet that seldom do. It stays on the last lines; a second failure counts.
    pub fn plays_again(&mut self, name: &str, failures_before: usize) {
        self.note(&format!("{name} failed, and is played once more"));
        self.failed = failures_before;
        self.twice.push(name.to_owned());
    }

    /// A scenario ends early: says so, since its later steps are neither passed nor failed.
    pub fn ended_early(&self, name: &str) {
        self.note(&format!("{name} ends with a failed step; any later ones were not played"));
    }

    /// Whether all steps passed, and there was one.
    pub fn is_clean(&self) -> bool {
        self.failed == 0 && self.passed > 0
    }

    /// The last lines: what had to be played twice, and the sums.
    pub fn sums(&self) -> String {
        let twice: String =
            self.twice.iter().map(|name| format!("played twice, since it failed once: {name}\n")).collect();
        format!("{twice}lab: {} passed, {} failed", self.passed, self.failed)
    }
}

/// A step failed; what and why was printed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub struct Failed;

fn line(took: Duration, passed: bool, name: &str) -> String {
    format!("  {:>7.2}  {:<7}  {name}", took.as_secs_f64(), if passed { "passed" } else { "FAILED" })
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn steps_are_counted_and_a_failed_one_makes_the_report_unclean() {
        let mut report = Report::default();
        assert!(!report.is_clean(), "a lab that played nothing has proved nothing");
        assert_eq!(report.step("a", || Ok(7)), Ok(7));
        assert!(report.is_clean());
        let outcome = report.step("b", || Err::<(), _>(LabError::unexpected("the tray", "a drive", "none")));
        assert_eq!(outcome, Err(Failed));
        assert!(!report.is_clean());
        assert_eq!(report.sums(), "lab: 1 passed, 1 failed");
    }

    #[test]
    fn a_scenario_that_failed_once_is_on_the_last_lines_and_one_that_failed_twice_is_a_failure() {
        let fails = || Err::<(), _>(LabError::unexpected("the tray", "a drive", "none"));
        let mut report = Report::default();
        let _ = report.step("before", || Ok(()));
        let before = report.failures();
        let _ = report.step("first", fails);
        report.plays_again("tray", before);
        let _ = report.step("second", || Ok(()));
        assert!(report.is_clean());
        assert_eq!(report.sums(), "played twice, since it failed once: tray\nlab: 2 passed, 0 failed");
        let _ = report.step("third", fails);
        assert!(!report.is_clean());
    }

    #[test]
    fn a_line_has_its_seconds_under_each_other() {
        assert_eq!(line(Duration::from_millis(1234), true, "boot"), "     1.23  passed   boot");
        assert_eq!(line(Duration::from_secs(120), false, "boot"), "   120.00  FAILED   boot");
    }
}
