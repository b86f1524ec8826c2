//! The open incidents, kept over restarts: which incident a group of conditions continues, and what is new about it; and
//! those that are closed.

mod ends;
pub mod group;
pub mod history;

use crate::kinds::TOGETHER;
use ends::ended;
use group::{ConditionGroup, severity};
use history::History;
use serde::{Deserialize, Serialize};
use traylight_data::clock::Moment;
use traylight_data::reading::DriveKey;
use traylight_data::verdict::{Cause, Condition, Ended, Gaps, Incident, IncidentId, Kind, Update, UpdateKind};

/// The incidents of a box.
#[derive(Debug, Clone, PartialEq, Default, Serialize, Deserialize)]
pub struct IncidentStore {
    /// What sets these incidents apart from those of another box, or of this one with another incident store.
    #[serde(default)]
    pub mark: String,
    last: u32,
    open: Vec<Incident>,
    /// Those that are closed.
    #[serde(default)]
    pub history: History,
    /// Until when messages are held back because somebody works on the box.
    pub muted_until: Option<Moment>,
    /// Times that no clock has measured.
    #[serde(default)]
    pub gaps: Gaps,
    /// True when something changed that must outlive a sudden end.
    #[serde(skip)]
    pub is_urgent: bool,
}

impl IncidentStore {
    /// The open incidents, worst first, then oldest first.
    pub fn open(&self) -> Vec<Incident> {
        let mut open = self.open.clone();
        open.sort_by(|a, b| b.severity.cmp(&a.severity).then(a.since.cmp(&b.since)).then(a.id.cmp(&b.id)));
        open
    }

    /// The open incidents as they come.
    pub fn iter(&self) -> impl Iterator<Item = &Incident> {
        self.open.iter()
    }

    /// Takes in incidents as they were told. Telling is kept at once and the incident store a little later: after a sudden end, what
    /// was told last may be newer than the incident store. What was told to be over is open no more.
    pub fn recover(&mut self, told: Vec<Incident>, is_over: impl Fn(&Incident) -> bool) {
        for told in told {
            self.last = self.last.max(told.id.0);
            match self.open.iter_mut().find(|known| known.id == told.id) {
                Some(known) if known.updates >= told.updates => {}
                Some(known) => *known = told,
                None => self.open.push(told),
            }
        }
        self.open.retain(|incident| !is_over(incident));
    }

    /// The last turn of each open incident. Which of them were sent already, the outbox knows.
    pub fn last_updates(&self) -> impl Iterator<Item = Update> {
        self.open.iter().filter_map(|incident| Some(Update { what: incident.last_update?, incident: incident.clone() }))
    }

    /// The last number that was given.
    pub fn last_number(&self) -> IncidentId {
        IncidentId(self.last)
    }

    /// The numbers up to this one have been given and sent out, also those that this incident store, which is saved later, lacks.
    pub fn number_was_given(&mut self, last: IncidentId) {
        self.last = self.last.max(last.0);
    }

    /// The conditions that were open when the incident store was kept.
    pub fn conditions(&self) -> impl Iterator<Item = &Condition> {
        self.open.iter().flat_map(|incident| &incident.conditions)
    }

    /// The open incident that a condition belongs to.
    pub fn of(&self, condition: &Condition) -> Option<&Incident> {
        self.open.iter().find(|incident| incident.conditions.iter().any(|known| known.key() == condition.key()))
    }

    /// True while messages are held back because somebody works on the box.
    pub fn is_muted(&self, now: Moment) -> bool {
        self.muted_until.is_some_and(|until| now < until)
    }

    /// The drives whose absence is told of.
    pub fn absent_drives(&self) -> impl Iterator<Item = &DriveKey> {
        let gone = self.conditions().filter(|condition| condition.kind() == Kind::DriveGone);
        gone.filter_map(|condition| condition.subject.drive())
    }

    /// Its owner knows of an incident; false when none of this name is open.
    pub fn acknowledge(&mut self, id: IncidentId) -> bool {
        let found = self.open.iter_mut().find(|incident| incident.id == id);
        self.is_urgent |= found.is_some();
        found.map(Incident::acknowledge).is_some()
    }

    /// The times of all that is in it move into the past, as when the machine has started again.
    pub fn move_back(&mut self, by: impl Fn(Moment) -> Moment) {
        for incident in &mut self.open {
            incident.move_back(&by);
        }
        self.muted_until = self.muted_until.map(&by);
        self.history.move_back(&by);
        self.gaps.move_back(by);
    }

    /// This boot began after a time that no clock has measured; see [`Gaps::note`].
    pub fn note_gap(&mut self, before_s: Option<u64>) {
        let closed = self.history.closed().iter().map(|closed| closed.at);
        let oldest =
            self.open.iter().map(|incident| incident.since).chain(closed).chain(self.history.complete_since()).min();
        self.gaps.note(before_s, oldest);
    }

    /// Sets the groups of what holds now beside the open incidents; what is new.
    pub fn update(&mut self, groups: Vec<ConditionGroup>, now: Moment) -> Vec<Update> {
        self.history.begin(now);
        let mut groups = self.kept_together(groups);
        let mut updates = Vec::new();
        let mut open = std::mem::take(&mut self.open);
        open.sort_by_key(|incident| incident.id);
        // Those that share a condition with a group go first; what holds under another name only goes on with what is left.
        for link in [continues, succeeds] {
            for incident in std::mem::take(&mut open) {
                // Of several that an incident falls into, the one that still tells it.
                let same_cause = |index: &usize| groups[*index].cause == incident.cause;
                let mut going_on = (0..groups.len()).filter(|index| link(&incident, &groups[*index]));
                let Some(index) = going_on.clone().find(same_cause).or_else(|| going_on.next()) else {
                    open.push(incident);
                    continue;
                };
                let group = groups.remove(index);
                let is_split = groups.iter().any(|other| shares(&incident, other, |_| true));
                let (incident, news) = go_on(incident, group, is_split, now);
                updates.extend(news.map(|what| Update { incident: incident.clone(), what }));
                self.open.push(incident);
            }
        }
        for group in groups {
            self.last += 1;
            let incident = begin(IncidentId(self.last), group, now);
            updates.push(Update { incident: incident.clone(), what: UpdateKind::Opened });
            self.open.push(incident);
        }
        // Only now is it known where everything that still holds belongs.
        for mut incident in open {
            let how = ended(&incident, &self.open);
            if how == Ended::TakenOut {
                // What lives on elsewhere does not end with the drive.
                let lives = |own: &Condition| self.of(own).is_some();
                incident.conditions.retain(|own| !lives(own));
            }
            let what = UpdateKind::Closed { lasted: self.gaps.since(incident.since, now), how };
            incident.take_update(what);
            self.history.add(&incident, now);
            updates.push(Update { incident, what });
        }
        updates.sort_by_key(|update| update.incident.id);
        self.is_urgent |= !updates.is_empty();
        updates
    }

    /// What was one incident stays one: conditions of an open incident that nothing explains any more, or not at this look,
    /// go on with the rest of it.
    fn kept_together(&self, groups: Vec<ConditionGroup>) -> Vec<ConditionGroup> {
        let (unexplained, mut kept): (Vec<ConditionGroup>, Vec<ConditionGroup>) =
            groups.into_iter().partition(|group| !group.cause.is_named());
        for group in unexplained {
            let known = |condition: &Condition, incident: &Incident| {
                incident.conditions.iter().any(|known| known.key() == condition.key())
            };
            let story = self.open.iter().find(|incident| group.conditions.iter().all(|one| known(one, incident)));
            match story.and_then(|incident| kept.iter_mut().find(|other| continues(incident, other))) {
                Some(rest) => rest.take_in(group.conditions),
                None => kept.push(group),
            }
        }
        kept
    }
}

/// True when a group continues an incident: they share a condition, or tell the same of the same drives.
/// That a drive was taken out is an incident of its own, which begins with its absence.
fn continues(incident: &Incident, group: &ConditionGroup) -> bool {
    if group.cause == Cause::TakenOut && incident.cause != Cause::TakenOut {
        return shares(incident, group, |kind| kind == Kind::DriveGone);
    }
    let same = group.cause.is_named()
        && group.cause == incident.cause
        && !group.drives.is_empty()
        && group.drives == incident.drives;
    same || shares(incident, group, |_| true)
}

/// True when what is left of an incident goes on in a group under another name, and the group has no other incident to tell.
fn succeeds(incident: &Incident, group: &ConditionGroup) -> bool {
    let has_no_other = !group.cause.is_named() || group.cause == incident.cause;
    let mut known = incident.conditions.iter();
    has_no_other && known.any(|known| group.conditions.iter().any(|held| known.goes_on_as(held)))
}

/// True when a condition of one of these kinds is in both.
fn shares(incident: &Incident, group: &ConditionGroup, kinds: fn(Kind) -> bool) -> bool {
    let mut known = incident.conditions.iter().filter(|known| kinds(known.kind()));
    known.any(|known| group.conditions.iter().any(|condition| condition.key() == known.key()))
}

/// True when a group is what is left of an incident of several drives, and nothing has happened since that tells more of it:
/// what was found of all of them then explains the rest, too.
fn is_rest(before: &Incident, group: &ConditionGroup) -> bool {
    let fewer = !group.drives.is_empty() && group.drives.len() < before.drives.len();
    let told = before.evidence.iter().map(|evidence| evidence.at).max();
    let is_news = |at: Moment| told.is_none_or(|told| at > told.plus(TOGETHER));
    fewer
        && group.drives.iter().all(|one| before.drives.contains(one))
        && (group.confidence <= before.confidence || !group.evidence.iter().any(|evidence| is_news(evidence.at)))
}

fn begin(id: IncidentId, group: ConditionGroup, now: Moment) -> Incident {
    let severity = severity(group.cause, &group.conditions);
    let since = group.conditions.iter().map(|condition| condition.since).min().unwrap_or(now);
    let ConditionGroup { cause, confidence, conditions, drives, part, evidence, unmeasured, handling, hot_swap } =
        group;
    let mut incident = Incident {
        id,
        cause,
        confidence,
        severity,
        worst: severity,
        updates: 1,
        last_update: Some(UpdateKind::Opened),
        since,
        conditions,
        drives,
        part,
        evidence,
        unmeasured,
        handling,
        hot_swap,
        acknowledged: false,
        reported: None,
    };
    incident.report(now);
    incident
}

/// Names no reason: any other cause says more.
fn says_nothing(cause: Cause) -> bool {
    !cause.is_named() || cause == Cause::RestartUnexplained
}

/// True when what a group says of the cause takes the place of what was found before.
fn replaces(before: &Incident, group: &ConditionGroup, is_split: bool) -> bool {
    // What explains more drives than before takes the place of what explained fewer, however sure that was.
    let more = group.drives.len() > before.drives.len() && before.drives.iter().all(|one| group.drives.contains(one));
    let as_sure = more || group.confidence >= before.confidence;
    match (group.cause == before.cause, says_nothing(group.cause), says_nothing(before.cause)) {
        (_, true, true) if group.cause != Cause::SelfEvident => true,
        (true, ..) => as_sure,
        (false, true, _) => false,
        (false, false, true) => true,
        (false, false, false) => as_sure && (is_split || !is_rest(before, group)),
    }
}

/// The incident with what holds now, and what is new about it. What was found out once is not forgotten because its
/// signs are over: only another finding that is no less sure takes its place. Not so when drives have only come back,
/// unless the incident falls apart.
fn go_on(before: Incident, group: ConditionGroup, is_split: bool, now: Moment) -> (Incident, Option<UpdateKind>) {
    let replaces = replaces(&before, &group, is_split);
    let mut incident = Incident {
        conditions: group.conditions,
        handling: group.handling,
        hot_swap: group.hot_swap,
        part: group.part.or(before.part),
        ..before
    };
    if replaces {
        (incident.cause, incident.confidence) = (group.cause, group.confidence);
        if !group.evidence.is_empty() {
            incident.evidence = group.evidence;
        }
        incident.unmeasured = group.unmeasured;
        if !group.drives.is_empty() {
            incident.drives = group.drives;
        }
    }
    let severity = severity(incident.cause, &incident.conditions);
    incident.severity = severity;
    incident.worst = severity.max(before.worst).max(before.severity);
    let is_refined =
        incident.cause != before.cause || (incident.confidence > before.confidence && incident.cause.is_named());
    let news = if severity > before.severity || incident.is_worse_than_reported(now) {
        Some(UpdateKind::Worsened)
    } else if is_refined {
        Some(UpdateKind::Refined { before: before.cause })
    } else if severity < before.severity {
        Some(UpdateKind::Eased)
    } else {
        None
    };
    if let Some(what) = news {
        incident.take_update(what);
    }
    // That it got a little better is told to nobody.
    if incident.reported.is_none() || news.is_some_and(|what| what != UpdateKind::Eased) {
        incident.report(now);
    }
    // Another incident has begun with what was acknowledged.
    incident.acknowledged &= !matches!(news, Some(UpdateKind::Worsened));
    (incident, news)
}

/// What is told of a drive itself ends when it is taken out: its absence is another incident, and it will tell anew when it
/// is back.
pub fn ends_with_absence(condition: &Condition, gone: &[DriveKey]) -> bool {
    const STAY: [Kind; 5] =
        [Kind::DriveGone, Kind::DriveFlapping, Kind::DriveLostPower, Kind::DriveMissingAtStart, Kind::MemberFaulty];
    condition.subject.drive().is_some_and(|key| gone.contains(key)) && !STAY.contains(&condition.kind())
}
