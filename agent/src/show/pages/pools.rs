//! Pools: how whole each is, and what it does.

use super::View;
use super::pieces::{heading, line, pair};
use crate::reading::{ActivityKind, Pool, PoolRunning, Snapshot};
use crate::tell::tongue::Tongue;
use crate::units::{Percent, span};
use traylight_display::shapes::bar;
use traylight_display::{Frame, area};

/// Draws the page: two lines a pool, three pools at most, and a bar while work is under way.
pub fn draw(frame: &mut Frame, view: &View<'_>, snapshot: &Snapshot) {
    heading(frame, view, view.tongue.plain("page.pools.title"));
    for (index, pool) in snapshot.pools.iter().take(3).enumerate() {
        let first = 1 + 2 * index as i32;
        pair(frame, first, &format!("{} {}", pool.name, pool.level), &members(pool, view.tongue));
        let (words, done) = state(pool, view.tongue);
        let size = pool.size.get().map(ToString::to_string).unwrap_or_default();
        let left = view.verdict.work_left.get(&pool.key).map(|left| left.middle).or(pool.activity.left);
        let right = left.map_or(size, |left| view.tongue.say("page.pools.left", &[("span", &span(left))]));
        pair(frame, first + 1, &words, &right);
        if let Some(done) = done {
            bar(frame, area(0, line(first + 2), 128, 6), Some(done as f32), &[]);
        }
    }
}

fn members(pool: &Pool, tongue: Tongue) -> String {
    let key = if pool.wanted > 0 { "page.pools.members-of" } else { "page.pools.members" };
    tongue.say(key, &[("working", &pool.working()), ("wanted", &pool.wanted)])
}

fn state(pool: &Pool, tongue: Tongue) -> (String, Option<f64>) {
    let still = |key| (tongue.plain(key).to_owned(), None);
    let word = match &pool.running.value {
        Err(_) => return still("page.pools.not-readable"),
        Ok(PoolRunning::Inactive) => return still("page.pools.not-started"),
        Ok(PoolRunning::Broken) => return still("page.pools.broken"),
        Ok(PoolRunning::Suspended) => return still("page.pools.suspended"),
        Ok(PoolRunning::Running) => match pool.activity.kind {
            ActivityKind::Idle if crate::judge::redundancy::standing(pool).lost > 0 => {
                tongue.plain("page.pools.degraded")
            }
            ActivityKind::Idle => tongue.plain("page.pools.whole"),
            ActivityKind::Frozen => tongue.plain("page.pools.held-still"),
            other => tongue.activity(other),
        },
    };
    let done = pool.activity.done.map(|done| format!(" {}", Percent(done * 100.0))).unwrap_or_default();
    (format!("{word}{done}"), pool.activity.done)
}
