//! What happens on `heron`, and when: calm, a fan stalls and a tray warms, a drive drops out and the pool is left
//! without protection, then recovery. A function of time, so that any moment can be drawn.

use super::heron::{HeronScene, MEMBERS};
use std::time::Duration;
use traylight_data::reading::{Activity, ActivityKind, MemberState};

const MINUTE: f64 = 60.0;
/// The fan stalls.
const FAN_STALLS: f64 = 4.0 * MINUTE;
/// The drive in tray 3 drops out.
const DRIVE_DROPS: f64 = 24.0 * MINUTE;
/// The keeper frees the fan.
const FAN_FREED: f64 = 28.0 * MINUTE;
/// Tray 3 was reseated with the box off; its drive comes back under another kernel name.
const DRIVE_BACK: f64 = 36.0 * MINUTE;
/// The pool begins to fill it.
const FILL_BEGINS: f64 = 37.0 * MINUTE;
/// And is whole again.
const WHOLE: f64 = 52.0 * MINUTE;
/// The tray that the stalled fan used to cool, and the one whose drive drops out, from 0.
const WARM_TRAY: usize = 4;
const DROPPED_TRAY: usize = 2;

/// How long the story is.
pub const LENGTH: Duration = Duration::from_secs(62 * 60);

/// The box so long after the story began.
pub fn scene(elapsed: Duration) -> HeronScene {
    let t = elapsed.as_secs_f64();
    let out = (DRIVE_DROPS..DRIVE_BACK).contains(&t);
    let back = t >= DRIVE_BACK;
    HeronScene {
        degrees: std::array::from_fn(|tray| (tray != DROPPED_TRAY || !out).then(|| degrees(tray, t))),
        fan: if (FAN_STALLS..FAN_FREED).contains(&t) { 0 } else { (1_180.0 + 20.0 * (t / 7.0).sin()) as u32 },
        devices: ["sda", "sdb", if back { "sdg" } else { "sdc" }, "sdd", "sde", "sdf"],
        members: std::array::from_fn(|slot| member(slot, t)),
        activity: activity(t),
        arriving: 118e6 + 60e6 * (t / 90.0).sin(),
        filled: 0.71 + t * 1e-6,
    }
}

/// Where a tray's temperature is at: it follows what it is heading for as a body that warms and cools does, with one
/// time constant (Newton's law of cooling).
fn degrees(tray: usize, t: f64) -> f64 {
    const TIME_CONSTANT: f64 = 9.0 * MINUTE;
    const AT_REST: [f64; 6] = [36.0, 37.0, 37.0, 36.0, 38.0, 41.0];
    let rise = if tray == WARM_TRAY { 18.0 } else { 5.0 };
    let warmed = |since: f64| 1.0 - (-since / TIME_CONSTANT).exp();
    let above = if t < FAN_STALLS {
        0.0
    } else if t < FAN_FREED {
        rise * warmed(t - FAN_STALLS)
    } else {
        rise * warmed(FAN_FREED - FAN_STALLS) * (-(t - FAN_FREED) / TIME_CONSTANT).exp()
    };
    (AT_REST[tray] + above).round()
}

fn member(slot: usize, t: f64) -> Option<MemberState> {
    debug_assert!(slot < MEMBERS);
    match t {
        _ if slot != DROPPED_TRAY || !(DRIVE_DROPS..WHOLE).contains(&t) => Some(MemberState::Active),
        // md notices with the next write and then lets the member go.
        _ if t < DRIVE_DROPS + 4.0 => Some(MemberState::Active),
        _ if t >= FILL_BEGINS => Some(MemberState::Rebuilding),
        _ => None,
    }
}

fn activity(t: f64) -> Activity {
    if !(FILL_BEGINS..WHOLE).contains(&t) {
        return Activity::IDLE;
    }
    let done = (t - FILL_BEGINS) / (WHOLE - FILL_BEGINS);
    let left = Duration::from_secs_f64(WHOLE - t);
    Activity { kind: ActivityKind::Rebuild, done: Some(done), left: Some(left), speed: None }
}
