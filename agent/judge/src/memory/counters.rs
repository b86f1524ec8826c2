//! What drives count, and what pools count on them, over restarts. Growth is judged, never a lifetime total. Spans of days go
//! by the time that the box was watched, which needs no calendar and does not step.

use super::learning::{Learned, Learns, Look};
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::{DriveKey, Member, MemberErrorKind, Pool};
use traylight_data::verdict::Remark;

/// Steps kept of one counter; older ones are folded into the first.
const STEPS: usize = 48;

/// What drives count.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
#[serde(transparent)]
pub struct Counters {
    drives: BTreeMap<DriveKey, BTreeMap<String, Series>>,
    /// When each drive told of its health last.
    #[serde(skip)]
    told: BTreeMap<DriveKey, Moment>,
}

/// One counter of one drive.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
struct Series {
    /// What it said at first, and then each time it changed: watched time, value.
    steps: Vec<(Duration, i64)>,
    /// The steps before the newest value, if that fell: a drive that says 0 once and then what it said before has not
    /// begun anew.
    #[serde(default, skip_serializing_if = "Vec::is_empty")]
    before_fall: Vec<(Duration, i64)>,
}

impl Learns<Look<'_>> for Counters {
    /// Takes in the health that drives told since the look before, and what pools count on them. A counter that fell belongs
    /// to another drive or another firmware: it gets a new baseline, which is worth a line.
    fn learn(&mut self, look: &Look) -> Learned {
        let mut news = Learned::default();
        for drive in &look.snapshot.drives {
            let Some(health) = drive.health.get() else { continue };
            if self.told.insert(drive.key.clone(), drive.health.taken) == Some(drive.health.taken) {
                continue;
            }
            let counters = self.drives.entry(drive.key.clone()).or_default();
            for counter in &health.counters {
                let series = counters.entry(counter.name.clone()).or_default();
                let may_fall = goes_up_and_down(&counter.name);
                let fell = series.take(look.watched, counter.value, may_fall, &mut news.is_new);
                // Nobody wants to hear of a drive that is not known.
                news.remarks.extend(fell.zip(look.drives.get(&drive.key)).map(|(before, known)| Remark::NewBaseline {
                    drive: known.place.clone(),
                    counter: counter.name.clone(),
                    before,
                    now: counter.value,
                }));
            }
        }
        for pool in &look.snapshot.pools {
            for member in pool.members.iter().filter(|member| !member.errors.is_empty()) {
                let Some(drive) = look.drives.key_behind(&pool.key, &member.drive_device) else { continue };
                for errors in &member.errors {
                    let count = i64::try_from(errors.count).unwrap_or(i64::MAX);
                    let counters = self.drives.entry(drive.clone()).or_default();
                    let series = counters.entry(member_counter(pool, member, errors.kind)).or_default();
                    series.take(look.watched, count, false, &mut news.is_new);
                    // These begin anew with the machine: as many again are as many more.
                    series.before_fall.clear();
                }
            }
        }
        news
    }
}

impl Counters {
    /// What a counter says now.
    pub fn now(&self, drive: &DriveKey, counter: &str) -> Option<i64> {
        self.series(drive, counter)?.steps.last().map(|(_, value)| *value)
    }

    /// What this counter of all drives says now, of those that have it.
    pub fn all(&self, counter: &str) -> BTreeMap<DriveKey, i64> {
        self.drives.keys().filter_map(|key| Some((key.clone(), self.now(key, counter)?))).collect()
    }

    /// How much a counter grew since this watched time; `None` when the drive does not count it.
    pub fn growth(&self, drive: &DriveKey, counter: &str, from: Duration) -> Option<i64> {
        let steps = &self.series(drive, counter)?.steps;
        let (_, now) = steps.last()?;
        let before = steps.iter().rev().find(|(at, _)| *at <= from).or(steps.first());
        before.map(|(_, before)| now - before)
    }

    /// The highest that a number was since this watched time.
    pub fn highest(&self, drive: &DriveKey, counter: &str, from: Duration) -> Option<i64> {
        let steps = &self.series(drive, counter)?.steps;
        // What it said when the span began counts as well.
        let first = steps.iter().rposition(|(at, _)| *at <= from).unwrap_or(0);
        steps[first..].iter().map(|(_, value)| *value).max()
    }

    fn series(&self, drive: &DriveKey, counter: &str) -> Option<&Series> {
        self.drives.get(drive)?.get(counter)
    }
}

/// What a pool's count on a member is called: by the part of its drive, since the kernel's names of drives change.
pub fn member_counter(pool: &Pool, member: &Member, kind: MemberErrorKind) -> String {
    let kind = match kind {
        MemberErrorKind::Read => "read",
        MemberErrorKind::Write => "write",
        MemberErrorKind::Flush => "flush",
        MemberErrorKind::Checksum => "checksum",
        MemberErrorKind::Generation => "generation",
    };
    match member.device.strip_prefix(&member.drive_device).unwrap_or(&member.device) {
        "" => format!("{kind}_errors in {}", pool.key),
        part => format!("{kind}_errors of {part} in {}", pool.key),
    }
}

/// Temperatures, shares and pending sectors go up and down; only what counts can begin anew.
fn goes_up_and_down(name: &str) -> bool {
    name.ends_with("_c") || name.ends_with("_percent") || name == "pending_sectors"
}

impl Series {
    /// Takes in a value; the one before, if it was larger and a counter must not fall.
    fn take(&mut self, at: Duration, value: i64, may_fall: bool, is_new: &mut bool) -> Option<i64> {
        let before = self.steps.last().map(|(_, before)| *before);
        if before == Some(value) {
            return None;
        }
        *is_new = true;
        let fell = before.filter(|before| *before > value && !may_fall);
        let before_fall = std::mem::take(&mut self.before_fall);
        if fell.is_some() {
            self.before_fall = std::mem::take(&mut self.steps);
        } else if let Some((_, last)) = before_fall.last().filter(|(_, last)| value >= *last) {
            let is_itself = value == *last;
            self.steps = before_fall;
            if is_itself {
                return None;
            }
        }
        if self.steps.len() >= STEPS {
            // The first stays: it is the baseline.
            self.steps.remove(1);
        }
        self.steps.push((at, value));
        fell
    }
}
