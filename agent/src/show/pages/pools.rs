//! Pools: how whole each is, and what it does.

use super::View;
use super::pieces::{heading, line, pair};
use crate::reading::{ActivityKind, Pool, PoolRunning, Snapshot};
use crate::units::{Percent, span};
use traylight_display::shapes::bar;
use traylight_display::{Frame, area};

/// Draws the page: two lines a pool, three pools at most, and a bar while work is under way.
pub fn draw(frame: &mut Frame, view: &View<'_>, snapshot: &Snapshot) {
    heading(frame, view, "POOLS");
    for (index, pool) in snapshot.pools.iter().take(3).enumerate() {
        let first = 1 + 2 * index as i32;
        pair(frame, first, &format!("{} {}", pool.name, pool.level), &members(pool));
        let (words, done) = state(pool);
        let size = pool.size.get().map(ToString::to_string).unwrap_or_default();
        let left = view.verdict.work_left.get(&pool.key).map(|left| left.middle).or(pool.activity.left);
        let right = left.map_or(size, |left| format!("in {}", span(left)));
        pair(frame, first + 1, &words, &right);
        if let Some(done) = done {
            bar(frame, area(0, line(first + 2), 128, 6), Some(done as f32), &[]);
        }
    }
}

fn members(pool: &Pool) -> String {
    let working = pool.working();
    if pool.wanted > 0 { format!("{working} of {}", pool.wanted) } else { format!("{working} found") }
}

fn state(pool: &Pool) -> (String, Option<f64>) {
    let word = match &pool.running.value {
        Err(_) => return ("not readable".to_owned(), None),
        Ok(PoolRunning::Inactive) => return ("not started".to_owned(), None),
        Ok(PoolRunning::Broken) => return ("broken".to_owned(), None),
        Ok(PoolRunning::Suspended) => return ("suspended".to_owned(), None),
        Ok(PoolRunning::Running) => match pool.activity.kind {
            ActivityKind::Idle if crate::judge::redundancy::standing(pool).lost > 0 => "degraded",
            ActivityKind::Idle => "whole",
            ActivityKind::Balance => "balance",
            ActivityKind::Frozen => "held still",
            ActivityKind::Resync => "resync",
            ActivityKind::Rebuild => "rebuild",
            ActivityKind::Check => "check",
            ActivityKind::Repair => "repair",
            ActivityKind::Reshape => "reshape",
        },
    };
    let done = pool.activity.done.map(|done| format!(" {}", Percent(done * 100.0))).unwrap_or_default();
    (format!("{word}{done}"), pool.activity.done)
}
