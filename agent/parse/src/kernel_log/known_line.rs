//! A row of the tables: a line that is known, and what it means.

use traylight_data::reading::EventKind;

/// A line that is known.
pub struct KnownLine {
    /// The line with holes; each that names a part tells of it.
    pub pattern: &'static str,
    /// What it means.
    pub then: Then,
    /// Kernels that are known to write it so.
    #[cfg_attr(not(test), allow(dead_code, reason = "for people, and the tests see that it is there"))]
    pub since: &'static str,
    /// A line that fits.
    #[cfg_attr(not(test), allow(dead_code, reason = "the tests run through them"))]
    pub example: &'static str,
}

/// What a line means.
#[derive(Debug, Clone, Copy)]
pub enum Then {
    /// This happened.
    Is(EventKind),
    /// The link is down; `<status>` is its SStatus.
    Down,
    /// The link is up at `<speed>`.
    Up,
    /// A driver gave up with `<errno>`.
    NotStarted,
    /// What stands for these words in the last `<*>`.
    Among(&'static [(&'static str, EventKind)]),
    /// A report of libata begins.
    Opens,
    /// It is over.
    Closes,
}

/// Short for the tables.
pub const fn row(pattern: &'static str, then: Then, since: &'static str, example: &'static str) -> KnownLine {
    KnownLine { pattern, then, since, example }
}
