//! The edges of conditions that need more than one reading: driven just inside their limit and to it, row by row. Each opens at the
//! figure that is printed.

mod holds;
mod more;

use super::tests::examples;
use crate::clock::Moment;
use crate::demo::{self, heron, story};
use crate::judge::ledger::Ledger;
use crate::judge::{self, Memory, judge};
use crate::reading::{
    ActivityKind, Blind, Bus, BusErrors, Event, EventKind, EventSource, Itself, Lane, Missing, Part, Processor,
    Reading, Reason, RecoveryLimit, Snapshot, Source, SystemDisk, SystemDiskKind, Temperature,
};
use crate::units::{Bytes, BytesPerSecond, Celsius, MegabitsPerSecond};
use crate::verdict::Severity::{self, Critical, Notice, Warning};
use crate::verdict::{Condition, Figure, Limit, Subject};
use std::time::Duration;

/// All is well until this second.
const BEGINS: u64 = 120;
const CROW: usize = 5;

/// One look.
struct Look<'a> {
    second: u64,
    /// How long after all was well.
    later: u64,
    /// What is driven to the limit; 0 while all is well.
    value: f64,
    snapshot: &'a mut Snapshot,
    itself: &'a mut Itself,
    memory: &'a mut Memory,
}

/// A limit by its key, and the figure in it that is driven to; `None` where the limit needs no number.
type Driven = (&'static str, Option<&'static str>);

struct Edge {
    name: &'static str,
    id: &'static str,
    severity: Severity,
    limit: Driven,
    /// Seconds between two looks, and until when is looked after all was well.
    times: (u64, u64),
    /// How far from the figure is just inside the limit, and how far is at it.
    steps: (f64, f64),
    change: fn(&mut Look),
}

impl Edge {
    /// A value that is as it is for so long.
    fn value(
        (name, id): (&'static str, &'static str),
        severity: Severity,
        limit: Driven,
        steps: (f64, f64),
        times: (u64, u64),
        change: fn(&mut Look),
    ) -> Self {
        Self { name, id, severity, limit, times, steps, change }
    }

    /// Something that holds for so long; it is looked at this often.
    fn time(
        (name, id): (&'static str, &'static str),
        severity: Severity,
        (key, place): (&'static str, &'static str),
        pace: u64,
        change: fn(&mut Look),
    ) -> Self {
        let (limit, steps) = ((key, Some(place)), (-(pace as f64), 0.0));
        Self { name, id, severity, limit, times: (pace, 0), steps, change }
    }

    /// Just inside the limit, and at it.
    fn values(&self) -> (f64, f64) {
        let (key, place) = self.limit;
        let figure = place.map_or(0.0, |place| figure(key, place).number());
        (figure + self.steps.0, figure + self.steps.1)
    }

    /// What holds at the end, and its limits.
    fn drive(&self, value: f64) -> Option<(Severity, Vec<Limit>)> {
        let settings = demo::settings().expect("the pretend box has settings");
        let (pace, until) = self.times;
        // The value of a time is the time.
        let end = BEGINS + if until == 0 { value as u64 } else { until };
        let (mut memory, mut itself, mut found) = (Memory::with_ledger(Ledger::default()), Itself::default(), None);
        for second in (BEGINS % pace..=end).step_by(pace as usize) {
            let now = Moment::after_boot(Duration::from_secs(864_000 + second));
            let mut snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
            let later = second.saturating_sub(BEGINS);
            let value = if second < BEGINS { 0.0 } else { value };
            (self.change)(&mut Look {
                second,
                later,
                value,
                snapshot: &mut snapshot,
                itself: &mut itself,
                memory: &mut memory,
            });
            let (verdict, _) = judge(&settings, &mut memory, now, Some(&snapshot), &itself);
            let condition = verdict.conditions.iter().find(|condition| condition.kind().id() == self.id);
            found = condition.map(|condition| (condition.severity, verdict.limits_of(condition).to_vec()));
        }
        found
    }
}

/// A figure of a limit as it is in force in the pretend box: what is printed.
fn figure(key: &str, place: &str) -> Figure {
    let settings = demo::settings().expect("the pretend box has settings");
    let snapshot = heron::snapshot(Moment::default(), &story::scene(Duration::ZERO));
    let subject = Subject::Drive(snapshot.drives[0].key.clone());
    let conditions = examples().into_iter().map(|condition| Condition { subject: subject.clone(), ..condition });
    let mut limits = conditions.flat_map(|condition| judge::limits(&settings, Some(&snapshot), &condition));
    let limit = limits.find(|limit| limit.key == key).unwrap_or_else(|| panic!("there is no {key}"));
    let found = limit.figures.iter().find(|(of, _)| *of == place);
    found.unwrap_or_else(|| panic!("{key} has no {place}")).1
}

/// The seconds of such a figure, up to the next ten.
fn seconds(key: &str, place: &str) -> u64 {
    (figure(key, place).number() as u64).next_multiple_of(10)
}

fn read<T>(look: &Look, value: T) -> Reading<T> {
    Reading::new(Ok(value), look.snapshot.taken, Source::Sysfs)
}

fn processor_at(look: &mut Look, kind: Processor, critical: Option<f64>) {
    let degrees = Celsius(if look.value > 0.0 { look.value } else { 40.0 });
    let value = read(look, degrees);
    let sensor = Temperature {
        key: "board/temp9".into(),
        label: "CPU".into(),
        value,
        critical: critical.map(Celsius),
        processor: Some(kind),
    };
    look.snapshot.temperatures.push(sensor);
}

/// So far below a critical temperature of its own.
fn processor_below_own(look: &mut Look) {
    if look.value > 0.0 {
        look.value = 100.0 - look.value;
    }
    processor_at(look, Processor::X86, Some(100.0));
}

/// The last drive is away for one look at each of these times after all was well.
fn away(look: &mut Look, at: impl IntoIterator<Item = u64>) {
    if look.value > 0.0 && at.into_iter().any(|at| at == look.later) {
        look.snapshot.drives.truncate(CROW);
    }
}

fn card(look: &mut Look, written: u64) {
    let disk = SystemDisk { device: "mmcblk0".into(), kind: SystemDiskKind::SdCard, written: Bytes(written) };
    look.snapshot.board.system_disk = Some(read(look, disk));
}

fn drives() -> Vec<Edge> {
    let flapping = "limit.drive-flapping";
    let patience = "limit.recovery-time-mismatch";
    vec![
        Edge::time(("gone", "drive-gone"), Warning, ("limit.drive-gone.away", "hold"), 2, |look| {
            if look.value > 0.0 {
                look.snapshot.drives.truncate(CROW);
            }
        }),
        Edge::value(
            ("losses", "drive-flapping"),
            Warning,
            (flapping, Some("losses")),
            (-1.0, 0.0),
            (60, 30_000),
            |look| {
                let times = look.value as u64;
                away(look, (0..times).map(|nth| nth * 7200));
            },
        ),
        Edge::value(
            ("in an hour", "drive-flapping"),
            Critical,
            (flapping, Some("critical")),
            (60.0, 0.0),
            (30, 3900),
            |look| {
                let within = look.value as u64;
                away(look, (0..3).map(|nth| nth * within / 2));
            },
        ),
        Edge::time(("slow link", "sata-slow"), Warning, ("limit.sata-slow", "hold"), 10, |look| {
            let speed = if look.value > 0.0 { 3000 } else { 6000 };
            look.snapshot.drives[0].attachment.speed = read(look, MegabitsPerSecond(speed));
        }),
        Edge::value(
            ("no limit", "recovery-time-mismatch"),
            Notice,
            (patience, Some("without")),
            (0.0, -1.0),
            (60, 60),
            |look| {
                let patience = Duration::from_secs(if look.value > 0.0 { look.value as u64 } else { 1000 });
                for drive in &mut look.snapshot.drives {
                    drive.attachment.patience.value = Ok(patience);
                    if let Ok(health) = &mut drive.health.value {
                        health.recovery_limit = Ok(RecoveryLimit::Off);
                    }
                }
            },
        ),
        Edge::value(
            ("as long as the kernel", "recovery-time-mismatch"),
            Notice,
            (patience, None),
            (29.9, 30.0),
            (60, 60),
            |look| {
                for drive in &mut look.snapshot.drives {
                    drive.attachment.patience.value = Ok(Duration::from_secs(30));
                    if let Ok(health) = &mut drive.health.value {
                        health.recovery_limit = Ok(RecoveryLimit::After(Duration::from_secs_f64(look.value)));
                    }
                }
            },
        ),
    ]
}

fn pools() -> Vec<Edge> {
    let (stalled, overdue) = ("limit.rebuild-stalled", "limit.check-overdue");
    vec![
        Edge::value(
            ("crawls", "rebuild-stalled"),
            Warning,
            (stalled, Some("below")),
            (0.0, -1.0),
            (60, 1800),
            |look| {
                let pool = &mut look.snapshot.pools[0];
                pool.activity.kind = ActivityKind::Rebuild;
                pool.activity.done = Some(0.1 + look.second as f64 / 1e6);
                pool.activity.speed = Some(BytesPerSecond(if look.value > 0.0 { look.value } else { 1e8 }));
            },
        ),
        Edge::time(("stands", "rebuild-stalled"), Warning, (stalled, "hold"), 60, |look| {
            let pool = &mut look.snapshot.pools[0];
            pool.activity.kind = ActivityKind::Rebuild;
            (pool.activity.done, pool.activity.speed) = (Some(0.1 + (look.second.min(BEGINS - 60)) as f64 / 1e6), None);
            if look.second < BEGINS {
                pool.activity.speed = Some(BytesPerSecond(1e8));
            }
        }),
        // The two minutes until then are watched as well.
        Edge::value(("overdue", "check-overdue"), Warning, (overdue, Some("every")), (-1.0, 0.0), (60, 1), |look| {
            look.snapshot.pools[0].last_check = None;
            if look.value > 0.0 {
                look.memory.let_time_pass(Duration::from_secs_f64(look.value) - Duration::from_secs(BEGINS));
            }
        }),
    ]
}

fn the_box() -> Vec<Edge> {
    let (warm, critical) = ("limit.cpu-hot-throttled.warning", "limit.cpu-hot-throttled.critical");
    let own = "limit.cpu-hot-throttled.below-own";
    let times = (10, seconds(warm, "hold").max(seconds(critical, "hold")));
    let hot = "cpu-hot-throttled";
    let trouble = "controller-trouble";
    let box_trouble = "box-storage-and-restart";
    let (wears, once) = ("limit.box.card-wears", "limit.box.once");
    vec![
        Edge::value(("warm", hot), Warning, (warm, Some("from")), (-0.1, 0.0), times, |look| {
            processor_at(look, Processor::SystemOnChip, None);
        }),
        Edge::value(("hot", hot), Critical, (critical, Some("from")), (-0.1, 0.0), times, |look| {
            processor_at(look, Processor::SystemOnChip, None);
        }),
        Edge::value(("own, warm", hot), Warning, (own, Some("warning")), (0.1, 0.0), times, processor_below_own),
        Edge::value(("own, hot", hot), Critical, (own, Some("critical")), (0.1, 0.0), times, processor_below_own),
        Edge::time(("gone", trouble), Critical, ("limit.controller.gone", "hold"), 2, |look| {
            if look.value > 0.0 {
                look.snapshot.controllers.clear();
            }
        }),
        Edge::time(("silent", trouble), Critical, ("limit.controller.all-ones", "hold"), 2, |look| {
            look.snapshot.controllers[0].answers = read(look, look.value == 0.0);
        }),
        Edge::time(("undriven", trouble), Critical, ("limit.controller.no-driver", "hold"), 2, |look| {
            if look.value > 0.0 {
                look.snapshot.controllers[0].driver = None;
            }
        }),
        Edge::value(
            ("bus errors", trouble),
            Warning,
            ("limit.controller.bus-errors", Some("errors")),
            (-1.0, 0.0),
            (60, 60),
            |look| {
                let corrected = look.value as u64;
                look.snapshot.controllers[0].bus_errors = read(look, BusErrors { corrected, uncorrected: 0 });
            },
        ),
        Edge::value(
            ("resets", trouble),
            Warning,
            ("limit.controller.resets", Some("resets")),
            (-1.0, 0.0),
            (60, 600),
            |look| {
                let drive = &mut look.snapshot.drives[CROW];
                (drive.bus, drive.port) = (Bus::Usb, Some("0000/14.0/usb-2.1:0".into()));
                if look.later / 60 < look.value as u64 && look.value > 0.0 {
                    let (at, part) = (look.snapshot.taken, Part::Usb("2.1".into()));
                    let what = EventKind::Reset;
                    look.snapshot.events.push(Event { at, part, what, teller: EventSource::Log, line: String::new() });
                }
            },
        ),
        Edge::time(("slow lane", trouble), Warning, ("limit.controller.slow-lane", "hold"), 60, |look| {
            let gigatransfers = if look.value > 0.0 { 2.5 } else { 8.0 };
            look.snapshot.controllers[0].lane = read(look, Lane { gigatransfers, width: 1 });
        }),
        Edge::value(("card", box_trouble), Warning, (wears, Some("written")), (0.0, 1.0), (60, 3600), |look| {
            let written = look.value as u64;
            card(look, written);
        }),
        Edge::time(("card, for long", box_trouble), Warning, (wears, "hold"), 60, |look| {
            let most = figure("limit.box.card-wears", "written").number() as u64;
            let written = if look.value > 0.0 { most + 1 } else { 0 };
            card(look, written);
        }),
        Edge::value(("no memory", box_trouble), Warning, (once, None), (0.0, 1.0), (60, 60), |look| {
            look.snapshot.board.out_of_memory = Some(read(look, look.value as u64));
        }),
        Edge::value(("disk errors", box_trouble), Critical, (once, None), (0.0, 1.0), (60, 60), |look| {
            card(look, 0);
            if look.value > 0.0 && look.later == 0 {
                let (at, part, what) = (look.snapshot.taken, Part::Place("mmc0".into()), EventKind::CommandFailed);
                look.snapshot.events.push(Event { at, part, what, teller: EventSource::Log, line: String::new() });
            }
        }),
    ]
}

fn agent() -> Vec<Edge> {
    let id = "agent-and-alerts";
    let waits = "limit.agent.not-delivered";
    let wait: fn(&mut Look) = |look| look.itself.longest_wait = Some(Duration::from_secs_f64(look.value));
    vec![
        Edge::time(("panel", id), Notice, ("limit.agent.panel-lost", "hold"), 60, |look| {
            look.itself.panel_answers = Some(look.value == 0.0);
        }),
        Edge::time(("unseen", id), Warning, ("limit.agent.unseen", "hold"), 2, |look| {
            if look.value > 0.0 {
                let why = Missing::new(Reason::TimedOut, "no answer");
                look.snapshot.blind.push(Blind { what: "fans".into(), why });
            }
        }),
        Edge::time(("clock", id), Warning, ("limit.agent.clock-not-set", "hold"), 600, |look| {
            look.itself.clock_set = Some(look.value == 0.0);
        }),
        Edge::time(("unconfirmed", id), Warning, ("limit.agent.not-confirmed", "hold"), 600, |look| {
            look.itself.unconfirmed = if look.value == 0.0 { Vec::new() } else { vec!["mail".into()] };
        }),
        Edge::value(("waits", id), Warning, (waits, Some("warning")), (-1.0, 0.0), (60, 60), wait),
        Edge::value(("waits for a day", id), Critical, (waits, Some("critical")), (-1.0, 0.0), (60, 60), wait),
        Edge::value(("not kept", id), Warning, ("limit.agent.not-kept", None), (0.0, 1.0), (60, 60), |look| {
            look.itself.not_kept = (look.value > 0.0).then(|| "no space".to_owned());
        }),
    ]
}

#[test]
fn each_edge_opens_at_the_limit_that_is_printed_and_not_just_inside_it() {
    let mut wrong = Vec::new();
    for edge in
        [drives(), more::edges(), holds::edges(), pools(), the_box(), agent(), more::suspected()].into_iter().flatten()
    {
        let holds = |found: &Option<(Severity, Vec<Limit>)>| found.as_ref().is_some_and(|(of, _)| *of >= edge.severity);
        let values = edge.values();
        let (inside, at) = (edge.drive(values.0), edge.drive(values.1));
        if holds(&inside) {
            wrong.push(format!("{} {} opens at {}: {inside:?}", edge.id, edge.name, values.0));
        }
        if !holds(&at) {
            wrong.push(format!("{} {} does not open at {}: {at:?}", edge.id, edge.name, values.1));
        }
        let (key, place) = edge.limit;
        let is_meant = |limit: &Limit| {
            limit.key == key && place.is_none_or(|place| limit.figures.contains(&(place, figure(key, place))))
        };
        if at.as_ref().is_some_and(|(_, limits)| !limits.iter().any(is_meant)) {
            wrong.push(format!("{} {} has no {:?}: {at:?}", edge.id, edge.name, edge.limit));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What happened once in another run counts from the ledger, for as long as is printed.
#[test]
fn one_end_that_nobody_asked_for_is_one_too_many() {
    let cases = [
        (["this boot", "this boot"], "agent-and-alerts", "limit.agent.ended-unasked"),
        (["the boot before", "this boot"], "box-storage-and-restart", "limit.box.once"),
    ];
    for (boots, id, key) in cases {
        let within = Duration::from_secs_f64(figure(key, "within").number());
        for (runs, passed, is_told) in [
            (1, Duration::ZERO, false),
            (2, Duration::ZERO, true),
            (2, within - Duration::from_secs(1), true),
            // What is counted is forgotten up to a hundredth later.
            (2, within + within / 100, false),
        ] {
            let settings = demo::settings().expect("the pretend box has settings");
            let mut ledger = Ledger::default();
            for boot in boots.iter().take(runs) {
                ledger.begin(boot);
            }
            let mut memory = Memory::with_ledger(ledger);
            memory.let_time_pass(passed);
            let now = Moment::after_boot(Duration::from_secs(864_000));
            let snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
            let (verdict, _) = judge(&settings, &mut memory, now, Some(&snapshot), &Itself::default());
            let held = verdict.conditions.iter().find(|held| held.kind().id() == id);
            assert_eq!(held.is_some(), is_told, "{id} {runs} {passed:?}");
            assert!(held.is_none_or(|held| verdict.limits_of(held).iter().any(|limit| limit.key == key)));
        }
    }
}
