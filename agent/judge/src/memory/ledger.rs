//! What is learned of the box and remembered over restarts: what drives count, which belong to the box, what was usual.
//! Growth is judged, never a lifetime total. Spans of days go by the time that the box was watched, which needs no
//! calendar and does not step.

use super::checks::Checks;
use super::counters::Counters;
use super::event_counts::{COUNTED_FOR, ENDED_UNASKED, EventCounts, UNCLEAN_RESTART};
use super::incident_store::IncidentStore;
use super::known_drives::KnownDrives;
use super::pool_roll::PoolRoll;
use super::power_cycles::COUNTER;
use super::runs::{Ending, Runs};
use super::signs::Signs;
use super::sources::Sources;
use super::starts::Starts;
use super::tachometers::Tachometers;
use super::waking::Waking;
use super::{airflow, attachments, climate, controllers, drives, fans, links, power_cycles, supply, volumes};
use crate::forecast::fill::Fill;
use serde::{Deserialize, Serialize};
use std::time::Duration;
use traylight_data::clock::Moment;
use traylight_data::reading::DriveKey;

/// Two looks further apart than this were not watching in between.
const LONGEST_GAP: Duration = Duration::from_secs(60);

/// The ledger of a box.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct Ledger {
    /// How long the box was watched, over all restarts.
    pub(super) watched: Duration,
    #[serde(rename = "drives")]
    pub(super) counters: Counters,
    /// The drives that belong to the box.
    #[serde(default, rename = "acquaintances")]
    pub known_drives: KnownDrives,
    /// The pools that belong to the box.
    #[serde(default)]
    pub pools: PoolRoll,
    /// When pools were last compared.
    #[serde(default)]
    pub(super) checks: Checks,
    /// How volumes fill.
    #[serde(default)]
    pub fill: Fill,
    /// What is plugged into which controller, and how good its link was.
    #[serde(default)]
    pub controllers: controllers::ControllerMemory,
    /// What fans did.
    #[serde(default)]
    pub tachometers: Tachometers,
    /// How warm drives get.
    #[serde(default, rename = "warmest")]
    pub airflow: airflow::AirflowMemory,
    /// How runs and boots follow each other.
    #[serde(default)]
    pub runs: Runs,
    /// How often things of the box itself happened.
    #[serde(default, rename = "occurrences")]
    pub(super) event_counts: EventCounts,
    /// The open incidents.
    #[serde(default, rename = "book")]
    pub incident_store: IncidentStore,
    /// What happened lately.
    #[serde(default)]
    pub signs: Signs,
    /// The drives as they were known at the last look, for the next start.
    #[serde(default)]
    pub known: drives::DriveMemory,
    /// When the board's supply was too low lately.
    #[serde(default)]
    pub supply: supply::SupplyMemory,
    /// Commands that timed out lately.
    #[serde(default)]
    pub attachments: attachments::AttachmentMemory,
    /// How often drives had started when they were last asked.
    #[serde(default)]
    pub(super) power_cycles: power_cycles::PowerCycleMemory,
    /// Which drives missed the last cold starts.
    #[serde(default)]
    pub starts: Starts,
    /// What of the box was readable.
    #[serde(default)]
    pub sources: Sources,
    /// Which fans turn or turned.
    #[serde(default)]
    pub fans: fans::FanMemory,
    /// Which network ports are in use, and how fast they are.
    #[serde(default)]
    pub links: links::LinkMemory,
    /// Which volumes could be written to.
    #[serde(default)]
    pub volumes: volumes::VolumeMemory,
    /// How warm the room was lately.
    #[serde(default)]
    pub climate: climate::Climate,
    /// When the machine woke last.
    #[serde(default)]
    pub waking: Waking,
    #[serde(skip)]
    last_look: Option<Moment>,
    /// True when something was learned that is worth keeping.
    #[serde(skip)]
    pub is_new: bool,
}

impl Ledger {
    /// The box is looked at now.
    pub(super) fn watch(&mut self, now: Moment) {
        let since = self.last_look.map_or(Duration::ZERO, |last| now.since(last));
        self.watched += since.min(LONGEST_GAP);
        self.last_look = Some(now);
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
        let absent = self.incident_store.absent_drives().cloned().collect();
        self.starts.begin(self.counters.all(COUNTER), absent);
        self.incident_store.move_back(by);
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

    /// A run of the program begins in this boot of the machine. How the one before ended is noted, for a week of watching.
    pub fn begin(&mut self, boot: &str) -> Ending {
        let ending = self.runs.begin(boot);
        self.is_new = true;
        match ending {
            Ending::WithTheMachine => self.happened(UNCLEAN_RESTART, 1, COUNTED_FOR),
            Ending::Alone => self.happened(ENDED_UNASKED, 1, COUNTED_FOR),
            Ending::InOrder | Ending::Unknown => {}
        }
        ending
    }

    /// The ledger as it comes back from where it is kept.
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
            self.event_counts.note(what, times, span, self.watched);
            self.is_new = true;
        }
    }

    /// How often it happened within the span for which it counts.
    pub fn count(&self, what: &str) -> u64 {
        self.event_counts.count(what, self.watched)
    }

    /// How long ago, in watched time, a pool was compared; and whether that was never seen, which counts from when the pool
    /// was first seen.
    pub fn since_check(&self, pool: &str) -> Option<(Duration, bool)> {
        self.checks.since(pool, self.watched)
    }

    /// What a counter says now.
    pub fn now(&self, drive: &DriveKey, counter: &str) -> Option<i64> {
        self.counters.now(drive, counter)
    }

    /// How much a counter grew within the last so long of watched time; `None` when the drive does not count it.
    pub fn growth(&self, drive: &DriveKey, counter: &str, within: Duration) -> Option<i64> {
        self.counters.growth(drive, counter, self.watched.saturating_sub(within))
    }

    /// The highest that a number was within the last so long of watched time.
    pub fn highest(&self, drive: &DriveKey, counter: &str, within: Duration) -> Option<i64> {
        self.counters.highest(drive, counter, self.watched.saturating_sub(within))
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::memory::Memory;
    use traylight_config::Settings;
    use traylight_data::reading::Counter;
    use traylight_heron::{heron, story};

    const HOUR: Duration = Duration::from_secs(3600);

    /// One drive that says `value` of one counter, hour after hour; the box is watched all the time.
    fn growth_after(values: &[i64], within: Duration) -> (Option<i64>, usize) {
        let (mut memory, settings) = (Memory::default(), Settings::default());
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
                fell += memory.learn(&settings, crate::conditions::kinds(), &snapshot).len();
                now = now.plus(Duration::from_secs(60));
            }
        }
        (key.and_then(|key| memory.ledger.growth(&key, "reallocated_sectors", within)), fell)
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
        let mut memory = Memory::default();
        memory.learn(
            &Settings::default(),
            crate::conditions::kinds(),
            &heron::snapshot(Moment::after_boot(HOUR), &story::scene(Duration::ZERO)),
        );
        let ledger = memory.ledger;
        assert!(ledger.is_new);
        let text = serde_json::to_string(&ledger).expect("a ledger is JSON");
        let back: Ledger = serde_json::from_str(&text).expect("and comes back");
        assert_eq!(
            (back.watched, &back.counters.all("power_on_hours")),
            (ledger.watched, &ledger.counters.all("power_on_hours"))
        );
    }
}
