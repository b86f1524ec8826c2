//! Pools: whether each is healthy, and what it does.

use super::sheet::{Level, Row, Sheet};
use super::view::View;
use crate::reading::{ActivityKind, Pool, PoolRunning, Snapshot};
use crate::tell::words::phrases::Phrases;
use crate::units::{Percent, span};
use crate::verdict::Redundancy;

/// The pool that is worst off leads; the others are rows.
pub fn sheet(view: &View<'_>, snapshot: &Snapshot) -> Sheet {
    let language = view.language;
    let words = |key| language.plain(key);
    let mut pools: Vec<&Pool> = snapshot.pools.iter().collect();
    pools.sort_by_key(|pool| (!is_down(view, pool), !lacks_members(view, pool), !pool.activity.kind.is_work()));
    let Some((first, others)) = pools.split_first() else { return Sheet::default() };
    let left = view.verdict.work_left.get(&first.key).map(|left| left.middle).or(first.activity.left);
    let mut rows = Vec::new();
    rows.extend(left.map(|left| Row::of(words("page.pools.done-in"), span(left))));
    rows.push(Row::of(words("page.pools.level"), first.level.clone()));
    rows.extend(first.size.get().map(|size| Row::of(words("page.pools.size"), size.to_string())));
    rows.extend(
        first
            .last_check
            .and_then(|check| check.ago)
            .map(|ago| Row::of(words("page.pools.checked"), language.say("page.pools.ago", &[("span", &span(ago))]))),
    );
    rows.extend(others.iter().map(|pool| row(view, pool)));
    Sheet {
        name: words("page.pools.title").to_owned(),
        figure: members(first),
        beside: vec![words("page.pools.members").to_owned(), first.name.clone(), state(view, first)],
        level: first.activity.done.map(|done| Level::share(Some(done))),
        rows,
        ..Sheet::default()
    }
}

fn row(view: &View<'_>, pool: &Pool) -> Row {
    let row = Row::of(&pool.name, format!("{} {}", state(view, pool), members(pool)));
    match pool.activity.done {
        Some(done) => row.with(Level::share(Some(done))),
        None => row,
    }
}

/// Working members of those that a healthy pool has.
fn members(pool: &Pool) -> String {
    let working = pool.working();
    if pool.is_read_in_part() {
        return "-".to_owned();
    }
    if pool.wanted > 0 { format!("{working}/{}", pool.wanted) } else { working.to_string() }
}

/// One that cannot be read leads like one that is down.
fn is_down(view: &View<'_>, pool: &Pool) -> bool {
    pool.running.get().is_none() || judged(view, pool).is_some_and(|judged| judged.down.is_some())
}

fn lacks_members(view: &View<'_>, pool: &Pool) -> bool {
    judged(view, pool).is_some_and(|judged| judged.lost > 0)
}

fn judged<'a>(view: &View<'a>, pool: &Pool) -> Option<&'a Redundancy> {
    view.verdict.pools.get(&pool.key)
}

fn state(view: &View<'_>, pool: &Pool) -> String {
    let language = view.language;
    let word = match &pool.running.value {
        Err(_) => language.plain("page.pools.not-readable"),
        Ok(PoolRunning::Inactive) => language.plain("page.pools.not-started"),
        Ok(PoolRunning::Broken) => language.plain("page.pools.failed"),
        Ok(PoolRunning::Suspended) => language.plain("page.pools.suspended"),
        Ok(PoolRunning::Running) => match pool.activity.kind {
            _ if is_down(view, pool) => language.plain("page.pools.failed"),
            ActivityKind::Idle if lacks_members(view, pool) => language.plain("page.pools.degraded"),
            ActivityKind::Idle if pool.is_read_in_part() => language.plain("page.pools.not-readable"),
            ActivityKind::Idle if pool.has_unknown_level() => language.plain("page.pools.not-judged"),
            ActivityKind::Idle => language.plain("page.pools.healthy"),
            ActivityKind::Frozen => language.plain("page.pools.paused"),
            other => language.activity(other),
        },
    };
    let done = pool.activity.done.map(|done| format!(" {}", Percent(done * 100.0))).unwrap_or_default();
    format!("{word}{done}")
}
