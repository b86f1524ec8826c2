//! Edges of what is told of drives as members of pools, on their links and at starts, and of what volumes write down.

use super::{CROW, Edge, is_wrong, read};
use crate::reading::{Bus, Member, MemberState, Missing, Reading, Reason, Source, Traffic};
use crate::units::{BytesPerSecond, Celsius, MegabitsPerSecond};
use crate::verdict::Severity::{Notice, Warning};

pub(super) fn edges() -> Vec<Edge> {
    vec![
        Edge::time(("spare", "member-faulty"), Warning, ("limit.member-faulty", "hold"), 2, |look| {
            let state = if is_wrong(look) { MemberState::Faulty } else { MemberState::Spare };
            let device = look.snapshot.drives[CROW].device.clone();
            let pool = &mut look.snapshot.pools[0];
            let drive_device = device.clone();
            pool.members.push(Member { device, drive_device, slot: None, state, ..pool.members[0].clone() });
        }),
        Edge::time(("put out", "drive-back-not-used"), Warning, ("limit.drive-back-not-used", "hold"), 2, |look| {
            if is_wrong(look) {
                let pool = &mut look.snapshot.pools[0];
                pool.members.remove(2);
                pool.missing = Some(1);
            }
        }),
        Edge::time(("moved", "drive-new-or-moved"), Notice, ("limit.drive-new-or-moved", "hold"), 2, |look| {
            if is_wrong(look) {
                look.snapshot.drives[CROW].port = Some("0000/1f.2/ata-9".into());
            }
        }),
        Edge::time(("silent", "temperature-lost"), Notice, ("limit.temperature-lost", "hold"), 60, |look| {
            if is_wrong(look) {
                look.snapshot.drives[0].temperature.value = Err(Missing::of(Reason::Unreadable));
            }
        }),
        Edge::time(("slow USB", "usb-slow"), Warning, ("limit.usb-slow", "hold"), 10, |look| {
            let speed = read(look, MegabitsPerSecond(if is_wrong(look) { 480 } else { 5000 }));
            let drive = &mut look.snapshot.drives[CROW];
            (drive.bus, drive.port, drive.attachment.speed) = (Bus::Usb, Some("0000/14.0/usb-1:0".into()), speed);
        }),
        Edge::value(
            ("given up", "drive-timeouts"),
            Warning,
            ("limit.drive-timeouts", None),
            (0.0, 1.0),
            (60, 120),
            |look| {
                look.snapshot.drives[0].attachment.timeouts = read(look, 5 + look.value as u64);
            },
        ),
        Edge::value(
            ("written down", "volume-errors"),
            Warning,
            ("limit.volume-errors", None),
            (0.0, 1.0),
            (60, 120),
            |look| {
                look.snapshot.volumes[1].errors = Some(look.value as u64);
            },
        ),
        Edge::value(
            ("late", "drive-missing-at-start"),
            Warning,
            ("limit.drive-missing-at-start", Some("missing")),
            (-1.0, 0.0),
            (60, 120),
            |look| {
                if look.later == 60 {
                    look.memory.miss_starts(&look.snapshot.drives[CROW].key, look.value as u32);
                }
            },
        ),
    ]
}

/// Drives without a tachometer, known for a day at 36 degrees, that rise within the last half hour.
pub(super) fn suspected() -> Vec<Edge> {
    let limit = ("limit.fan-weak.suspected", Some("above"));
    vec![Edge::value(("no tachometer", "fan-weak"), Warning, limit, (-0.1, 0.0), (300, 93_600), |look| {
        look.snapshot.fans.clear();
        let risen = (look.later.saturating_sub(91_800) as f64 / 1200.0).min(1.0) * look.value;
        let (degrees, still) = (Celsius(36.0 + risen), BytesPerSecond(0.0));
        for drive in &mut look.snapshot.drives {
            drive.temperature = Reading::new(Ok(degrees), look.snapshot.taken, Source::Drive);
            drive.traffic.value = Ok(Traffic { inward: still, outward: still });
        }
    })]
}
