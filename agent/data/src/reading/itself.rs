//! What the core knows of itself and of the machine's clock; judging takes it in beside the snapshot.

use std::time::Duration;

/// What the core knows of itself. What nobody has looked at is `None`.
#[derive(Debug, Clone, PartialEq, Eq, Default)]
pub struct Itself {
    /// False while no time service has set the kernel's clock (adjtimex(2), STA_UNSYNC).
    pub clock_set: Option<bool>,
    /// Seconds since 1970, while a time service has set the clock.
    pub calendar_s: Option<u64>,
    /// False while the panel does not answer; `None` where there is no panel.
    pub panel_answers: Option<bool>,
    /// The channels that nobody has confirmed yet, by name.
    pub unconfirmed: Vec<String>,
    /// How long the oldest message that waits for its channel has waited.
    pub longest_wait: Option<Duration>,
    /// Why nothing is kept for after a restart; `None` while all is.
    pub not_kept: Option<String>,
}
