//! Edges of what is told of drives as members of pools, on their links and at starts, and of what volumes write down.

use super::{CROW, Edge, Look, read};
use crate::judge::{attachments, member_errors, member_faulty, newcomers, starts, warmth};
use crate::reading::{Bus, Member, MemberState, Missing, Reason};
use crate::units::{MegabitsPerSecond, span};
use crate::verdict::Severity::{Notice, Warning};

/// What is wrong from here on.
fn is_wrong(look: &Look) -> bool {
    look.value > 0.0
}

pub(super) fn edges() -> Vec<Edge> {
    let faulty = format!("not well for {}", span(member_faulty::HOLDS.warning));
    let unused = format!("not used by its pool for {}", span(member_errors::LEFT_OUT.warning));
    let moved = format!("elsewhere than agreed for {}", span(newcomers::STEADY.notice));
    let silent = format!("no temperature for {}", span(warmth::LOST_HOLD));
    let slow = format!("on this USB controller for {}", span(attachments::SLOW_HOLD));
    let timeouts = format!("1 command within {}", span(attachments::DAY));
    let absent = format!("missing in {} of the last {} cold starts", starts::TOO_MANY, starts::STARTS);
    let many = f64::from(starts::TOO_MANY);
    vec![
        Edge::time(("spare", "member-faulty"), Warning, member_faulty::HOLDS.warning, faulty, 2, |look| {
            let state = if is_wrong(look) { MemberState::Faulty } else { MemberState::Spare };
            let device = look.snapshot.drives[CROW].device.clone();
            let pool = &mut look.snapshot.pools[0];
            let drive_device = device.clone();
            pool.members.push(Member { device, drive_device, slot: None, state, ..pool.members[0].clone() });
        }),
        Edge::time(("put out", "drive-back-not-used"), Warning, member_errors::LEFT_OUT.warning, unused, 2, |look| {
            if is_wrong(look) {
                let pool = &mut look.snapshot.pools[0];
                pool.members.remove(2);
                pool.missing = Some(1);
            }
        }),
        Edge::time(("moved", "drive-new-or-moved"), Notice, newcomers::STEADY.notice, moved, 2, |look| {
            if is_wrong(look) {
                look.snapshot.drives[CROW].port = Some("0000/1f.2/ata-9".into());
            }
        }),
        Edge::time(("silent", "temperature-lost"), Notice, warmth::LOST_HOLD, silent, 60, |look| {
            if is_wrong(look) {
                look.snapshot.drives[0].temperature.value = Err(Missing::new(Reason::Unreadable, "no answer"));
            }
        }),
        Edge::time(("slow USB", "usb-slow"), Warning, attachments::SLOW_HOLD, slow, 10, |look| {
            let speed = read(look, MegabitsPerSecond(if is_wrong(look) { 480 } else { 5000 }));
            let drive = &mut look.snapshot.drives[CROW];
            (drive.bus, drive.port, drive.attachment.speed) = (Bus::Usb, Some("0000/14.0/usb-1:0".into()), speed);
        }),
        Edge::value(("given up", "drive-timeouts"), Warning, (0.0, 1.0), timeouts, (60, 120), |look| {
            look.snapshot.drives[0].attachment.timeouts = read(look, 5 + look.value as u64);
        }),
        Edge::value(("written down", "volume-errors"), Warning, (0.0, 1.0), "1 error".to_owned(), (60, 120), |look| {
            look.snapshot.volumes[1].errors = Some(look.value as u64);
        }),
        Edge::value(("late", "drive-missing-at-start"), Warning, (many - 1.0, many), absent, (60, 120), |look| {
            if look.later == 60 {
                look.memory.miss_starts(&look.snapshot.drives[CROW].key, look.value as u32);
            }
        }),
    ]
}
