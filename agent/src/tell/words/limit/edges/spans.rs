//! Edges of spans: what comes often enough within the span that is printed counts together, and no longer a little later; and of
//! figures that only some boards and pools have.

use super::{Edge, EdgeLook, figure, is_wrong, read};
use crate::reading::{
    Bus, BusErrors, Event, EventKind, EventSource, MetadataSpace, Nominal, Part, Rail, Throttling, Undervoltage,
};
use crate::units::{Bytes, MegabitsPerSecond, Volts};
use crate::verdict::Severity::{self, Critical, Warning};

/// What is counted in the watched time may be forgotten up to a hundredth later.
fn later_by(key: &str, place: &str) -> f64 {
    (figure(key, place).number() * 0.02).max(120.0)
}

/// How often it happened: once less than is printed at first, and once more this much later.
fn twice(look: &EdgeLook, many: u64) -> u64 {
    match look.value {
        0.0 => 0,
        apart if look.later as f64 >= apart => many,
        _ => many - 1,
    }
}

fn rail(
    name: &'static str,
    severity: Severity,
    limit: super::Driven,
    steps: (f64, f64),
    change: fn(&mut EdgeLook),
) -> Edge {
    Edge::value((name, "rail-out-of-range"), severity, limit, steps, (2, 20), change)
}

fn set_rail(look: &mut EdgeLook, nominal: Nominal, volts: f64) {
    let value = read(look, Volts(if look.value > 0.0 { volts } else { nominal.volts().0 }));
    let (key, label) = ("board/in2".to_owned(), "rail".to_owned());
    look.snapshot.rails = vec![Rail { key, label, nominal: Some(nominal), value }];
}

fn alarm(look: &mut EdgeLook, is_low: bool) {
    let low = read(look, is_low);
    look.snapshot.undervoltages = vec![Undervoltage { key: "board/in0".into(), low }];
}

/// Metadata of which this much is used, in a pool of 100 GiB with this much that belongs to nothing yet.
fn metadata(look: &mut EdgeLook, used: f64, unallocated: u64) {
    let pool = &mut look.snapshot.pools[0];
    pool.size.value = Ok(Bytes(100 << 30));
    let (total, used) = (Bytes(1_000_000), Bytes((used * 10_000.0) as u64));
    pool.metadata = Some(MetadataSpace { unallocated: Bytes(unallocated), total, used });
}

pub(super) fn edges() -> Vec<Edge> {
    let minute = figure("limit.metadata-low", "hold").number() as u64 + 60;
    let scarce = "limit.metadata-low";
    let metadata_low = |name| (name, "inodes-or-metadata-low");
    let (bus, resets) = ("limit.controller.bus-errors", "limit.controller.resets");
    let hours = (60, 3840);
    vec![
        rail("high", Warning, ("limit.rail-out-of-range.warning", Some("high")), (-0.01, 0.01), |look| {
            let volts = look.value;
            set_rail(look, Nominal::Twelve, volts);
        }),
        rail("low", Warning, ("limit.rail-out-of-range.warning", Some("low")), (0.01, -0.01), |look| {
            let volts = look.value;
            set_rail(look, Nominal::Twelve, volts);
        }),
        rail("far off", Critical, ("limit.rail-out-of-range.critical", Some("off")), (-0.1, 0.1), |look| {
            let volts = Nominal::Twelve.volts().0 * (1.0 - look.value / 100.0);
            set_rail(look, Nominal::Twelve, volts);
        }),
        rail("5 V", Critical, ("limit.rail-out-of-range.critical-below", Some("low")), (0.01, -0.01), |look| {
            let volts = look.value;
            set_rail(look, Nominal::Five, volts);
        }),
        Edge::value(
            ("long", "undervoltage"),
            Critical,
            ("limit.undervoltage", Some("long")),
            (-2.0, 0.0),
            (2, 20),
            |look| {
                let is_low = look.value > 0.0 && look.later <= look.value as u64;
                alarm(look, is_low);
            },
        ),
        // Three dips, the first so long before the last look.
        Edge::value(
            ("within", "undervoltage"),
            Critical,
            ("limit.undervoltage", Some("within")),
            (0.0, -10.0),
            (10, 900),
            |look| {
                let first = 900 - look.value as u64;
                let is_low = look.value > 0.0 && [0, 60, 120].iter().any(|after| first + after == look.later);
                alarm(look, is_low);
            },
        ),
        Edge::time(
            ("slows itself", "cpu-hot-throttled"),
            Warning,
            ("limit.cpu-hot-throttled.slowed", "hold"),
            10,
            |look| {
                let throttling = read(look, Throttling { count: None, held_back: Some(is_wrong(look)) });
                look.snapshot.board.throttling = Some(throttling);
            },
        ),
        // At the speed before for more than an hour, and slower for so long.
        Edge::value(
            ("slow", "link-trouble"),
            Warning,
            ("limit.link-trouble.slow", Some("hold")),
            (-10.0, 0.0),
            (10, 4500),
            |look| {
                let is_slow = look.value > 0.0 && look.later >= 4500 - look.value as u64;
                look.snapshot.links[0].speed = read(look, MegabitsPerSecond(if is_slow { 100 } else { 1000 }));
            },
        ),
        Edge::value(
            ("unsteady", "link-trouble"),
            Warning,
            ("limit.link-trouble.unsteady", Some("changes")),
            (-1.0, 0.0),
            (10, 60),
            |look| {
                look.snapshot.links[0].changes = Some(10 + look.value as u64);
            },
        ),
        Edge::value(
            ("within", "link-trouble"),
            Warning,
            ("limit.link-trouble.unsteady", Some("within")),
            (10.0, 0.0),
            (10, 620),
            |look| {
                let flaps = figure("limit.link-trouble.unsteady", "changes").number() as u64;
                look.snapshot.links[0].changes = Some(10 + twice(look, flaps));
            },
        ),
        Edge::value(metadata_low("used"), Warning, (scarce, Some("used")), (-0.1, 0.0), (60, minute), |look| {
            let used = if is_wrong(look) { look.value } else { 10.0 };
            metadata(look, used, 0);
        }),
        Edge::value(
            metadata_low("hardly any left"),
            Warning,
            (scarce, Some("warning")),
            (0.0, -1.0),
            (60, minute),
            |look| {
                let left = if is_wrong(look) { look.value as u64 } else { 90 << 30 };
                metadata(look, 95.0, left);
            },
        ),
        Edge::value(
            metadata_low("a small part left"),
            Warning,
            (scarce, Some("share")),
            (0.0, -0.01),
            (60, minute),
            |look| {
                // Of 400 GiB a hundredth is more than what is a warning in any pool.
                let left = if is_wrong(look) { (look.value * 4.0 * f64::from(1 << 30)) as u64 } else { 90 << 30 };
                metadata(look, 95.0, left);
                look.snapshot.pools[0].size.value = Ok(Bytes(400 << 30));
            },
        ),
        Edge::value(
            metadata_low("none left"),
            Critical,
            (scarce, Some("critical")),
            (0.0, -1.0),
            (60, minute),
            |look| {
                let left = if is_wrong(look) { look.value as u64 } else { 90 << 30 };
                metadata(look, 95.0, left);
            },
        ),
        Edge::time(metadata_low("for long"), Warning, (scarce, "hold"), 60, |look| {
            let left = if is_wrong(look) { 0 } else { 90 << 30 };
            metadata(look, 95.0, left);
        }),
        Edge::value(
            ("in an hour", "controller-trouble"),
            Warning,
            (bus, Some("within")),
            (later_by(bus, "within"), -60.0),
            hours,
            |look| {
                let errors = figure("limit.controller.bus-errors", "errors").number() as u64;
                let corrected = twice(look, errors);
                look.snapshot.controllers[0].bus_errors = read(look, BusErrors { corrected, uncorrected: 0 });
            },
        ),
        Edge::value(
            ("resets in an hour", "controller-trouble"),
            Warning,
            (resets, Some("within")),
            (later_by(resets, "within"), -60.0),
            hours,
            |look| {
                let drive = &mut look.snapshot.drives[super::CROW];
                (drive.bus, drive.port) = (Bus::Usb, Some("0000/14.0/usb-2.1:0".into()));
                let many = figure("limit.controller.resets", "resets").number() as u64;
                let is_first = look.later / 60 < many - 1;
                if look.value > 0.0 && (is_first || look.later == look.value as u64 / 60 * 60) {
                    let (at, part, what) = (look.snapshot.taken, Part::Usb("2.1".into()), EventKind::Reset);
                    look.snapshot.events.push(Event { at, part, what, teller: EventSource::Log, line: String::new() });
                }
            },
        ),
    ]
}
