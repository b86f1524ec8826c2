//! The edges of conditions that need more than one reading: driven just inside their limit and to it, row by row. Each prints
//! the number that it opened at.

mod more;

use super::limits;
use crate::clock::Moment;
use crate::demo::{self, heron, story};
use crate::judge::ledger::Ledger;
use crate::judge::{Memory, airflow, answering, attachments, board, controllers, itself, judge, pool_work, processor};
use crate::reading::{
    ActivityKind, Blind, Bus, BusErrors, Event, Happening, Itself, Lane, Missing, Part, Processor, Reading, Reason,
    RecoveryLimit, Snapshot, Source, SystemDisk, SystemDiskKind, Teller, Temperature, Traffic,
};
use crate::units::{Bytes, BytesPerSecond, Celsius, MegabitsPerSecond, span};
use crate::verdict::Severity::{self, Critical, Notice, Warning};
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

struct Edge {
    name: &'static str,
    id: &'static str,
    severity: Severity,
    printed: String,
    /// Seconds between two looks, and until when is looked after all was well.
    times: (u64, u64),
    /// Just inside the limit, and at it.
    values: (f64, f64),
    change: fn(&mut Look),
}

impl Edge {
    /// A value that is as it is for so long.
    fn value(
        (name, id): (&'static str, &'static str),
        severity: Severity,
        values: (f64, f64),
        printed: String,
        times: (u64, u64),
        change: fn(&mut Look),
    ) -> Self {
        Self { name, id, severity, printed, times, values, change }
    }

    /// Something that holds for so long; it is looked at this often.
    fn time(
        (name, id): (&'static str, &'static str),
        severity: Severity,
        limit: Duration,
        printed: String,
        pace: u64,
        change: fn(&mut Look),
    ) -> Self {
        let seconds = limit.as_secs();
        let values = ((seconds - pace) as f64, seconds as f64);
        Self { name, id, severity, printed, times: (pace, 0), values, change }
    }

    /// What holds at the end, and which limits are printed of it.
    fn drive(&self, value: f64) -> Option<(Severity, String)> {
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
            found = condition.map(|condition| {
                let drive = snapshot.drives.iter().find(|drive| Some(&drive.key) == condition.subject.drive());
                let drive = drive.and_then(|drive| Some((drive, verdict.drives.get(&drive.key)?.heat)));
                (condition.severity, limits(condition, &settings, drive).join("; "))
            });
        }
        found
    }
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
    let set = demo::settings().expect("the pretend box has settings").limits;
    let gone = format!("away for {}", span(set.drive.gone_hold));
    let losses = format!("lost {} times within {} is a warning", answering::LOSSES, span(answering::DAY));
    let crowd = format!("within {} critical", span(answering::HOUR));
    let many = answering::LOSSES as f64;
    let hour = answering::HOUR.as_secs_f64();
    let slow = format!("slower than its best on this port for {}", span(attachments::SLOW_HOLD));
    let long = format!("{} if it has no limit", span(attachments::WITHOUT_LIMIT));
    let limit = attachments::WITHOUT_LIMIT.as_secs_f64();
    vec![
        Edge::time(("gone", "drive-gone"), Warning, set.drive.gone_hold, gone, 2, |look| {
            if look.value > 0.0 {
                look.snapshot.drives.truncate(CROW);
            }
        }),
        Edge::value(("losses", "drive-flapping"), Warning, (many - 1.0, many), losses, (60, 30_000), |look| {
            let times = look.value as u64;
            away(look, (0..times).map(|nth| nth * 7200));
        }),
        Edge::value(("in an hour", "drive-flapping"), Critical, (hour + 60.0, hour), crowd, (30, 3900), |look| {
            let within = look.value as u64;
            away(look, (0..3).map(|nth| nth * within / 2));
        }),
        Edge::time(("slow link", "sata-slow"), Warning, attachments::SLOW_HOLD, slow, 10, |look| {
            let speed = if look.value > 0.0 { 3000 } else { 6000 };
            look.snapshot.drives[0].attachment.speed = read(look, MegabitsPerSecond(speed));
        }),
        Edge::value(("no limit", "recovery-time-mismatch"), Notice, (limit, limit - 1.0), long, (60, 60), |look| {
            let patience = Duration::from_secs(if look.value > 0.0 { look.value as u64 } else { 1000 });
            for drive in &mut look.snapshot.drives {
                drive.attachment.patience.value = Ok(patience);
                if let Ok(health) = &mut drive.health.value {
                    health.recovery_limit = Ok(RecoveryLimit::Off);
                }
            }
        }),
        Edge::value(
            ("as long as the kernel", "recovery-time-mismatch"),
            Notice,
            (29.9, 30.0),
            "longer than the kernel waits".to_owned(),
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
    let crawl = pool_work::CRAWL_BYTES_PER_S;
    let stalled = format!("below {} MB/s, for {}", crawl / 1e6, span(pool_work::STALLED.warning));
    let every = pool_work::CHECK_EVERY.as_secs_f64();
    let overdue = format!("{} of watching", span(pool_work::CHECK_EVERY));
    vec![
        Edge::value(
            ("crawls", "rebuild-stalled"),
            Warning,
            (crawl, crawl - 1.0),
            stalled.clone(),
            (60, 1800),
            |look| {
                let pool = &mut look.snapshot.pools[0];
                pool.activity.kind = ActivityKind::Rebuild;
                pool.activity.done = Some(0.1 + look.second as f64 / 1e6);
                pool.activity.speed = Some(BytesPerSecond(if look.value > 0.0 { look.value } else { 1e8 }));
            },
        ),
        Edge::time(("stands", "rebuild-stalled"), Warning, pool_work::STALLED.warning, stalled, 60, |look| {
            let pool = &mut look.snapshot.pools[0];
            pool.activity.kind = ActivityKind::Rebuild;
            (pool.activity.done, pool.activity.speed) = (Some(0.1 + (look.second.min(BEGINS - 60)) as f64 / 1e6), None);
            if look.second < BEGINS {
                pool.activity.speed = Some(BytesPerSecond(1e8));
            }
        }),
        // The two minutes until then are watched as well.
        Edge::value(("overdue", "check-overdue"), Warning, (every - 1.0, every), overdue, (60, 1), |look| {
            look.snapshot.pools[0].last_check = None;
            if look.value > 0.0 {
                look.memory.let_time_pass(Duration::from_secs_f64(look.value) - Duration::from_secs(BEGINS));
            }
        }),
    ]
}

fn the_box() -> Vec<Edge> {
    let set = demo::settings().expect("the pretend box has settings").limits.processor;
    let hold = set.warning_hold.as_secs().max(set.critical_hold.as_secs()).next_multiple_of(10);
    let times = (10, hold);
    let (warning, critical) = (set.warning_c, set.critical_c);
    let own = format!("from {} and {} °C below", processor::BELOW_OWN.0, processor::BELOW_OWN.1);
    let (own_warning, own_critical) = (100.0 - processor::BELOW_OWN.0, 100.0 - processor::BELOW_OWN.1);
    let lost = controllers::LOST.critical;
    let errors = controllers::BUS_ERRORS as f64;
    let resets = controllers::RESETS as f64;
    let hot = "cpu-hot-throttled";
    let trouble = "controller-trouble";
    let box_trouble = "box-storage-and-restart";
    let card_bytes = board::CARD_BYTES as f64;
    let wears = format!("more than {} written within {}", Bytes(board::CARD_BYTES), span(board::DAY));
    let wears_for = format!("for {}", span(board::HOUR));
    let once = format!("once within {}", span(board::WEEK));
    vec![
        Edge::value(
            ("warm", hot),
            Warning,
            (warning - 0.1, warning),
            format!("warning from {} for {}", Celsius(warning), span(set.warning_hold)),
            times,
            |look| processor_at(look, Processor::SystemOnChip, None),
        ),
        Edge::value(
            ("hot", hot),
            Critical,
            (critical - 0.1, critical),
            format!("critical from {} for {}", Celsius(critical), span(set.critical_hold)),
            times,
            |look| processor_at(look, Processor::SystemOnChip, None),
        ),
        Edge::value(("own, warm", hot), Warning, (own_warning - 0.1, own_warning), own.clone(), times, |look| {
            processor_at(look, Processor::X86, Some(100.0));
        }),
        Edge::value(("own, hot", hot), Critical, (own_critical - 0.1, own_critical), own, times, |look| {
            processor_at(look, Processor::X86, Some(100.0));
        }),
        Edge::time(("gone", trouble), Critical, lost, format!("away for {}", span(lost)), 2, |look| {
            if look.value > 0.0 {
                look.snapshot.controllers.clear();
            }
        }),
        Edge::time(("silent", trouble), Critical, lost, format!("all ones for {}", span(lost)), 2, |look| {
            look.snapshot.controllers[0].answers = read(look, look.value == 0.0);
        }),
        Edge::time(("undriven", trouble), Critical, lost, format!("no driver for {}", span(lost)), 2, |look| {
            if look.value > 0.0 {
                look.snapshot.controllers[0].driver = None;
            }
        }),
        Edge::value(
            ("bus errors", trouble),
            Warning,
            (errors - 1.0, errors),
            format!("{errors} corrected errors within {}", span(controllers::HOUR)),
            (60, 60),
            |look| {
                let corrected = look.value as u64;
                look.snapshot.controllers[0].bus_errors = read(look, BusErrors { corrected, uncorrected: 0 });
            },
        ),
        Edge::value(
            ("resets", trouble),
            Warning,
            (resets - 1.0, resets),
            format!("{resets} resets within {}", span(controllers::HOUR)),
            (60, 600),
            |look| {
                let drive = &mut look.snapshot.drives[CROW];
                (drive.bus, drive.port) = (Bus::Usb, Some("0000/14.0/usb-2.1:0".into()));
                if look.later / 60 < look.value as u64 && look.value > 0.0 {
                    let (at, part) = (look.snapshot.taken, Part::Usb("2.1".into()));
                    let what = Happening::Reset;
                    look.snapshot.events.push(Event { at, part, what, teller: Teller::Log, line: String::new() });
                }
            },
        ),
        Edge::time(
            ("slow lane", trouble),
            Warning,
            controllers::SLOW.warning,
            format!("slower or narrower than its best for {}", span(controllers::SLOW.warning)),
            60,
            |look| {
                let gigatransfers = if look.value > 0.0 { 2.5 } else { 8.0 };
                look.snapshot.controllers[0].lane = read(look, Lane { gigatransfers, width: 1 });
            },
        ),
        Edge::value(("card", box_trouble), Warning, (card_bytes, card_bytes + 1.0), wears, (60, 3600), |look| {
            let written = look.value as u64;
            card(look, written);
        }),
        Edge::time(("card, for long", box_trouble), Warning, board::HOUR, wears_for, 60, |look| {
            let written = if look.value > 0.0 { board::CARD_BYTES + 1 } else { 0 };
            card(look, written);
        }),
        Edge::value(("no memory", box_trouble), Warning, (0.0, 1.0), once.clone(), (60, 60), |look| {
            look.snapshot.board.out_of_memory = Some(read(look, look.value as u64));
        }),
        Edge::value(("disk errors", box_trouble), Critical, (0.0, 1.0), once, (60, 60), |look| {
            card(look, 0);
            if look.value > 0.0 && look.later == 0 {
                let (at, part, what) = (look.snapshot.taken, Part::Place("mmc0".into()), Happening::CommandFailed);
                look.snapshot.events.push(Event { at, part, what, teller: Teller::Log, line: String::new() });
            }
        }),
    ]
}

fn agent() -> Vec<Edge> {
    let id = "agent-and-alerts";
    let (waits, day) = (itself::WAITS.as_secs_f64(), itself::DAY.as_secs_f64());
    let waiting = format!("waits for {}; critical after {}", span(itself::WAITS), span(itself::DAY));
    let a_day = |of: &str| format!("not {of} for {}", span(itself::DAY));
    let wait: fn(&mut Look) = |look| look.itself.longest_wait = Some(Duration::from_secs_f64(look.value));
    vec![
        Edge::time(
            ("panel", id),
            Notice,
            itself::PANEL_HOLD,
            format!("no answer from a panel for {}", span(itself::PANEL_HOLD)),
            60,
            |look| look.itself.panel_answers = Some(look.value == 0.0),
        ),
        Edge::time(
            ("unseen", id),
            Warning,
            itself::THREE_LOOKS,
            format!("not seen for {}", span(itself::THREE_LOOKS)),
            2,
            |look| {
                if look.value > 0.0 {
                    let why = Missing::new(Reason::TimedOut, "no answer");
                    look.snapshot.blind.push(Blind { what: "fans".into(), why });
                }
            },
        ),
        Edge::time(("clock", id), Warning, itself::DAY, a_day("set"), 600, |look| {
            look.itself.clock_set = Some(look.value == 0.0);
        }),
        Edge::time(("unconfirmed", id), Warning, itself::DAY, a_day("confirmed"), 600, |look| {
            look.itself.unconfirmed = if look.value == 0.0 { Vec::new() } else { vec!["mail".into()] };
        }),
        Edge::value(("waits", id), Warning, (waits - 1.0, waits), waiting.clone(), (60, 60), wait),
        Edge::value(("waits for a day", id), Critical, (day - 1.0, day), waiting, (60, 60), wait),
        Edge::value(("not kept", id), Warning, (0.0, 1.0), "immediately".to_owned(), (60, 60), |look| {
            look.itself.not_kept = (look.value > 0.0).then(|| "no space".to_owned());
        }),
    ]
}

/// Drives without a tachometer, known for a day at 36 degrees, that rise within the last half hour.
fn suspected() -> Vec<Edge> {
    let above = airflow::ABOVE;
    let printed = format!("{above} °C above the warmest that it held for an hour");
    vec![Edge::value(("no tachometer", "fan-weak"), Warning, (above - 0.1, above), printed, (300, 93_600), |look| {
        look.snapshot.fans.clear();
        let risen = (look.later.saturating_sub(91_800) as f64 / 1200.0).min(1.0) * look.value;
        let (degrees, still) = (Celsius(36.0 + risen), BytesPerSecond(0.0));
        for drive in &mut look.snapshot.drives {
            drive.temperature = Reading::new(Ok(degrees), look.snapshot.taken, Source::Drive);
            drive.traffic.value = Ok(Traffic { inward: still, outward: still });
        }
    })]
}

#[test]
fn each_edge_opens_at_the_limit_that_is_printed_and_not_just_inside_it() {
    let mut wrong = Vec::new();
    for edge in [drives(), more::edges(), pools(), the_box(), agent(), suspected()].into_iter().flatten() {
        let holds = |found: &Option<(Severity, String)>| found.as_ref().is_some_and(|(of, _)| *of >= edge.severity);
        let (inside, at) = (edge.drive(edge.values.0), edge.drive(edge.values.1));
        if holds(&inside) {
            wrong.push(format!("{} {} opens at {}: {inside:?}", edge.id, edge.name, edge.values.0));
        }
        if !holds(&at) {
            wrong.push(format!("{} {} does not open at {}: {at:?}", edge.id, edge.name, edge.values.1));
        }
        if at.as_ref().is_some_and(|(_, printed)| !printed.contains(&edge.printed)) {
            wrong.push(format!("{} {} prints no {:?}: {at:?}", edge.id, edge.name, edge.printed));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

/// What happened once in another run counts from the ledger.
#[test]
fn one_end_that_nobody_asked_for_is_one_too_many() {
    for (what, id) in [(itself::ENDED_UNASKED, "agent-and-alerts"), (board::UNCLEAN_RESTART, "box-storage-and-restart")]
    {
        for times in [0, 1] {
            let settings = demo::settings().expect("the pretend box has settings");
            let mut ledger = Ledger::default();
            ledger.happened(what, times, board::WEEK);
            let now = Moment::after_boot(Duration::from_secs(864_000));
            let snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
            let mut memory = Memory::with_ledger(ledger);
            let (verdict, _) = judge(&settings, &mut memory, now, Some(&snapshot), &Itself::default());
            let held = verdict.conditions.iter().find(|held| held.kind().id() == id);
            assert_eq!(held.is_some(), times == 1, "{what} {times}");
            let printed = held.map(|held| limits(held, &settings, None).join("; "));
            assert!(printed.is_none_or(|printed| printed.contains(&format!("once within {}", span(board::WEEK)))));
        }
    }
}
