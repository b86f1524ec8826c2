//! Edges of how far back is looked, and of what several figures of one limit say together.

use super::drives::away;
use super::{Edge, EdgeLook, figure};
use crate::reading::{Counter, MemberErrorKind, MemberErrors};
use crate::tell::words::limit::tests::{turn, warm};
use crate::units::{Bytes, MegabitsPerSecond};
use crate::verdict::Severity::{Critical, Notice, Warning};
use std::time::Duration;

/// How many were counted: all but one at first, and the last one a look later, before which so much time passes as is driven.
fn counted(look: &mut EdgeLook, many: u64) -> u64 {
    if look.value == 0.0 {
        return 0;
    }
    if look.later == 60 {
        look.memory.let_time_pass(Duration::from_secs(look.value as u64 - 60));
    }
    if look.later < 60 { many - 1 } else { many }
}

fn count(look: &mut EdgeLook, name: &str, value: u64) {
    if let Ok(health) = &mut look.snapshot.drives[0].health.value {
        health.counters.retain(|counter| counter.name != name);
        health.counters.push(Counter { name: name.into(), value: value as i64, origin: "test".into() });
    }
}

fn errors(look: &mut EdgeLook, count: u64) {
    look.snapshot.pools[0].members[0].errors = vec![MemberErrors { kind: MemberErrorKind::Read, count }];
}

fn many(key: &str, place: &str) -> u64 {
    figure(key, place).number() as u64
}

/// A volume of this size with this much free.
fn room(look: &mut EdgeLook, size: f64, free: f64) {
    if let (true, Ok(room)) = (look.value > 0.0, &mut look.snapshot.volumes[1].room.value) {
        (room.size, room.free, room.used) = (Bytes(size as u64), Bytes(free as u64), Bytes((size - free) as u64));
    }
}

pub(super) fn edges() -> Vec<Edge> {
    counts().into_iter().chain(warmth()).chain(others()).collect()
}

fn counts() -> Vec<Edge> {
    let (crc, moved, read) = ("limit.sata-crc-growth", "limit.reallocated-growth", "limit.member-errors");
    let (fast, times) = ((0.0, -60.0), (60, 61));
    vec![
        Edge::value(("in a day", "sata-crc-growth"), Warning, (crc, Some("fast")), fast, times, |look| {
            let value = counted(look, many("limit.sata-crc-growth", "few"));
            count(look, "interface_crc_errors", value);
        }),
        Edge::value(
            ("in a day", "reallocated-growth"),
            Critical,
            (moved, Some("fast")),
            (0.0, -120.0),
            (60, 121),
            |look| {
                let value = counted(look, many("limit.reallocated-growth", "critical"));
                count(look, "reallocated_sectors", value);
            },
        ),
        Edge::value(("in an hour", "member-errors"), Critical, (read, Some("fast")), fast, times, |look| {
            let value = counted(look, many("limit.member-errors", "critical") + 1);
            errors(look, value);
        }),
        Edge::value(("week", "sata-crc-growth"), Notice, (crc, Some("within")), (-60.0, 0.0), (60, 1), |look| {
            let value = counted(look, 2).min(1);
            count(look, "interface_crc_errors", value);
        })
        .ends_after(60),
        Edge::value(("week", "member-errors"), Notice, (read, Some("within")), (-60.0, 0.0), (60, 1), |look| {
            let value = counted(look, 2).min(1);
            errors(look, value);
        })
        .ends_after(60),
    ]
}

/// Drives that get warm together.
fn warmth() -> Vec<Edge> {
    let heating = |name| (name, "drives-heating-together");
    let key = "limit.drives-heating-together";
    vec![
        Edge::value(heating("how many"), Warning, (key, Some("drives")), (-1.0, 0.0), (60, 1200), |look| {
            turn(look.snapshot, if look.later < 300 { 900.0 } else { 0.0 });
            (0..5).for_each(|drive| warm(look.snapshot, drive, 36.0));
            if look.later >= 900 {
                (0..look.value as usize).for_each(|drive| warm(look.snapshot, drive, 42.0));
            }
        }),
        Edge::value(heating("how fast"), Warning, (key, Some("within")), (10.0, 0.0), (60, 1800), |look| {
            turn(look.snapshot, if look.later < 300 { 900.0 } else { 0.0 });
            let since = look.later.saturating_sub(900) as f64;
            let risen = if look.value > 0.0 { 5.0 * since / look.value } else { 0.0 };
            (0..5).for_each(|drive| warm(look.snapshot, drive, 36.0 + risen));
        }),
        // How warm they get at such work is not known in the first hour.
        Edge::value(heating("near"), Warning, (key, Some("near")), (0.1, 0.0), (60, 1200), |look| {
            let from = figure("limit.drive-hot.warning", "from").number();
            let degrees = if look.later >= 900 { from - look.value } else { from - look.value - 6.0 };
            (0..5).for_each(|drive| warm(look.snapshot, drive, degrees));
        }),
        Edge::value(heating("beyond"), Warning, (key, Some("beyond")), (-0.1, 0.0), (60, 5100), |look| {
            let degrees = if look.later >= 4800 { 36.0 + look.value } else { 36.0 };
            (0..5).for_each(|drive| warm(look.snapshot, drive, degrees));
        }),
    ]
}

fn others() -> Vec<Edge> {
    let space = |name| (name, "space-low");
    let (warning, critical) = ("limit.space-low.warning", "limit.space-low.critical");
    let gib = f64::from(1 << 30);
    let minutes = (60, 600);
    vec![
        Edge::value(space("critical share"), Critical, (critical, Some("share")), (0.1, -0.1), minutes, |look| {
            room(look, 100.0 * f64::from(1 << 30), look.value * f64::from(1 << 30));
        }),
        Edge::value(space("critical amount"), Critical, (critical, Some("below")), (gib, -gib), minutes, |look| {
            room(look, look.value / 0.02, look.value);
        }),
        Edge::value(space("amount"), Warning, (warning, Some("below")), (gib, -gib), minutes, |look| {
            room(look, look.value / 0.07, look.value);
        }),
        Edge::value(
            ("in a day", "drive-flapping"),
            Warning,
            ("limit.drive-flapping", Some("warning")),
            (300.0, 0.0),
            (300, 87_000),
            |look| {
                // The first so long before the last.
                let first = 86_700 - look.value as u64;
                away(look, [first, 43_200, 86_700]);
            },
        ),
        Edge::value(
            ("slow", "fan-weak"),
            Warning,
            ("limit.fan-weak.weak", Some("hold")),
            (-60.0, 0.0),
            (60, 1980),
            |look| {
                let is_slow = look.value > 0.0 && look.later >= 1980 - look.value as u64;
                turn(look.snapshot, if is_slow { 550.0 } else { 1000.0 });
            },
        ),
        Edge::value(
            ("was fast", "link-trouble"),
            Warning,
            ("limit.link-trouble.slow", Some("after")),
            (-60.0, 0.0),
            (60, 4080),
            |look| {
                let is_fast = look.value > 0.0 && look.later <= look.value as u64;
                look.snapshot.links[0].speed = super::read(look, MegabitsPerSecond(if is_fast { 1000 } else { 100 }));
            },
        ),
    ]
}
