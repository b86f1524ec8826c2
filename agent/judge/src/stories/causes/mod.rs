//! Stories of causes: what several readings together point to. Each rule has stories in which it must speak and near
//! misses in which it must not, as rows of a table; the rules are those of `causes/README.md`.

mod apart;
mod box_itself;
mod connection;
mod contact;
mod controller;
mod drive;
mod going;
mod hand;
mod heat;
mod laws;
mod power;
mod pulling;
mod recordings;
mod script;
mod shared;
mod transfer;
mod tray;
mod usb;
mod words;
mod worse;

use super::{HOUR, MINUTE};
use crate::judge;
use crate::memory::Memory;
use crate::memory::ledger::Ledger;
use script::{ScriptedBox, Step};
use std::collections::BTreeMap;
use std::time::Duration;
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::{Itself, Snapshot};
use traylight_data::verdict::{Cause, Incident, Update, Verdict};
use traylight_heron as demo;

/// A row of the table.
pub struct Row {
    /// The rule that it is about, as in `causes/README.md`.
    rule: &'static str,
    /// The causes that this rule names.
    causes: &'static [Cause],
    /// True when the rule must speak.
    speaks: bool,
    /// What happens, in words.
    name: &'static str,
    /// The same as a script.
    script: &'static str,
    /// The causes of all incidents that are open at its end, worst first, then oldest first.
    expected: &'static str,
}

impl Row {
    const fn yes(rule: &'static str, causes: &'static [Cause], story: [&'static str; 3]) -> Self {
        let [name, script, expected] = story;
        Self { rule, causes, speaks: true, name, script, expected }
    }

    const fn no(rule: &'static str, causes: &'static [Cause], story: [&'static str; 3]) -> Self {
        Self { speaks: false, ..Self::yes(rule, causes, story) }
    }
}

fn rows() -> impl Iterator<Item = &'static Row> {
    let tables = [
        apart::ROWS,
        connection::ROWS,
        hand::ROWS,
        power::ROWS,
        contact::ROWS,
        transfer::ROWS,
        shared::ROWS,
        drive::ROWS,
        controller::ROWS,
        usb::ROWS,
        heat::ROWS,
        box_itself::ROWS,
    ];
    tables.into_iter().flatten()
}

/// A script as it is played: the box, what is judged of it, and what was said.
struct Play {
    settings: Settings,
    memory: Memory,
    scene: ScriptedBox,
    /// How long the box had been up when it began, or began anew, in seconds; and when of the story that was.
    up: u64,
    began: u64,
    /// Up to when it was played.
    reached: u64,
    /// Drives, members and events are listed from the last to the first.
    is_backwards: bool,
    /// When the machine wakes that was suspended; 0 while it was not.
    wakes: u64,
    updates: Vec<(u64, Update)>,
    verdict: Option<Verdict>,
    last: Option<Snapshot>,
}

impl Play {
    fn new() -> Self {
        let mut ledger = Ledger::default();
        ledger.begin("the first boot");
        Self {
            settings: demo::settings().expect("the pretend box has settings"),
            memory: Memory::with_ledger(ledger),
            scene: ScriptedBox::default(),
            up: 240 * HOUR,
            began: 0,
            reached: 0,
            is_backwards: false,
            wakes: 0,
            updates: Vec::new(),
            verdict: None,
            last: None,
        }
    }

    /// Plays a script to its end: five minutes after its last step, unless that is `end`.
    fn of(script: &str) -> Self {
        let mut play = Self::new();
        play.go_on(script);
        play
    }

    /// Plays what comes after that.
    fn go_on(&mut self, script: &str) {
        self.go_through(script, |_, _| {});
    }

    /// Looks every two seconds after a step, and less often when nothing happens; after each look `watch` is called.
    fn go_through(&mut self, script: &str, watch: impl Fn(u64, &mut Self)) {
        let steps = script::read(script);
        let (mut next, mut second) = (0, self.reached);
        let Some(last) = steps.last() else { return };
        let end = if last.words == ["end"] { last.second } else { last.second + 5 * MINUTE };
        while second <= end {
            while let Some(step) = steps.get(next).filter(|step| step.second <= second) {
                self.take(step);
                next += 1;
            }
            second = second.max(std::mem::take(&mut self.wakes));
            self.look(second);
            watch(second, self);
            let calm = second - steps[..next].last().map_or(0, |step| step.second);
            let pace = match calm {
                ..30 => 2,
                ..300 => 10,
                ..3600 => 30,
                _ => 600,
            };
            let until = steps.get(next).map_or(u64::MAX, |step| step.second);
            second = (second + pace).min(until.max(second + 2));
        }
        self.reached = second;
    }

    fn moment(&self, second: u64) -> Moment {
        Moment::after_boot(Duration::from_secs(self.up + second.saturating_sub(self.began)))
    }

    fn take(&mut self, step: &Step) {
        let now = self.moment(step.second);
        match step.words.iter().map(String::as_str).collect::<Vec<_>>()[..] {
            ["up", seconds] => self.up = seconds.parse().expect("seconds"),
            ["mute"] => self.memory.ledger.incident_store.muted_until = Some(now.plus(Duration::from_secs(HOUR))),
            ["ack", "all"] => {
                let open: Vec<_> = self.memory.incidents().iter().map(|incident| incident.id).collect();
                assert!(open.into_iter().all(|id| self.memory.acknowledge(id)));
            }
            ["restart"] => self.restart(|_| {}),
            ["stop"] => self.memory.end(),
            // Nobody looks meanwhile.
            ["pass", seconds] => self.wakes = step.second + seconds.parse::<u64>().expect("seconds"),
            ["suspend", seconds] => {
                let asleep: u64 = seconds.parse().expect("seconds");
                self.scene.suspended += asleep;
                self.wakes = step.second + asleep;
            }
            // The boot clock begins anew, and what was noted lies before.
            ["reboot"] => {
                self.restart(|ledger| {
                    ledger.move_back(now, |at| at.minus(now.since_boot()));
                    ledger.begin(&format!("boot at {}", step.second));
                });
                (self.up, self.began, self.scene.suspended) = (0, step.second, 0);
            }
            _ => self.scene.take(step),
        }
    }

    /// The program ends and starts again: what is kept is all that is left.
    fn restart(&mut self, between: impl Fn(&mut Ledger)) {
        let mut ledger = self.memory.ledger().as_kept().expect("a ledger is JSON, and comes back");
        between(&mut ledger);
        self.memory = Memory::with_ledger(ledger);
    }

    fn look(&mut self, second: u64) {
        let (up, began) = (self.up, self.began);
        let moment = |second: u64| Moment::after_boot(Duration::from_secs(up + second.saturating_sub(began)));
        let mut snapshot = self.scene.snapshot(moment, second);
        if self.is_backwards {
            snapshot.drives.reverse();
            snapshot.events.reverse();
            snapshot.pools.iter_mut().for_each(|pool| pool.members.reverse());
        }
        self.judge(second, snapshot);
    }

    fn judge(&mut self, second: u64, snapshot: Snapshot) {
        let (verdict, _) = judge(&self.settings, &mut self.memory, snapshot.taken, Some(&snapshot), &Itself::default());
        self.updates.extend(verdict.updates.iter().map(|update| (second, update.clone())));
        (self.verdict, self.last) = (Some(verdict), Some(snapshot));
    }

    /// The open incidents, worst first, then oldest first.
    fn open(&self) -> &[Incident] {
        self.verdict.as_ref().map_or(&[], |verdict| &verdict.incidents)
    }

    /// Their causes, in words.
    fn causes(&self) -> String {
        let words = |incident: &Incident| format!("{} {}", incident.cause.id(), incident.confidence.word());
        self.open().iter().map(words).collect::<Vec<_>>().join(", ")
    }

    /// What was said of incidents, a line each.
    fn said(&self) -> Vec<String> {
        let line = |(second, update): &(u64, Update)| {
            let kinds: Vec<&str> = update.incident.conditions.iter().map(|condition| condition.kind().id()).collect();
            let (id, cause, severity) = (update.incident.id, update.incident.cause.id(), update.incident.severity);
            format!("{second} #{id} {severity} {cause} {kinds:?} {:?}", update.what)
        };
        self.updates.iter().map(line).collect()
    }
}

/// All rows, and the causes expected against the causes found: only the diagonal may be filled.
#[test]
fn each_row_has_its_cause_and_no_cause_is_taken_for_another() {
    let mut wrong = Vec::new();
    let mut table: BTreeMap<(&str, &str), u32> = BTreeMap::new();
    let first = |causes: &str| {
        let named =
            Cause::ALL.iter().map(|cause| cause.id()).find(|cause| causes.split([' ', ',']).next() == Some(cause));
        named.unwrap_or("nothing")
    };
    for row in rows() {
        let play = Play::of(row.script);
        let spoke = play.updates.iter().any(|(_, update)| row.causes.contains(&update.incident.cause));
        let found = play.causes();
        *table.entry((first(row.expected), first(&found))).or_default() += 1;
        if found != row.expected || spoke != row.speaks {
            let (rule, name, wanted) = (row.rule, row.name, row.expected);
            let said = play.said().join("\n  ");
            wrong.push(format!("{rule}, {name}:\n  found {found:?}, wanted {wanted:?}, spoke: {spoke}\n  {said}"));
        }
    }
    println!("expected | found | rows");
    table.iter().for_each(|((expected, found), rows)| println!("{expected} | {found} | {rows}"));
    assert!(wrong.is_empty(), "{} rows are wrong:\n{}", wrong.len(), wrong.join("\n"));
    assert!(table.keys().all(|(expected, found)| expected == found), "{table:?}");
}

/// Three stories in which a rule must speak and three near misses are the least.
#[test]
fn each_rule_has_its_stories_and_its_near_misses() {
    let mut counts: BTreeMap<&str, (u32, u32)> = BTreeMap::new();
    for row in rows() {
        let (yes, no) = counts.entry(row.rule).or_default();
        *(if row.speaks { yes } else { no }) += 1;
    }
    const RULES: [&str; 29] = [
        "supply",
        "supply, confirmed",
        "wrong tray",
        "tray-power",
        "data-cable",
        "port-or-cable",
        "drive-fails",
        "controller-stopped",
        "controller-hot",
        "pcie-link",
        "usb-bridge",
        "usb-power",
        "airflow",
        "tray-air",
        "warm-room",
        "drive-hangs",
        "path-hangs",
        "kernel-update",
        "data-path",
        "slow-to-wake",
        "restart",
        "link-power-saving",
        "taken-out",
        "unknown",
        "dark",
        "several",
        "one path",
        "pcie-link or shared-path",
        "air-blocked",
    ];
    for rule in RULES {
        let (yes, no) = counts.get(rule).copied().unwrap_or_default();
        assert!(yes >= 3 && no >= 3, "{rule} has {yes} stories and {no} near misses");
    }
}
