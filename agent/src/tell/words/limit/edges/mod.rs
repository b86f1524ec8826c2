//! The edges of conditions: driven just inside their limit and to it, row by row. Each opens, or ends, at the figure that is
//! printed; and each figure that is printed is driven, or stands in [`driven_elsewhere`] with its reason.

mod driven_elsewhere;
mod drives;
mod ends;
mod holds;
mod members;
mod spans;
mod the_box;
mod windows;

use super::tests::examples;
use crate::clock::Moment;
use crate::demo::{self, heron, story};
use crate::judge::ledger::Ledger;
use crate::judge::{self, Memory, judge};
use crate::reading::{Itself, Processor, Reading, Snapshot, Source, Temperature};
use crate::units::Celsius;
use crate::verdict::Severity;
use crate::verdict::{Condition, Figure, Limit, Subject};
use std::collections::BTreeSet;
use std::time::Duration;

/// All is well until this second.
const BEGINS: u64 = 120;
const CROW: usize = 5;

/// One look.
struct EdgeLook<'a> {
    second: u64,
    /// How long after all was well.
    later: u64,
    /// What is driven to the limit; 0 while all is well.
    value: f64,
    /// What was wrong is mended.
    is_mended: bool,
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
    /// Seconds between two looks, and until when is looked after all was well, or after it was mended.
    times: (u64, u64),
    /// Where a condition ends: how long something is wrong until it is mended.
    wrong_for: Option<u64>,
    /// How far from the figure is just inside the limit, and how far is at it.
    steps: (f64, f64),
    change: fn(&mut EdgeLook),
}

impl Edge {
    /// A value that is as it is for so long.
    fn value(
        (name, id): (&'static str, &'static str),
        severity: Severity,
        limit: Driven,
        steps: (f64, f64),
        times: (u64, u64),
        change: fn(&mut EdgeLook),
    ) -> Self {
        Self { name, id, severity, limit, times, wrong_for: None, steps, change }
    }

    /// Something that holds for so long; it is looked at this often.
    fn time(
        (name, id): (&'static str, &'static str),
        severity: Severity,
        (key, place): (&'static str, &'static str),
        pace: u64,
        change: fn(&mut EdgeLook),
    ) -> Self {
        let (limit, steps) = ((key, Some(place)), (-(pace as f64), 0.0));
        Self { name, id, severity, limit, times: (pace, 0), wrong_for: None, steps, change }
    }

    /// The same edge of what is wrong for so long and then mended: the condition holds just inside the limit, and ends at it.
    fn ends_after(self, wrong_for: u64) -> Self {
        Self { wrong_for: Some(wrong_for), ..self }
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
        let end = BEGINS + self.wrong_for.unwrap_or(0) + if until == 0 { value as u64 } else { until };
        let (mut memory, mut itself, mut found) = (Memory::with_ledger(Ledger::default()), Itself::default(), None);
        for second in (BEGINS % pace..=end).step_by(pace as usize) {
            let now = Moment::after_boot(Duration::from_secs(864_000 + second));
            let mut snapshot = heron::snapshot(now, &story::scene(Duration::ZERO));
            let later = second.saturating_sub(BEGINS);
            let is_mended = self.wrong_for.is_some_and(|wrong_for| later >= wrong_for);
            let value = if second < BEGINS { 0.0 } else { value };
            (self.change)(&mut EdgeLook {
                second,
                later,
                value,
                is_mended,
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

/// Something is wrong now.
fn is_wrong(look: &EdgeLook) -> bool {
    look.value > 0.0 && !look.is_mended
}

fn read<T>(look: &EdgeLook, value: T) -> Reading<T> {
    Reading::new(Ok(value), look.snapshot.taken, Source::Sysfs)
}

fn processor_at(look: &mut EdgeLook, kind: Processor, critical: Option<f64>) {
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

fn all() -> Vec<Edge> {
    let of_parts = [drives::edges(), members::edges(), the_box::pools(), the_box::parts(), the_box::agent()];
    let of_figures = [holds::edges(), spans::edges(), windows::edges(), ends::edges(), members::suspected()];
    of_parts.into_iter().chain(of_figures).flatten().collect()
}

#[test]
fn each_edge_is_at_the_limit_that_is_printed_and_not_just_inside_it() {
    let mut wrong = Vec::new();
    for edge in all() {
        let holds = |found: &Option<(Severity, Vec<Limit>)>| found.as_ref().is_some_and(|(of, _)| *of >= edge.severity);
        let values = edge.values();
        // One that ends holds until its limit is reached.
        let (without, with) = if edge.wrong_for.is_some() { (values.1, values.0) } else { values };
        let (told, holding) = (edge.drive(without), edge.drive(with));
        if holds(&told) {
            wrong.push(format!("{} {} holds at {without}: {told:?}", edge.id, edge.name));
        }
        if !holds(&holding) {
            wrong.push(format!("{} {} does not hold at {with}: {holding:?}", edge.id, edge.name));
        }
        let (key, place) = edge.limit;
        let is_meant = |limit: &Limit| {
            limit.key == key && place.is_none_or(|place| limit.figures.contains(&(place, figure(key, place))))
        };
        if holding.as_ref().is_some_and(|(_, limits)| !limits.iter().any(is_meant)) {
            wrong.push(format!("{} {} has no {:?}: {holding:?}", edge.id, edge.name, edge.limit));
        }
    }
    assert!(wrong.is_empty(), "{}", wrong.join("\n"));
}

#[test]
fn every_figure_that_is_printed_is_driven() {
    let settings = demo::settings().expect("the pretend box has settings");
    let snapshot = heron::snapshot(Moment::default(), &story::scene(Duration::ZERO));
    let subject = Subject::Drive(snapshot.drives[0].key.clone());
    let mut printed = BTreeSet::new();
    for condition in examples().into_iter().map(|condition| Condition { subject: subject.clone(), ..condition }) {
        for seen in [Some(&snapshot), None] {
            let limits = judge::limits(&settings, seen, &condition);
            let places = |limit: Limit| limit.figures.into_iter().map(move |(place, _)| (limit.key, place));
            printed.extend(limits.into_iter().flat_map(places));
        }
    }
    let here = all().into_iter().filter_map(|edge| Some((edge.limit.0, edge.limit.1?)));
    let elsewhere = driven_elsewhere::FIGURES.iter().map(|(key, place, _)| (*key, *place));
    let driven: BTreeSet<_> = here.chain(elsewhere).collect();
    let undriven: Vec<_> = printed.difference(&driven).collect();
    assert!(undriven.is_empty(), "no edge drives these: {undriven:#?}");
    let gone: Vec<_> = driven.difference(&printed).collect();
    assert!(gone.is_empty(), "these are not printed: {gone:#?}");
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
