//! Where a drive's temperature is heading, in the document.

use super::document::{Reasons, reason};
use crate::reading::{self, Power, Reason};
use crate::verdict;
use serde::{Deserialize, Serialize};

/// Where a drive's temperature is heading. Low and high are the ends of an interval of 80 %.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Outlook {
    /// Where it settles.
    pub heading_c: Option<f64>,
    /// Low end.
    pub heading_low_c: Option<f64>,
    /// High end.
    pub heading_high_c: Option<f64>,
    /// The limit in question: the next one above the temperature, or the last.
    pub limit_c: f64,
    /// How long until the limit is reached.
    pub in_s: Option<u64>,
    /// At the earliest.
    pub in_low_s: Option<u64>,
    /// At the latest.
    pub in_high_s: Option<u64>,
    /// Why a value is `null`.
    pub missing: Reasons,
}

pub(super) fn outlook(outlook: &verdict::Outlook) -> Outlook {
    let mut missing = Reasons::new();
    let mut explain = |keys: &[&str], why: &str| missing.extend(keys.iter().map(|&key| (key.into(), why.to_owned())));
    if outlook.heading.is_none() {
        let why = "its readings leave open where it settles";
        explain(&["heading_c", "heading_low_c", "heading_high_c"], why);
    }
    match outlook.reaches {
        None => explain(&["in_s", "in_low_s", "in_high_s"], "it is not on its way to the limit within an hour"),
        Some(reaches) if reaches.latest.is_none() => {
            explain(&["in_high_s"], "the low end stays below the limit for an hour")
        }
        Some(_) => {}
    }
    let heading =
        |end: fn(&verdict::Interval) -> f64| outlook.heading.as_ref().map(|of| (end(of) * 10.0).round() / 10.0);
    let (heading_c, reaches) = (heading(|of| of.middle), outlook.reaches);
    Outlook {
        heading_c,
        heading_low_c: heading(|of| of.low),
        heading_high_c: heading(|of| of.high),
        limit_c: outlook.limit.0,
        in_s: reaches.map(|reaches| reaches.middle.as_secs()),
        in_low_s: reaches.map(|reaches| reaches.earliest.as_secs()),
        in_high_s: reaches.and_then(|reaches| Some(reaches.latest?.as_secs())),
        missing,
    }
}

/// Why there is no outlook: no temperature, or no curve to tell it from.
pub(super) fn no_outlook(drive: &reading::Drive) -> String {
    match (drive.power.get(), drive.temperature.missing()) {
        (Some(Power::Asleep), _) => Reason::Asleep.words().to_owned(),
        (_, Some(why)) => reason(why),
        (_, None) => "too few readings since it woke, or since its course last changed".to_owned(),
    }
}
