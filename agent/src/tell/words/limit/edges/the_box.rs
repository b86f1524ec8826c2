//! Edges of the box: the work on its pools, its processor, its controllers, its system disk, and the program itself.

use super::{BEGINS, CROW, Edge, EdgeLook, figure, processor_at, read};
use crate::reading::{
    ActivityKind, Blind, Bus, BusErrors, Event, EventKind, EventSource, Listing, Missing, Part, PcieLink, Processor,
    Reason, SystemDisk, SystemDiskKind,
};
use crate::units::{Bytes, BytesPerSecond};
use crate::verdict::Severity::{Critical, Notice, Warning};
use std::time::Duration;

/// The seconds of such a figure, up to the next ten.
fn seconds(key: &str, place: &str) -> u64 {
    (figure(key, place).number() as u64).next_multiple_of(10)
}

/// So far below a critical temperature of its own.
fn processor_below_own(look: &mut EdgeLook) {
    if look.value > 0.0 {
        look.value = 100.0 - look.value;
    }
    processor_at(look, Processor::X86, Some(100.0));
}

fn card(look: &mut EdgeLook, written: u64) {
    let disk = SystemDisk { device: "mmcblk0".into(), kind: SystemDiskKind::SdCard, written: Bytes(written) };
    look.snapshot.board.system_disk = Some(read(look, disk));
}

pub(super) fn pools() -> Vec<Edge> {
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

pub(super) fn parts() -> Vec<Edge> {
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
        Edge::time(("slow pcie_link", trouble), Warning, ("limit.controller.slow-link", "hold"), 60, |look| {
            let gigatransfers = if look.value > 0.0 { 2.5 } else { 8.0 };
            look.snapshot.controllers[0].pcie_link = read(look, PcieLink { gigatransfers, width: 1 });
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

pub(super) fn agent() -> Vec<Edge> {
    let id = "agent-and-alerts";
    let waits = "limit.agent.not-delivered";
    let wait: fn(&mut EdgeLook) = |look| look.itself.longest_wait = Some(Duration::from_secs_f64(look.value));
    vec![
        Edge::time(("panel", id), Notice, ("limit.agent.panel-lost", "hold"), 60, |look| {
            look.itself.panel_answers = Some(look.value == 0.0);
        }),
        Edge::time(("unseen", id), Warning, ("limit.agent.unseen", "hold"), 2, |look| {
            if look.value > 0.0 {
                let why = Missing::of(Reason::TimedOut);
                look.snapshot.blind.push(Blind { what: Listing::Chips, why });
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
