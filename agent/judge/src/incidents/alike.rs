//! Which conditions that no rule about causes explains have one reason all the same, and are one incident: what a setting
//! or a habit of the box is behind, what several parts began to show together, and what is told of one part.

use crate::causes::view::CauseView;
use crate::kinds::{Companions, Several};
use traylight_data::verdict::{Condition, Finding, Subject};

/// True when two conditions have one reason.
pub fn one_reason(view: &CauseView, one: &Condition, other: &Condition) -> bool {
    let (traits, others) = (view.kinds.of(one.kind()), view.kinds.of(other.kind()));
    let is_shared = match traits.several {
        Several::Apart => false,
        Several::OfTheBox => true,
        Several::BegunWithin(span) => one.since.apart(other.since) <= span,
    };
    let is_one_story = match traits.companions {
        Companions::None => false,
        Companions::OfItsPool => one.subject.pool() == other.subject.pool(),
        Companions::OfItsVolume => on_one_source(view, one, other),
    };
    (one.kind() == other.kind() && is_shared) || (traits.companions == others.companions && is_one_story)
}

/// True when two conditions are about one volume, under whatever names it is mounted.
fn on_one_source(view: &CauseView, one: &Condition, other: &Condition) -> bool {
    let source = |condition: &Condition| match (&condition.finding, &condition.subject) {
        (Finding::VolumeAbsent { source, .. }, _) if !source.is_empty() => Some(source.clone()),
        (_, Subject::Volume(mount)) => {
            view.snapshot.volumes.iter().find(|volume| volume.mount == *mount).map(|volume| volume.source.clone())
        }
        _ => None,
    };
    one.subject == other.subject || source(one).is_some_and(|found| Some(found) == source(other))
}
