//! What is learned of the box and remembered over restarts: what drives count, which belong to the box, what was usual.
//! Growth is judged, never a lifetime total. Spans of days go by the time that the box was watched, which needs no
//! calendar and does not step.

use super::acquaintances::Acquaintances;
use super::checks::Checks;
use super::grace::Grace;
use super::occurrences::Occurrences;
use super::pool_roll::PoolRoll;
use super::runs::{Ending, Runs};
use super::signs::Signs;
use super::sources::Sources;
use super::tachometers::Tachometers;
use super::waking::Waking;
use super::{climate, drives, power_cycles};
use crate::conditions::airflow::Warmest;
use crate::conditions::starts::{self, Starts};
use crate::conditions::{attachments, board, controllers, fans, itself, links, supply, volumes};
use crate::forecast::fill::{Fill, FullWhen};
use crate::incidents::Book;
use serde::{Deserialize, Serialize};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::{DriveKey, Room, Snapshot};

/// Steps kept of one counter; older ones are folded into the first.
const STEPS: usize = 48;
/// The end of a run counts for so long.
const WEEK: Duration = Duration::from_secs(7 * 86_400);
/// Two looks further apart than this were not watching in between.
const LONGEST_GAP: Duration = Duration::from_secs(60);

/// The ledger of a box.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Ledger {
    /// How long the box was watched, over all restarts.
    watched: Duration,
    drives: BTreeMap<DriveKey, BTreeMap<String, Series>>,
    /// The drives that belong to the box.
    #[serde(default)]
    pub acquaintances: Acquaintances,
    /// The pools that belong to the box.
    #[serde(default)]
    pub pools: PoolRoll,
    /// When pools were last compared.
    #[serde(default)]
    checks: Checks,
    /// How volumes fill.
    #[serde(default)]
    fill: Fill,
    /// What is plugged into which controller, and how good its link was.
    #[serde(default)]
    pub controllers: controllers::Learned,
    /// What fans did.
    #[serde(default)]
    pub tachometers: Tachometers,
    /// The warmest that drives held.
    #[serde(default)]
    pub warmest: Warmest,
    /// How runs and boots follow each other.
    #[serde(default)]
    pub runs: Runs,
    /// How often things of the box itself happened.
    #[serde(default)]
    occurrences: Occurrences,
    /// The open incidents.
    #[serde(default)]
    pub book: Book,
    /// What happened lately.
    #[serde(default)]
    pub signs: Signs,
    /// The drives as they were known at the last look, for the next start.
    #[serde(default)]
    pub known: drives::Known,
    /// When the board's supply was too low lately.
    #[serde(default)]
    pub supply: supply::Known,
    /// Commands that timed out lately.
    #[serde(default)]
    pub attachments: attachments::Known,
    /// How often drives had started when they were last asked.
    #[serde(default)]
    power_cycles: power_cycles::Known,
    /// Which drives missed the last cold starts.
    #[serde(default)]
    pub starts: Starts,
    /// What of the box was readable.
    #[serde(default)]
    pub sources: Sources,
    /// Which fans turn or turned.
    #[serde(default)]
    pub fans: fans::Known,
    /// Which network ports are in use, and how fast they are.
    #[serde(default)]
    pub links: links::Known,
    /// Which volumes could be written to.
    #[serde(default)]
    pub volumes: volumes::Known,
    /// How warm the room was lately.
    #[serde(default)]
    pub climate: climate::Climate,
    /// When the machine woke last.
    #[serde(default)]
    pub waking: Waking,
    #[serde(skip)]
    last_look: Option<Moment>,
    #[serde(skip)]
    last_health: BTreeMap<DriveKey, Moment>,
    /// True when something was learned that is worth keeping.
    #[serde(skip)]
    pub is_new: bool,
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

/// A counter that began anew.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Fell {
    /// The drive whose counter it is.
    pub drive: DriveKey,
    /// The name of the counter.
    pub counter: String,
    /// What it said before.
    pub before: i64,
    /// What it says now.
    pub now: i64,
}

impl Ledger {
    /// Takes in the health that drives told since the look before. A counter that fell belongs to another drive or
    /// another firmware: it gets a new baseline, which is worth a line.
    pub fn learn(&mut self, snapshot: &Snapshot) -> Vec<Fell> {
        let since = self.last_look.map_or(Duration::ZERO, |last| snapshot.taken.since(last));
        self.watched += since.min(LONGEST_GAP);
        self.last_look = Some(snapshot.taken);
        let mut fell = Vec::new();
        for drive in &snapshot.drives {
            let Some(health) = drive.health.get() else { continue };
            if self.last_health.insert(drive.key.clone(), drive.health.taken) == Some(drive.health.taken) {
                continue;
            }
            let counters = self.drives.entry(drive.key.clone()).or_default();
            for counter in &health.counters {
                let series = counters.entry(counter.name.clone()).or_default();
                let may_fall = goes_up_and_down(&counter.name);
                if let Some(before) = series.take(self.watched, counter.value, may_fall, &mut self.is_new) {
                    let (drive, counter, now) = (drive.key.clone(), counter.name.clone(), counter.value);
                    fell.push(Fell { drive, counter, before, now });
                }
            }
        }
        fell
    }

    /// How long the box was watched, over all restarts.
    pub fn watched(&self) -> Duration {
        self.watched
    }

    /// The box was watched for so much longer.
    pub fn let_time_pass(&mut self, time: Duration) {
        self.watched += time;
    }

    /// What was noted in an earlier boot, `ended` at the latest, lies before this one: all times move back.
    pub fn move_back(&mut self, ended: Moment, by: impl Fn(Moment) -> Moment + Copy) {
        let absent = self.book.absent_drives().cloned().collect();
        self.starts.begin(starts::counts(self, self.drives.keys()), absent);
        self.book.move_back(by);
        self.signs.move_back(ended, by);
        self.known.move_back(by);
        self.pools.begin_boot();
        self.supply.move_back(by);
        self.attachments.move_back(by);
        self.power_cycles.begin_anew();
        self.links.move_back(by);
        self.volumes.begin_boot();
        self.waking.begin_boot();
        self.climate.move_back(by);
    }

    /// Takes in fans, network ports and volumes, and how warm it is.
    pub fn learn_parts(&mut self, settings: &Settings, snapshot: &Snapshot) {
        self.is_new |= self.fans.learn(settings, snapshot);
        self.is_new |= self.links.learn(settings, snapshot);
        self.is_new |= self.volumes.learn(Grace::of(settings, &self.signs), snapshot);
        self.is_new |= self.tachometers.learn(snapshot);
        self.climate.learn(snapshot);
    }

    /// Takes in what happened to drives and other parts.
    pub fn learn_signs(&mut self, known: &drives::Known, snapshot: &Snapshot) {
        let again = if drives::is_blind(snapshot) { Vec::new() } else { self.power_cycles.learn(snapshot) };
        self.is_new |= !again.is_empty();
        let mut signs = std::mem::take(&mut self.signs);
        signs.learn(known, self, snapshot, &again);
        self.signs = signs;
    }

    /// Takes in how the kernel gets on with drives, once it is known what it told of them.
    pub fn learn_attachments(&mut self, snapshot: &Snapshot) {
        self.attachments.learn(&self.signs, snapshot);
    }

    /// Takes in which drives are there.
    pub fn learn_drives(&mut self, settings: &Settings, known: &drives::Known, snapshot: &Snapshot) {
        self.is_new |= self.acquaintances.learn(settings, known, snapshot, self.watched);
        if self.known != *known {
            self.known = known.clone();
            self.is_new = true;
        }
    }

    /// Takes in which pools are there.
    pub fn learn_pools(&mut self, snapshot: &Snapshot) {
        self.is_new |= self.pools.learn(snapshot);
    }

    /// A run of the program begins in this boot of the machine. How the one before ended is noted, for a week of watching.
    pub fn begin(&mut self, boot: &str) -> Ending {
        let ending = self.runs.begin(boot);
        self.is_new = true;
        match ending {
            Ending::WithTheMachine => self.happened(board::UNCLEAN_RESTART, 1, WEEK),
            Ending::Alone => self.happened(itself::ENDED_UNASKED, 1, WEEK),
            Ending::InOrder | Ending::Unknown => {}
        }
        ending
    }

    /// The ledger as it comes back from where it is kept.
    ///
    /// # Errors
    /// When it cannot be written down.
    pub fn as_kept(&self) -> serde_json::Result<Self> {
        serde_json::from_value(serde_json::to_value(self)?)
    }

    /// A run begins in another boot, and nobody has shut the machine down before. What counts from the start of the
    /// machine goes on.
    pub fn begin_unasked(&mut self) {
        let kernel = self.kernel().1.unwrap_or_default().to_owned();
        let out_of_memory = self.runs.out_of_memory;
        self.runs = Runs::default();
        self.begin("the boot before");
        self.runs.learn_kernel(&kernel);
        self.begin("this boot");
        self.runs.out_of_memory = out_of_memory;
    }

    /// The kernel's release of the boot before, and of this one.
    pub fn kernel(&self) -> (Option<&str>, Option<&str>) {
        self.runs.kernel()
    }

    /// Something of the box itself happened so often, which counts for so long.
    pub fn happened(&mut self, what: &str, times: u64, span: Duration) {
        if times > 0 {
            self.occurrences.note(what, times, span, self.watched);
            self.is_new = true;
        }
    }

    /// How often it happened within the span for which it counts.
    pub fn count(&self, what: &str) -> u64 {
        self.occurrences.count(what, self.watched)
    }

    /// Takes in which pools are there, and which of them have just been compared.
    pub fn learn_checks(&mut self, snapshot: &Snapshot, ended: &[String]) {
        self.is_new |= self.checks.learn(snapshot, ended, self.watched);
    }

    /// Takes in how full volumes are.
    pub fn learn_fill(&mut self, snapshot: &Snapshot) {
        self.fill.learn(snapshot, self.watched);
        self.is_new |= std::mem::take(&mut self.fill.is_new);
    }

    /// When a volume that has this room now will be full.
    pub fn full_when(&self, mount: &str, room: &Room) -> Option<FullWhen> {
        self.fill.full_when(mount, room)
    }

    /// How long ago, in watched time, a pool was compared; and whether that was never seen, which counts from when the pool
    /// was first seen.
    pub fn since_check(&self, pool: &str) -> Option<(Duration, bool)> {
        self.checks.since(pool, self.watched)
    }

    /// Takes in a count on a drive that something else than the drive keeps. One that fell begins anew.
    pub fn note(&mut self, drive: &DriveKey, counter: &str, value: i64) {
        let counters = self.drives.entry(drive.clone()).or_default();
        let series = counters.entry(counter.to_owned()).or_default();
        series.take(self.watched, value, false, &mut self.is_new);
        // These begin anew with the machine: as many again are as many more.
        series.before_fall.clear();
    }

    /// What a counter says now.
    pub fn now(&self, drive: &DriveKey, counter: &str) -> Option<i64> {
        self.series(drive, counter)?.steps.last().map(|(_, value)| *value)
    }

    /// How much a counter grew within the last so long of watched time; `None` when the drive does not count it.
    pub fn growth(&self, drive: &DriveKey, counter: &str, within: Duration) -> Option<i64> {
        let steps = &self.series(drive, counter)?.steps;
        let from = self.watched.saturating_sub(within);
        let (_, now) = steps.last()?;
        let before = steps.iter().rev().find(|(at, _)| *at <= from).or(steps.first());
        before.map(|(_, before)| now - before)
    }

    /// The highest that a number was within the last so long of watched time.
    pub fn highest(&self, drive: &DriveKey, counter: &str, within: Duration) -> Option<i64> {
        let steps = &self.series(drive, counter)?.steps;
        let from = self.watched.saturating_sub(within);
        // What it said when the span began counts as well.
        let first = steps.iter().rposition(|(at, _)| *at <= from).unwrap_or(0);
        steps[first..].iter().map(|(_, value)| *value).max()
    }

    fn series(&self, drive: &DriveKey, counter: &str) -> Option<&Series> {
        self.drives.get(drive)?.get(counter)
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

#[cfg(test)]
mod tests {
    use super::*;
    use traylight_data::reading::Counter;
    use traylight_heron::{heron, story};

    const HOUR: Duration = Duration::from_secs(3600);

    /// One drive that says `value` of one counter, hour after hour; the box is watched all the time.
    fn growth_after(values: &[i64], within: Duration) -> (Option<i64>, usize) {
        let mut ledger = Ledger::default();
        let mut fell = 0;
        let mut now = Moment::after_boot(HOUR);
        let mut key = None;
        for &value in values {
            let told = now;
            for _ in 0..60 {
                let mut snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
                snapshot.drives.truncate(1);
                let drive = &mut snapshot.drives[0];
                key = Some(drive.key.clone());
                drive.health.taken = told;
                if let Ok(health) = &mut drive.health.value {
                    health.counters =
                        vec![Counter { name: "reallocated_sectors".into(), value, origin: "test".into() }];
                }
                fell += ledger.learn(&snapshot).len();
                now = now.plus(Duration::from_secs(60));
            }
        }
        (key.and_then(|key| ledger.growth(&key, "reallocated_sectors", within)), fell)
    }

    #[test]
    fn what_was_there_at_first_is_no_growth() {
        assert_eq!(growth_after(&[198, 198, 198], 24 * HOUR), (Some(0), 0));
    }

    #[test]
    fn growth_is_counted_within_its_span() {
        assert_eq!(growth_after(&[0, 3, 3, 3, 4], 24 * HOUR), (Some(4), 0));
        assert_eq!(growth_after(&[0, 3, 3, 3, 4], 2 * HOUR), (Some(1), 0));
        assert_eq!(growth_after(&[0, 3, 3, 3, 3, 3], 2 * HOUR), (Some(0), 0));
    }

    #[test]
    fn a_counter_that_fell_begins_anew_and_is_told_of_once() {
        assert_eq!(growth_after(&[50, 50, 2, 3], 24 * HOUR), (Some(1), 1));
    }

    #[test]
    fn the_ledger_comes_back_from_where_it_is_kept() {
        let mut ledger = Ledger::default();
        ledger.learn(&heron::snapshot(Moment::after_boot(HOUR), &story::scene(Duration::ZERO)));
        assert!(ledger.is_new);
        let text = serde_json::to_string(&ledger).expect("a ledger is JSON");
        let back: Ledger = serde_json::from_str(&text).expect("and comes back");
        assert_eq!((back.watched, &back.drives), (ledger.watched, &ledger.drives));
    }
}
