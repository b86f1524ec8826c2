//! Waiting that ends. The lab's only reader of the clock: everything else waits through here.
#![allow(clippy::disallowed_methods, reason = "the lab waits for real machines, so it needs the real clock")]

use super::error::LabError;
use std::fmt::Display;
use std::thread;
use std::time::{Duration, Instant};

/// How often a thing that is waited for is looked at.
const PACE: Duration = Duration::from_millis(50);

/// Looks again and again until it is there. `look` answers what was waited for, or what there is instead.
///
/// # Errors
/// [`LabError::TimedOut`] with what the last look found.
pub fn wait_until<T, F: Display>(
    what: &str,
    seconds: u64,
    mut look: impl FnMut() -> Result<T, F>,
) -> Result<T, LabError> {
    let stopwatch = Stopwatch::start();
    loop {
        // Asked before the look, so that the last look comes after the time is over and not before.
        let over = stopwatch.elapsed() >= Duration::from_secs(seconds);
        match look() {
            Ok(found) => return Ok(found),
            Err(found) if over => {
                return Err(LabError::TimedOut { waited_for: what.into(), seconds, found: found.to_string() });
            }
            Err(_) => thread::sleep(PACE),
        }
    }
}

/// Measures how long something takes.
#[derive(Debug, Clone, Copy)]
pub struct Stopwatch(Instant);

impl Stopwatch {
    /// Starts to measure.
    pub fn start() -> Self {
        Self(Instant::now())
    }

    /// Since the start.
    pub fn elapsed(&self) -> Duration {
        self.0.elapsed()
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn what_comes_at_the_third_look_is_found() {
        let mut looks = 0;
        let found = wait_until("the third look", 60, || {
            looks += 1;
            if looks == 3 { Ok("here") } else { Err(format!("look {looks}")) }
        });
        assert_eq!(found.unwrap(), "here");
    }

    #[test]
    fn what_never_comes_is_an_error_that_says_what_there_was() {
        let mut looks = 0;
        let error = wait_until("rain", 0, || {
            looks += 1;
            Err::<(), _>("sunshine")
        });
        assert_eq!(error.unwrap_err().to_string(), "waited 0 s for rain in vain; there was sunshine");
        assert_eq!(looks, 1);
    }
}
