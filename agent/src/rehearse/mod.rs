//! A rehearsal: a fault is played before the real judge, on a copy of what is remembered and read of the box. Nothing of
//! the box is touched, and nothing that is played is remembered. Pure.

mod causes;
#[cfg(test)]
mod endings;
mod needs;
mod numbers;
#[cfg(test)]
mod tests;

use crate::clock::{Moment, Wall};
use crate::judge::play::{Play, SLOW};
use crate::judge::{self, Memory, judge};
use crate::reading::{Itself, Snapshot};
use crate::tell::words::phrases::{Language, Phrases};
use crate::verdict::{Cause, Change, Condition, Ended, Incident, IncidentId, Kind, Update, UpdateKind, Verdict};
use std::collections::BTreeSet;
use std::fmt;
use std::time::Duration;
use traylight_config::{Grace, Limits, Settings, nearest};

/// What can be rehearsed.
#[derive(Debug, Clone, Copy, PartialEq, Eq)]
pub enum RehearsedFault {
    /// A condition of this kind begins.
    Kind(Kind),
    /// Several signs point to this cause.
    Cause(Cause),
}

impl RehearsedFault {
    /// All that can be played: kinds, then causes. What has no cause of its own is played by its kind.
    pub fn all() -> impl Iterator<Item = Self> {
        let causes = Cause::ALL.iter().copied().filter(|cause| cause.is_named());
        Kind::ALL.iter().copied().map(Self::Kind).chain(causes.map(Self::Cause))
    }

    /// The fault of this name.
    ///
    /// # Errors
    /// That there is none, in words.
    pub fn named(name: &str, language: Language) -> Result<Self, String> {
        let found = Self::all().find(|fault| fault.to_string() == name);
        found.ok_or_else(|| {
            let names: Vec<String> = Self::all().map(|fault| fault.to_string()).collect();
            match nearest(name, names.iter().map(String::as_str)) {
                Some(near) => language.say("rehearse.unknown-near", &[("fault", &name), ("near", &near)]),
                None => language.say("rehearse.unknown", &[("fault", &name)]),
            }
        })
    }

    /// What happens, in a few words.
    pub fn description(self, language: Language) -> &'static str {
        language.plain(&format!("rehearse.fault.{self}"))
    }

    fn play(self) -> Play {
        match self {
            Self::Kind(kind) => judge::how_played(kind),
            Self::Cause(cause) => causes::play(cause),
        }
    }

    fn came(self, verdict: &Verdict) -> bool {
        match self {
            Self::Kind(kind) => verdict.conditions.iter().any(|condition| condition.kind() == kind),
            Self::Cause(cause) => verdict.incidents.iter().any(|incident| incident.cause == cause),
        }
    }
}

impl fmt::Display for RehearsedFault {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str(match self {
            Self::Kind(kind) => kind.id(),
            Self::Cause(cause) => cause.id(),
        })
    }
}

/// A fault as it was played.
#[derive(Debug, Clone)]
pub struct Played {
    /// Which.
    pub fault: RehearsedFault,
    /// How the box was judged in the end: only what the fault has brought about.
    pub verdict: Verdict,
    /// The box in the end.
    pub snapshot: Snapshot,
    /// What was new, look by look.
    pub told: Vec<PlayedLook>,
    /// What the box does not have and was pretended as well, in words.
    pub pretended: Vec<String>,
}

/// What was new at one look.
#[derive(Debug, Clone)]
pub struct PlayedLook {
    /// How the box was judged then, with what was new about incidents.
    pub verdict: Verdict,
    /// What was new about conditions.
    pub changes: Vec<Change>,
}

impl Played {
    /// The numbers of the incidents that it opened.
    pub fn numbers(&self) -> impl Iterator<Item = IncidentId> {
        let updates = self.told.iter().flat_map(|told| &told.verdict.updates);
        updates.filter(|update| update.what == UpdateKind::Opened).map(|update| update.incident.id)
    }

    /// The end of it: all that it opened is over. What was open before is left as it is.
    pub fn end(&self) -> PlayedLook {
        let at = self.verdict.at;
        let opened: BTreeSet<IncidentId> = self.numbers().collect();
        let is_played = |condition: &&Condition| {
            let changes = self.told.iter().flat_map(|told| &told.changes);
            let begins = |change: &Change| match change {
                Change::Opened(begun) => Some((begun.subject.clone(), begun.kind())),
                _ => None,
            };
            changes.filter_map(begins).any(|begun| begun == (condition.subject.clone(), condition.kind()))
        };
        let closed = |condition: &Condition| Change::Closed {
            lasted: Some(at.since(condition.since)),
            condition: condition.clone(),
        };
        let over = |incident: &Incident| Update {
            what: UpdateKind::Closed { lasted: Some(at.since(incident.since)), how: Ended::Over },
            incident: incident.clone(),
        };
        let updates = self.verdict.incidents.iter().filter(|open| opened.contains(&open.id)).map(over).collect();
        let (played, conditions): (Vec<_>, Vec<_>) = self.verdict.conditions.iter().partition(is_played);
        let (changes, conditions) =
            (played.into_iter().map(closed).collect(), conditions.into_iter().cloned().collect());
        PlayedLook { changes, verdict: Verdict { updates, conditions, remarks: Vec::new(), ..self.verdict.clone() } }
    }

    /// The calendar of a moment of the play, which ends now.
    pub fn wall(&self, now: &Wall, at: Moment) -> Wall {
        now.before(self.verdict.at.since(at))
    }
}

/// Plays a fault; `name` says which drive it happens to, as `self-test` takes it.
///
/// # Errors
/// When no single drive is meant, or when the box as it stands makes something else of it.
pub fn play(
    settings: &Settings,
    memory: &Memory,
    snapshot: &Snapshot,
    fault: RehearsedFault,
    name: Option<&str>,
) -> Result<Played, String> {
    // There is no start to wait for the end of.
    let grace = Grace { drives: Duration::ZERO, pools: Duration::ZERO };
    let settings = &Settings { limits: Limits { grace, ..settings.limits.clone() }, ..settings.clone() };
    let play = fault.play();
    let (calm, pretended) = needs::prepare(settings, snapshot, play.needs, name)?;
    // With the trays as they are named for the played box.
    let settings = &calm.settings;
    let (real, mut memory) = (memory.incidents(), memory.clone());

    let begin = snapshot.taken.plus(Duration::from_secs(1) + play.before);
    for before in (1..=play.before.as_secs()).rev().step_by(SLOW.as_secs() as usize) {
        let now = begin.minus(Duration::from_secs(before));
        let looked = calm.at(now, play.calm);
        judge(settings, &mut memory, now, Some(&looked), &Itself::default());
    }
    // Pretended parts are no strangers.
    memory.know_drives();
    memory.let_time_pass(play.watched);
    memory.miss_starts(&calm.one, play.missed_starts);
    if let Some(last_seen) = play.last_seen {
        let now = begin.minus(Duration::from_secs(1));
        judge(settings, &mut memory, now, Some(&calm.at(now, last_seen)), &Itself::default());
        memory = memory.over_a_restart(now)?;
    }

    let (mut told, mut last) = (Vec::<PlayedLook>::new(), None);
    for second in (0..=play.length.as_secs()).step_by(play.pace.as_secs() as usize) {
        let now = begin.plus(Duration::from_secs(second));
        let looked = calm.at(now, |pretence| (play.change)(pretence, second));
        let (verdict, changes) = judge(settings, &mut memory, now, Some(&looked), &Itself::default());
        if !changes.is_empty() || !verdict.updates.is_empty() {
            told.push(PlayedLook { changes, verdict: verdict.clone() });
        }
        last = Some((verdict, looked));
    }
    let (mut verdict, snapshot) = last.ok_or("nothing was played")?;
    // What goes on besides is not part of the play.
    let turned: BTreeSet<IncidentId> =
        told.iter().flat_map(|told| &told.verdict.updates).map(|update| update.incident.id).collect();
    verdict.incidents.retain(|incident| turned.contains(&incident.id));
    let incidents = verdict.incidents.clone();
    verdict.conditions.retain(|open| incidents.iter().any(|incident| incident.conditions.contains(open)));
    let looks = told.iter_mut().map(|told| &mut told.verdict);
    numbers::keep_apart(&mut looks.chain([&mut verdict]).collect::<Vec<_>>(), &real);
    match fault.came(&verdict) {
        true => Ok(Played { fault, verdict, snapshot, told, pretended }),
        false => {
            let found: Vec<&str> = verdict.incidents.iter().map(|incident| incident.cause.id()).collect();
            let (language, found) = (settings.language, found.join(", "));
            Err(match found.as_str() {
                "" => language.say("rehearse.judged-as-nothing", &[("fault", &fault)]),
                _ => language.say("rehearse.judged-otherwise", &[("fault", &fault), ("found", &found)]),
            })
        }
    }
}
