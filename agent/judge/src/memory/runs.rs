//! How the program's runs and the machine's boots follow each other, remembered over restarts: whether the one before was
//! ended in good order, and which kernel it had.

use super::event_counts::{COUNTED_FOR, OUT_OF_MEMORY};
use super::learning::{CountedEvent, Learned, Learns, Look};
use serde::{Deserialize, Serialize};

/// The run under way, and what is known of the one before.
#[derive(Debug, Clone, PartialEq, Eq, Default, Serialize, Deserialize)]
pub struct Runs {
    /// Which boot this run is in, by the kernel's boot id.
    boot: Option<String>,
    /// True once this run was asked to end.
    has_ended: bool,
    /// The release of this boot's kernel.
    kernel: Option<String>,
    /// The same of the boot before.
    kernel_before: Option<String>,
    /// How many processes this boot had ended for want of memory at the last look; `None` before the first of all.
    pub out_of_memory: Option<u64>,
}

/// How the run before ended.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum Ending {
    /// Nobody knows: there was none, or this machine has no boot ids.
    Unknown,
    /// It was asked to.
    InOrder,
    /// The machine restarted, and the run had not been asked to end before.
    WithTheMachine,
    /// The machine is the same, and the run was not asked to end: it crashed, was killed, or its watchdog ended it.
    Alone,
}

impl Learns<Look<'_>> for Runs {
    /// Takes in which kernel runs, and how many processes it has ended for want of memory.
    fn learn(&mut self, look: &Look) -> Learned {
        let board = &look.snapshot.board;
        let is_new = self.learn_kernel(&board.kernel);
        let ended = board.out_of_memory.as_ref().and_then(|reading| reading.get().copied());
        let happened = ended.map(|ended| {
            let before = self.out_of_memory.replace(ended).unwrap_or(ended);
            CountedEvent { what: OUT_OF_MEMORY.to_owned(), times: ended.saturating_sub(before), span: COUNTED_FOR }
        });
        Learned { is_new, happened: happened.into_iter().collect(), ..Learned::default() }
    }
}

impl Runs {
    /// A run begins in this boot.
    pub fn begin(&mut self, boot: &str) -> Ending {
        let boot = Some(boot.to_owned()).filter(|boot| !boot.is_empty());
        let ending = match (&self.boot, &boot) {
            (None, _) | (_, None) => Ending::Unknown,
            _ if self.has_ended => Ending::InOrder,
            (before, now) if before == now => Ending::Alone,
            _ => Ending::WithTheMachine,
        };
        if self.boot.is_some() && self.boot != boot {
            self.kernel_before = self.kernel.take();
            self.out_of_memory = Some(0);
        }
        (self.boot, self.has_ended) = (boot, false);
        ending
    }

    /// The run was asked to end.
    pub fn end(&mut self) {
        self.has_ended = true;
    }

    /// Takes in the release of the kernel; true when that is news.
    pub fn learn_kernel(&mut self, release: &str) -> bool {
        let is_news = !release.is_empty() && self.kernel.as_deref() != Some(release);
        if is_news {
            self.kernel = Some(release.to_owned());
        }
        is_news
    }

    /// The kernel of the boot before, and of this one.
    pub fn kernel(&self) -> (Option<&str>, Option<&str>) {
        (self.kernel_before.as_deref(), self.kernel.as_deref())
    }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn how_a_run_ended_is_told_by_the_next() {
        let mut runs = Runs::default();
        assert_eq!(runs.begin("first"), Ending::Unknown, "there was none");
        assert_eq!(runs.begin("first"), Ending::Alone);
        runs.end();
        assert_eq!(runs.begin("first"), Ending::InOrder);
        assert_eq!(runs.begin("second"), Ending::WithTheMachine);
        runs.end();
        assert_eq!(runs.begin("third"), Ending::InOrder);
        assert_eq!(runs.begin(""), Ending::Unknown, "a machine without boot ids tells nothing");
        assert_eq!(runs.begin("fourth"), Ending::Unknown);
    }

    #[test]
    fn the_kernel_of_the_boot_before_is_remembered() {
        let mut runs = Runs::default();
        runs.begin("first");
        assert!(runs.learn_kernel("6.12.48"));
        assert!(!runs.learn_kernel("6.12.48") && !runs.learn_kernel(""));
        assert_eq!(runs.kernel(), (None, Some("6.12.48")));
        runs.begin("first");
        assert_eq!(runs.kernel(), (None, Some("6.12.48")), "the program restarted, not the machine");
        runs.begin("second");
        assert_eq!(runs.kernel(), (Some("6.12.48"), None), "not read yet");
        runs.learn_kernel("6.18.2");
        assert_eq!(runs.kernel(), (Some("6.12.48"), Some("6.18.2")));
    }
}
