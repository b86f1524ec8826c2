//! Edges of drives: gone, coming and going, on a slow link, or trying for longer than the kernel waits.

use super::{CROW, Edge, EdgeLook, read};
use crate::reading::RecoveryLimit;
use crate::units::MegabitsPerSecond;
use crate::verdict::Severity::{Critical, Notice, Warning};
use std::time::Duration;

/// The last drive is away for one look at each of these times after all was well.
pub(super) fn away(look: &mut EdgeLook, at: impl IntoIterator<Item = u64>) {
    if look.value > 0.0 && at.into_iter().any(|at| at == look.later) {
        look.snapshot.drives.truncate(CROW);
    }
}

pub(super) fn edges() -> Vec<Edge> {
    let flapping = "limit.drive-flapping";
    let patience = "limit.recovery-time-mismatch";
    vec![
        Edge::time(("gone", "drive-gone"), Warning, ("limit.drive-gone.away", "hold"), 2, |look| {
            if look.value > 0.0 {
                look.snapshot.drives.truncate(CROW);
            }
        }),
        Edge::value(
            ("losses", "drive-flapping"),
            Warning,
            (flapping, Some("losses")),
            (-1.0, 0.0),
            (60, 30_000),
            |look| {
                let times = look.value as u64;
                away(look, (0..times).map(|nth| nth * 7200));
            },
        ),
        Edge::value(
            ("in an hour", "drive-flapping"),
            Critical,
            (flapping, Some("critical")),
            (60.0, 0.0),
            (30, 3900),
            |look| {
                let within = look.value as u64;
                away(look, (0..3).map(|nth| nth * within / 2));
            },
        ),
        Edge::time(("slow link", "sata-slow"), Warning, ("limit.sata-slow", "hold"), 10, |look| {
            let speed = if look.value > 0.0 { 3000 } else { 6000 };
            look.snapshot.drives[0].attachment.speed = read(look, MegabitsPerSecond(speed));
        }),
        Edge::value(
            ("no limit", "recovery-time-mismatch"),
            Notice,
            (patience, Some("without")),
            (0.0, -1.0),
            (60, 60),
            |look| {
                let patience = Duration::from_secs(if look.value > 0.0 { look.value as u64 } else { 1000 });
                for drive in &mut look.snapshot.drives {
                    drive.attachment.patience.value = Ok(patience);
                    if let Ok(health) = &mut drive.health.value {
                        health.recovery_limit = Ok(RecoveryLimit::Off);
                    }
                }
            },
        ),
        Edge::value(
            ("as long as the kernel", "recovery-time-mismatch"),
            Notice,
            (patience, None),
            (29.9, 30.0),
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
