//! Edges in time: what is beyond its limit, for as long as is printed and for a look less.

use super::{Edge, EdgeLook, figure, is_wrong, processor_at};
use crate::reading::{Counter, Files, Nominal, Processor, Rail, Reading, Source};
use crate::tell::words::limit::tests::warm;
use crate::units::{Bytes, Volts};
use crate::verdict::Severity::{Critical, Notice, Warning};
use std::time::Duration;

/// The figure while something is wrong, else what is well.
pub(super) fn wrong_at(look: &EdgeLook, key: &str, place: &str, well: f64) -> f64 {
    if is_wrong(look) { figure(key, place).number() } else { well }
}

pub(super) fn edges() -> Vec<Edge> {
    let (cpu_warm, cpu_hot) = ("limit.cpu-hot-throttled.warning", "limit.cpu-hot-throttled.critical");
    let (cold, odd) = ("limit.drive-cold", "limit.drive-hotter-than-peers");
    let (rail, crc) = ("limit.rail-out-of-range.warning", "limit.sata-crc-growth");
    vec![
        Edge::time(("warm", "cpu-hot-throttled"), Warning, (cpu_warm, "hold"), 10, |look| {
            look.value = wrong_at(look, "limit.cpu-hot-throttled.warning", "from", 0.0);
            processor_at(look, Processor::SystemOnChip, None);
        }),
        Edge::time(("hot", "cpu-hot-throttled"), Critical, (cpu_hot, "hold"), 10, |look| {
            look.value = wrong_at(look, "limit.cpu-hot-throttled.critical", "from", 0.0);
            processor_at(look, Processor::SystemOnChip, None);
        }),
        Edge::time(("warm", "drive-hot"), Warning, ("limit.drive-hot.held", "warning"), 60, |look| {
            let degrees = wrong_at(look, "limit.drive-hot.warning", "from", 36.0);
            warm(look.snapshot, 0, degrees);
        }),
        Edge::time(("hot", "drive-hot"), Critical, ("limit.drive-hot.held", "critical"), 10, |look| {
            let degrees = wrong_at(look, "limit.drive-hot.critical", "from", 36.0);
            warm(look.snapshot, 0, degrees);
        }),
        Edge::time(("cold", "drive-cold"), Warning, (cold, "hold"), 60, |look| {
            warm(look.snapshot, 0, wrong_at(look, "limit.drive-cold", "below", 37.0) - 1.0);
        }),
        Edge::time(("odd", "drive-hotter-than-peers"), Notice, (odd, "hold"), 60, |look| {
            let above = wrong_at(look, "limit.drive-hotter-than-peers", "above", 0.0);
            (0..5).for_each(|drive| warm(look.snapshot, drive, 37.0));
            warm(look.snapshot, 0, 37.0 + above);
        }),
        Edge::time(("full", "space-low"), Warning, ("limit.space-low.held", "hold"), 60, |look| {
            if let Ok(room) = &mut look.snapshot.volumes[1].room.value {
                let free = if look.value > 0.0 { 90 << 27 } else { 500 << 27 };
                (room.size, room.free, room.used) = (Bytes(1000 << 27), Bytes(free), Bytes((1000 << 27) - free));
            }
        }),
        Edge::time(("files", "inodes-or-metadata-low"), Warning, ("limit.files-low", "hold"), 60, |look| {
            let used = wrong_at(look, "limit.files-low", "warning", 10.0);
            if let Ok(room) = &mut look.snapshot.volumes[1].room.value {
                room.files = Some(Files { total: 100, free: 100 - used as u64 });
            }
        }),
        Edge::time(("low", "rail-out-of-range"), Warning, (rail, "hold"), 2, |look| {
            let volts = Volts(if look.value > 0.0 { 11.3 } else { 12.0 });
            let value = Reading::new(Ok(volts), look.snapshot.taken, Source::Hwmon);
            let (key, label) = ("board/in2".to_owned(), "12V".to_owned());
            look.snapshot.rails = vec![Rail { key, label, nominal: Some(Nominal::Twelve), value }];
        }),
        // Two damaged transfers a day, for less than a week.
        Edge::value(("in a week", "sata-crc-growth"), Warning, (crc, Some("many")), (-1.0, 0.0), (60, 300), |look| {
            let days = if look.value > 0.0 { look.later / 60 + 1 } else { 0 };
            if days > 0 {
                look.memory.let_time_pass(Duration::from_secs(90_000));
            }
            if let Ok(health) = &mut look.snapshot.drives[0].health.value {
                let value = (2 * days).min(look.value as u64) as i64;
                health.counters.retain(|counter| counter.name != "interface_crc_errors");
                health.counters.push(Counter { name: "interface_crc_errors".into(), value, origin: "test".into() });
            }
        }),
    ]
}
