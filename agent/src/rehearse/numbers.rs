//! Numbers of rehearsed incidents: none of them is a real one's. What a fault adds to a real incident is an incident of its
//! own in the rehearsal, so that whoever acknowledges it cannot mean the real one.

use crate::verdict::{Ended, Incident, IncidentId, Update, UpdateKind, Verdict};
use std::collections::{BTreeMap, BTreeSet};

/// Gives what was played, look by look, numbers of its own where it has those of incidents that are really open.
pub(super) fn keep_apart(played: &mut [&mut Verdict], real: &[Incident]) {
    let all = played.iter().flat_map(|verdict| numbers(verdict));
    let highest = all.chain(real.iter().map(|incident| incident.id.0)).max().unwrap_or(0);
    let own: BTreeMap<IncidentId, IncidentId> =
        (highest + 1..).map(IncidentId).zip(real).map(|(own, real)| (real.id, own)).collect();
    let mut begun = BTreeSet::new();
    for verdict in played {
        let updates = std::mem::take(&mut verdict.updates);
        verdict.updates = updates.into_iter().filter_map(|update| renumbered(update, &own, &mut begun)).collect();
        rename(verdict, &own);
    }
}

fn numbers(verdict: &Verdict) -> impl Iterator<Item = u32> {
    let updated = verdict.updates.iter().map(|update| update.incident.id.0);
    verdict.incidents.iter().map(|incident| incident.id.0).chain(updated)
}

fn rename(verdict: &mut Verdict, own: &BTreeMap<IncidentId, IncidentId>) {
    for incident in &mut verdict.incidents {
        if let Some(own) = own.get(&incident.id) {
            *incident = of_its_own(incident.clone(), *own);
        }
    }
}

/// Nobody has acknowledged it yet.
fn of_its_own(incident: Incident, id: IncidentId) -> Incident {
    Incident { id, acknowledged: false, ..incident }
}

/// The first that is reported under a new number is that it begins; what ends before it has begun is not reported.
fn renumbered(
    update: Update,
    own: &BTreeMap<IncidentId, IncidentId>,
    begun: &mut BTreeSet<IncidentId>,
) -> Option<Update> {
    let what = match update.what {
        UpdateKind::Closed { lasted, how: Ended::PartOf(whole) } => {
            UpdateKind::Closed { lasted, how: Ended::PartOf(own.get(&whole).copied().unwrap_or(whole)) }
        }
        other => other,
    };
    let Some(id) = own.get(&update.incident.id) else { return Some(Update { what, ..update }) };
    let incident = of_its_own(update.incident, *id);
    match (begun.contains(id), what) {
        (false, UpdateKind::Closed { .. }) => None,
        (true, what) => Some(Update { what, incident }),
        (false, _) => {
            begun.insert(*id);
            Some(Update { what: UpdateKind::Opened, incident })
        }
    }
}
