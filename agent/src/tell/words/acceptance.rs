//! The words for what became of an incident that the owner accepted. Pure.

use super::condition;
use super::phrases::{Language, Phrases};
use crate::verdict::{Acceptance, AcceptanceRefusal, Condition, IncidentId};

/// What was accepted and what stays open, each with its reason.
///
/// # Errors
/// When nothing could be accepted: why.
pub fn outcome(outcome: &Acceptance, id: IncidentId, language: Language) -> Result<String, String> {
    let name = |condition: &Condition| condition::words(condition, language).name;
    let stays = outcome.open.iter().map(|open| format!("{} ({})", name(&open.condition), refusal(open.why, language)));
    let stays = stays.collect::<Vec<_>>().join(", ");
    if outcome.accepted.is_empty() {
        return Err(language.say("ack.nothing", &[("id", &id), ("what", &stays)]));
    }
    let accepted = outcome.accepted.iter().map(name).collect::<Vec<_>>().join(", ");
    let done = language.say("ack.accepted", &[("what", &accepted)]);
    if stays.is_empty() { Ok(done) } else { Ok(format!("{done} {}", language.say("ack.open", &[("what", &stays)]))) }
}

fn refusal(why: AcceptanceRefusal, language: Language) -> &'static str {
    language.plain(match why {
        AcceptanceRefusal::Configured => "ack.configured",
        AcceptanceRefusal::IsBack => "ack.is-back",
        AcceptanceRefusal::MountedWritable => "ack.mounted-writable",
        AcceptanceRefusal::StillRead => "ack.still-read",
    })
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::clock::Moment;
    use crate::tell::words::condition::tests::all;
    use crate::verdict::{Kind, NotAccepted, Place, Severity, Subject};

    fn condition(kind: Kind) -> Condition {
        let place = Place { tray: Some("3".into()), serial: None, port: None };
        let finding = all(&place, "md0").into_iter().find(|finding| finding.kind() == kind).expect("all kinds");
        let since = Moment::after_boot(std::time::Duration::ZERO);
        Condition { subject: Subject::Pool("md0".into()), severity: Severity::Warning, since, finding }
    }

    #[test]
    fn what_is_accepted_and_what_stays_open_is_named_with_the_reason() {
        let stays = NotAccepted { condition: condition(Kind::PoolDegraded), why: AcceptanceRefusal::StillRead };
        let some = Acceptance { accepted: vec![condition(Kind::DriveGone)], open: vec![stays.clone()] };
        let printed = |accepted: &Acceptance, language| outcome(accepted, IncidentId(7), language);
        assert_eq!(
            printed(&some, Language::ENGLISH).as_deref(),
            Ok("Accepted, no longer expected from the next reading on: TRAY 3 GONE. \
                Still open: md0 DEGRADED (it is still read as wrong).")
        );
        let none = Acceptance { accepted: Vec::new(), open: vec![stays] };
        assert_eq!(
            printed(&none, Language::GERMAN).unwrap_err(),
            "von Vorfall 7 lässt sich nichts akzeptieren: md0 DEGRADIERT (wird weiterhin als Fehler gemessen)"
        );
    }
}
