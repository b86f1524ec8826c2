//! From a turn of an incident to the message about it. Pure.

use super::incident_words::{Told, told};
use super::message::{About, Message, Stamp, Topic, Turn};
use super::tongue::Tongue;
use crate::clock::{Moment, Wall};
use crate::verdict::{Condition, Ended, Incident, IncidentId, Place, Subject, Turn as Turned, Turned as What};

/// What every message needs besides the turn.
pub struct Letterhead<'a> {
    /// What sets the box's incidents apart from those of others.
    pub mark: &'a str,
    /// The language of the message.
    pub tongue: Tongue,
    /// The name of the box.
    pub box_name: &'a str,
    /// Now, on the boot clock.
    pub now: Moment,
    /// Now, on the calendar.
    pub wall: &'a Wall,
    /// Now, as it is understood after a restart.
    pub stamp: &'a Stamp,
    /// True while somebody works on the box.
    pub is_held: bool,
    /// Draws the panel's picture of an incident, as a PNG file: only for what is sent with one.
    pub page: &'a dyn Fn(&Incident) -> Option<Vec<u8>>,
}

/// The message about a turn; none for what is not worth one: what got a little better, and what turned out to be a part
/// of another story, which is told by that one.
pub fn message(turned: &Turned, head: Letterhead) -> Option<Message> {
    let (turn, lasted) = match turned.what {
        What::Opened => (Turn::Opened, None),
        What::Worsened => (Turn::Worsened, None),
        What::Refined { .. } => (Turn::Refined, None),
        What::Eased => return None,
        What::Closed { lasted, .. } => (Turn::Closed, Some(lasted)),
    };
    let incident = &turned.incident;
    let clock = |at: Moment| head.wall.before(head.now.since(at)).second();
    let Told { words, seen, unmeasured, next_test } = told(incident, &clock, head.tongue);
    let since = head.now.since(incident.since);
    let tongue = head.tongue;
    let since = match (head.wall.synchronised, lasted) {
        (true, _) => head.wall.before(since).stamp(),
        (false, None) => tongue.say("message.before-this", &[("span", &tongue.span(since))]),
        (false, Some(_)) => String::new(),
    };
    let ended = |key: &str, lasted| tongue.say(key, &[("name", &words.name), ("lasted", &tongue.span(lasted))]);
    let sentence = match turned.what {
        What::Closed { lasted, how: Ended::Over } => ended("message.over", lasted),
        What::Closed { lasted, how: Ended::TakenOut } => ended("message.taken-out", lasted),
        What::Closed { how: Ended::PartOf(other), .. } => {
            tongue.say("message.part-of", &[("name", &words.name), ("other", &other)])
        }
        _ => words.sentence,
    };
    let is_over = turn == Turn::Closed;
    let evidence = if is_over { Vec::new() } else { seen.into_iter().chain(words.evidence).collect() };
    Some(Message {
        id: format!("{}-{}.{}.{turn}", head.mark, incident.id, incident.turns),
        incident: incident.id.to_string(),
        turn,
        severity: if is_over { incident.worst.max(incident.severity) } else { incident.severity },
        about: about(incident),
        trays: incident.drives.iter().map(Place::label).collect(),
        title: if is_over { words.name } else { words.title },
        sentence,
        advice: if is_over { String::new() } else { words.advice },
        warning: if is_over { String::new() } else { words.warning },
        leave_in: words.leave_in.filter(|_| !is_over),
        evidence,
        not_measured: if is_over { Vec::new() } else { unmeasured.into_iter().map(str::to_owned).collect() },
        next_test: if is_over { String::new() } else { next_test },
        since,
        lasted,
        tongue,
        box_name: head.box_name.to_owned(),
        made_at: head.stamp.clone(),
        held: head.is_held,
        page: if is_over { None } else { (head.page)(incident) },
        record: Some(Box::new(incident.clone())),
    })
}

/// True when this is the name of the message that told the end of an incident.
pub fn tells_the_end(id: &str, mark: &str, incident: IncidentId) -> bool {
    let rest = id.strip_prefix(&format!("{mark}-{incident}."));
    rest.is_some_and(|rest| rest.split_once('.').is_some_and(|(_, turn)| turn == Turn::Closed.to_string()))
}

fn about(incident: &Incident) -> Vec<About> {
    let part = |condition: &Condition| {
        let (topic, name) = match &condition.subject {
            Subject::Drive(key) => (Topic::Drive, key.0.clone()),
            Subject::Pool(key) => (Topic::Pool, key.clone()),
            Subject::Volume(mount) => (Topic::Volume, mount.clone()),
            Subject::Fan(key) => (Topic::Fan, key.clone()),
            Subject::Link(name, _) => (Topic::Link, name.clone()),
            _ => (Topic::Box, condition.subject.to_string()),
        };
        About { topic, name }
    };
    let mut about: Vec<About> = incident.conditions.iter().map(part).collect();
    about.dedup();
    about
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn only_the_name_of_an_end_tells_it() {
        let names =
            ["ab-7.2.closed", "ab-7.2.opened", "ab-77.2.closed", "cd-7.2.closed", "test-ab-7.2.closed", "closed"];
        let found: Vec<&str> = names.into_iter().filter(|id| tells_the_end(id, "ab", IncidentId(7))).collect();
        assert_eq!(found, ["ab-7.2.closed"]);
    }
}
