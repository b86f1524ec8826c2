//! Where a drive's temperature is heading and how long until its limit, as far as its readings carry it.

use crate::units::Celsius;
use serde::{Deserialize, Serialize};
use std::time::Duration;

/// An estimate and its interval of 80 %: in one of five cases the truth is outside.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Interval {
    /// The low end.
    pub low: f64,
    /// The best estimate.
    pub middle: f64,
    /// The high end.
    pub high: f64,
}

/// The outlook of one drive, should nothing change: the same work, the same air.
#[derive(Debug, Clone, Copy, PartialEq, Serialize, Deserialize)]
pub struct Outlook {
    /// Where it settles, in degrees Celsius; `None` while the readings leave that open.
    pub heading: Option<Interval>,
    /// The limit in question: the next one above the drive's temperature, or the last one.
    pub limit: Celsius,
    /// When it gets there; `None` when it is not on its way, or would not be there for long.
    pub reaches: Option<Reaches>,
}

/// How long until a limit is reached.
#[derive(Debug, Clone, Copy, PartialEq, Eq, Serialize, Deserialize)]
pub struct Reaches {
    /// By the high end of the interval.
    pub earliest: Duration,
    /// By the best estimate.
    pub middle: Duration,
    /// By the low end, the cautious one; `None` when that stays below the limit for as long as is looked ahead.
    pub latest: Option<Duration>,
}
