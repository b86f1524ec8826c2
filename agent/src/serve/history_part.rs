//! The closed incidents in the document, as far back as the running agent keeps them.

use crate::clock::{Moment, Wall};
use crate::tell::words::incident::incident_words;
use crate::tell::words::phrases::Language;
use crate::verdict::{ClosedIncident, Ended, IncidentId, Severity, UpdateKind, Verdict};
use serde::{Deserialize, Serialize};

/// What was closed.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct History {
    /// Since when nothing is missing here, local time (RFC 3339); `null` when the clock was not set across a restart.
    pub complete_since: Option<String>,
    /// Closed incidents, newest first.
    pub incidents: Vec<Closed>,
}

/// A closed incident.
#[derive(Debug, Clone, PartialEq, Serialize, Deserialize)]
#[cfg_attr(test, derive(schemars::JsonSchema))]
pub struct Closed {
    /// Its number.
    pub id: IncidentId,
    /// How bad it was at its worst.
    pub severity: Severity,
    /// Its title.
    pub headline: String,
    /// The title in its owner's language, when that is another than English; `null` in English.
    pub owners_headline: Option<String>,
    /// When it was closed, local time (RFC 3339); `null` when the clock was not set across a restart.
    pub closed_at: Option<String>,
    /// How long it was open, in seconds; `null` when that is not known.
    pub lasted_s: Option<u64>,
    /// The incident that it turned out to be part of; `null` when it was over.
    pub part_of: Option<IncidentId>,
}

impl History {
    /// Of what was closed, oldest first, and since when none of that is missing.
    pub fn of(
        closed: &[ClosedIncident],
        complete_since: Option<Moment>,
        verdict: &Verdict,
        wall: &Wall,
        language: Language,
    ) -> Self {
        let time = |at: Moment| verdict.gaps.since(at, verdict.at).map(|ago| wall.before(ago).stamp());
        let part = |closed: &ClosedIncident| one(closed, time(closed.at), language);
        Self { complete_since: complete_since.and_then(time), incidents: closed.iter().rev().map(part).collect() }
    }
}

fn one(ClosedIncident { incident, .. }: &ClosedIncident, closed_at: Option<String>, language: Language) -> Closed {
    let headline = |language| incident_words(incident, &|_| String::new(), language).words.name;
    let (lasted, part_of) = match incident.last_update {
        Some(UpdateKind::Closed { lasted, how: Ended::PartOf(other) }) => (lasted, Some(other)),
        Some(UpdateKind::Closed { lasted, .. }) => (lasted, None),
        _ => (None, None),
    };
    Closed {
        id: incident.id,
        severity: incident.worst,
        headline: headline(Language::ENGLISH),
        owners_headline: (language != Language::ENGLISH).then(|| headline(language)),
        closed_at,
        lasted_s: lasted.map(|lasted| lasted.as_secs()),
        part_of,
    }
}

#[cfg(test)]
mod tests {
    use super::super::tests::settings;
    use super::*;
    use crate::demo::{self, heron, story};
    use crate::judge::{Memory, judge};
    use crate::printout::Printout;
    use crate::reading::Itself;
    use crate::serve::alerts::list_closed;
    use crate::verdict::UpdateKind;
    use std::time::Duration;

    #[test]
    fn what_was_closed_is_listed_newest_first_with_how_long_it_lasted() {
        let (settings, mut memory, mut closed) = (settings(Language::GERMAN), Memory::default(), Vec::new());
        let (mut last, mut elapsed) = (None, Duration::ZERO);
        while elapsed < story::LENGTH {
            let now = Moment::after_boot(Duration::from_secs(86_400) + elapsed);
            let snapshot = heron::snapshot(now, &story::scene(elapsed));
            let (verdict, _) = judge(&settings, &mut memory, now, Some(&snapshot), &Itself::default());
            let ends = |update: &&crate::verdict::Update| matches!(update.what, UpdateKind::Closed { .. });
            closed.extend(verdict.updates.iter().filter(ends).map(|update| update.incident.id));
            last = Some(verdict);
            elapsed += Duration::from_secs(2);
        }
        let wall = demo::dawn().expect("there is a dawn");
        let (kept, verdict) = (&memory.ledger().incident_store.history, last.expect("the story has a first second"));
        let history = History::of(kept.closed(), kept.complete_since(), &verdict, &wall, settings.language);
        closed.reverse();
        assert_eq!(history.incidents.iter().map(|closed| closed.id).collect::<Vec<_>>(), closed);
        assert!(!closed.is_empty() && history.incidents.iter().all(|closed| closed.lasted_s > Some(0)));
        let mut out = Printout::default();
        list_closed(&history, settings.language, &mut out);
        let first = history.incidents[0].owners_headline.clone().expect("its owner reads German");
        assert!(out.to_string().starts_with("\nBeendet\n") && out.to_string().contains(&first), "{out}");
        assert!(out.to_string().contains("Die Liste reicht zurück bis 20"), "{out}");
    }
}
