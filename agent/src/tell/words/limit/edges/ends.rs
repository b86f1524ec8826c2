//! Edges at which conditions end: what was wrong is mended for a look less than is printed, or not quite as far, and then as
//! is printed.

use super::holds::wrong_at;
use super::{CROW, Edge, EdgeLook, figure, is_wrong, processor_at, read};
use crate::reading::{Files, Member, MemberState, Nominal, PoolRunning, Processor, Rail, Undervoltage};
use crate::tell::words::limit::tests::{turn, warm};
use crate::units::{Bytes, Volts};
use crate::verdict::Severity::Notice;

/// What it is until it is wrong, while it is, and from when on it is mended.
fn course(look: &EdgeLook, well: f64, wrong: f64, mended: f64) -> f64 {
    match look.value {
        0.0 => well,
        _ if look.is_mended => mended,
        _ => wrong,
    }
}

fn set_room(look: &mut EdgeLook, free_share: f64) {
    if let Ok(room) = &mut look.snapshot.volumes[1].room.value {
        let (size, free) = (1000 << 27, ((free_share * 10.0 * f64::from(1 << 27)) as u64));
        (room.size, room.free, room.used) = (Bytes(size), Bytes(free), Bytes(size - free));
    }
}

fn set_rail(look: &mut EdgeLook, volts: f64) {
    let value = read(look, Volts(volts));
    let (key, label) = ("board/in2".to_owned(), "12V".to_owned());
    look.snapshot.rails = vec![Rail { key, label, nominal: Some(Nominal::Twelve), value }];
}

/// A fan that nobody needs for a quarter of an hour, in which its usual speed is learned.
const LEARNED: u64 = 900;

/// All drives are warmer by so many degrees within ten minutes, while a fan stands still.
fn warming(look: &mut EdgeLook, degrees: f64) {
    turn(look.snapshot, if look.later < 300 { 900.0 } else { 0.0 });
    (0..5).for_each(|drive| warm(look.snapshot, drive, degrees));
}

pub(super) fn edges() -> Vec<Edge> {
    times().into_iter().chain(values()).collect()
}

fn times() -> Vec<Edge> {
    vec![
        Edge::time(("back", "drive-gone"), Notice, ("limit.drive-gone.back", "hold"), 2, |look| {
            if is_wrong(look) {
                look.snapshot.drives.truncate(CROW);
            }
        })
        .ends_after(60),
        Edge::time(("cool", "drive-hot"), Notice, ("limit.drive-hot.over", "hold"), 60, |look| {
            let degrees = wrong_at(look, "limit.drive-hot.warning", "from", 36.0);
            warm(look.snapshot, 0, degrees);
        })
        .ends_after(600),
        Edge::time(("whole", "pool-degraded"), Notice, ("limit.pool-degraded.healthy", "hold"), 10, |look| {
            if is_wrong(look) {
                look.snapshot.pools[0].members.remove(2);
                look.snapshot.pools[0].missing = Some(1);
            }
        })
        .ends_after(60),
        Edge::time(("up", "pool-down"), Notice, ("limit.pool-down.up", "hold"), 10, |look| {
            if is_wrong(look) {
                look.snapshot.pools[0].running.value = Ok(PoolRunning::Inactive);
            }
        })
        .ends_after(60),
        Edge::time(("space", "space-low"), Notice, ("limit.space-low.over", "hold"), 60, |look| {
            let share = if is_wrong(look) { 9.0 } else { 50.0 };
            set_room(look, share);
        })
        .ends_after(600),
        Edge::time(("turning", "fan-stopped"), Notice, ("limit.fan-stopped.over", "hold"), 2, |look| {
            turn(look.snapshot, if is_wrong(look) { 0.0 } else { 900.0 });
        })
        .ends_after(60),
        Edge::time(("fast", "fan-weak"), Notice, ("limit.fan-weak.over", "hold"), 60, |look| {
            let is_slow = is_wrong(look) && look.later >= LEARNED;
            turn(look.snapshot, if is_slow { 550.0 } else { 1000.0 });
        })
        .ends_after(LEARNED + 300),
        Edge::time(("cool", "cpu-hot-throttled"), Notice, ("limit.cpu-hot-throttled.over", "hold"), 10, |look| {
            look.value = wrong_at(look, "limit.cpu-hot-throttled.warning", "from", 0.0);
            processor_at(look, Processor::SystemOnChip, None);
        })
        .ends_after(300),
        Edge::time(("answers", "drive-not-answering"), Notice, ("limit.drive-not-answering", "over"), 2, |look| {
            look.snapshot.drives[0].stalled_since = is_wrong(look).then_some(look.snapshot.taken);
        })
        .ends_after(60),
        Edge::time(("well", "member-faulty"), Notice, ("limit.member-faulty", "over"), 2, |look| {
            let state = if is_wrong(look) { MemberState::Faulty } else { MemberState::Spare };
            let device = look.snapshot.drives[CROW].device.clone();
            let pool = &mut look.snapshot.pools[0];
            let drive_device = device.clone();
            pool.members.push(Member { device, drive_device, slot: None, state, ..pool.members[0].clone() });
        })
        .ends_after(60),
        // A step is out of the span ten minutes later.
        Edge::time(
            ("flat", "drives-heating-together"),
            Notice,
            ("limit.drives-heating-together", "hold"),
            60,
            |look| {
                warming(look, if look.value > 0.0 && look.later >= 900 { 41.0 } else { 36.0 });
            },
        )
        .ends_after(1500),
    ]
}

fn values() -> Vec<Edge> {
    let heating = ("limit.drives-heating-together", Some("over"));
    vec![
        Edge::value(
            ("cooler", "drive-hot"),
            Notice,
            ("limit.drive-hot.over", Some("below")),
            (-0.1, 0.0),
            (60, 720),
            |look| {
                let from = figure("limit.drive-hot.warning", "from").number();
                let degrees = course(look, 36.0, from, from - look.value);
                warm(look.snapshot, 0, degrees);
            },
        )
        .ends_after(600),
        Edge::value(
            ("more space", "space-low"),
            Notice,
            ("limit.space-low.over", Some("points")),
            (-0.1, 0.1),
            (60, 720),
            |look| {
                let share = course(look, 50.0, 9.0, 10.0 + look.value);
                set_room(look, share);
            },
        )
        .ends_after(600),
        Edge::value(
            ("faster", "fan-stopped"),
            Notice,
            ("limit.fan-stopped.over", Some("above")),
            (0.0, 1.0),
            (2, 60),
            |look| {
                let rpm = course(look, 900.0, 0.0, look.value);
                turn(look.snapshot, rpm);
            },
        )
        .ends_after(60),
        Edge::value(
            ("faster", "fan-weak"),
            Notice,
            ("limit.fan-weak.over", Some("share")),
            (0.0, 0.11),
            (60, 420),
            |look| {
                let rpm = if look.later < LEARNED { 1000.0 } else { course(look, 1000.0, 550.0, look.value * 10.0) };
                turn(look.snapshot, rpm);
            },
        )
        .ends_after(LEARNED + 300),
        Edge::value(
            ("cooler", "cpu-hot-throttled"),
            Notice,
            ("limit.cpu-hot-throttled.over", Some("below")),
            (-0.1, 0.0),
            (10, 360),
            |look| {
                let from = figure("limit.cpu-hot-throttled.warning", "from").number();
                look.value = course(look, 0.0, from, from - look.value);
                processor_at(look, Processor::SystemOnChip, None);
            },
        )
        .ends_after(300),
        Edge::value(
            ("less odd", "drive-hotter-than-peers"),
            Notice,
            ("limit.drive-hotter-than-peers", Some("over")),
            (0.0, -0.1),
            (60, 2400),
            |look| {
                let above = course(look, 0.0, 9.0, look.value);
                (0..5).for_each(|drive| warm(look.snapshot, drive, 37.0));
                warm(look.snapshot, 0, 37.0 + above);
            },
        )
        .ends_after(2400),
        Edge::value(
            ("less cold", "drive-cold"),
            Notice,
            ("limit.drive-cold", Some("over")),
            (0.0, 0.1),
            (60, 900),
            |look| {
                let degrees = course(look, 37.0, 4.0, look.value);
                warm(look.snapshot, 0, degrees);
            },
        )
        .ends_after(900),
        Edge::value(("slower", "drives-heating-together"), Notice, heating, (0.05, -0.05), (60, 1320), |look| {
            let since = look.later.saturating_sub(900) as f64;
            let step = if look.later >= 900 { 5.0 } else { 0.0 };
            warming(look, 36.0 + step + since / 600.0 * look.value);
        })
        .ends_after(1500),
        Edge::value(
            ("inside", "rail-out-of-range"),
            Notice,
            ("limit.rail-out-of-range.over", Some("inside")),
            (-0.01, 0.01),
            (10, 720),
            |look| {
                let volts = course(look, 12.0, 11.3, 11.4 + look.value);
                set_rail(look, volts);
            },
        )
        .ends_after(60),
        Edge::value(
            ("fewer", "inodes-or-metadata-low"),
            Notice,
            ("limit.files-low", Some("over")),
            (0.0, -0.1),
            (60, 720),
            |look| {
                let used = course(look, 10.0, 91.0, look.value);
                if let Ok(room) = &mut look.snapshot.volumes[1].room.value {
                    room.files = Some(Files { total: 1000, free: 1000 - (used * 10.0) as u64 });
                }
            },
        )
        .ends_after(420),
        // One alarm so long before the last look.
        Edge::value(
            ("told", "undervoltage"),
            Notice,
            ("limit.undervoltage", Some("told")),
            (-10.0, 0.0),
            (10, 4000),
            |look| {
                let is_low = look.value > 0.0 && look.later == 4000 - look.value as u64;
                let low = read(look, is_low);
                look.snapshot.undervoltages = vec![Undervoltage { key: "board/in0".into(), low }];
            },
        )
        .ends_after(0),
    ]
}
