//! The words for the box itself and for the program itself. Pure; the rules that all words keep are in
//! [`super::wording`].

use super::tongue::{Places, Tongue};
use super::wording::Words;
use crate::verdict::{AgentFault, BoxFault};

pub(super) fn agent(what: &AgentFault, tongue: Tongue) -> Words {
    match what {
        AgentFault::PanelLost => tongue.words("agent.panel-lost", &[]),
        AgentFault::Unseen { what } => {
            let parts = tongue.count("agent.unseen.parts", what.len() as u64);
            let which = if what.is_empty() { tongue.plain("agent.unseen.none").to_owned() } else { what.join("; ") };
            tongue.words("agent.unseen", &[("parts", &parts), ("which", &which)])
        }
        AgentFault::ClockNotSet => tongue.words("agent.clock-not-set", &[]),
        AgentFault::NotConfirmed { ways } if ways.is_empty() => tongue.words("agent.not-confirmed.none", &[]),
        AgentFault::NotConfirmed { ways } => tongue.words("agent.not-confirmed", &[("ways", &ways.join(", "))]),
        AgentFault::NotDelivered { waited } => {
            tongue.words("agent.not-delivered", &[("waited", &tongue.span(*waited))])
        }
        AgentFault::NotKept { why } if why.is_empty() => tongue.words("agent.not-kept.none", &[]),
        AgentFault::NotKept { why } => tongue.words("agent.not-kept", &[("why", why)]),
        AgentFault::EndedUnasked { times } => {
            let runs = tongue.count("agent.ended-unasked.runs", *times);
            let times = tongue.count("agent.ended-unasked.times", *times);
            tongue.words("agent.ended-unasked", &[("times", &times), ("runs", &runs)])
        }
    }
}

pub(super) fn of_box(what: &BoxFault, tongue: Tongue) -> Words {
    match what {
        BoxFault::UncleanRestart { times } => {
            let starts = tongue.count("box.unclean-restart.starts", *times);
            let times = tongue.count("box.unclean-restart.times", *times);
            tongue.words("box.unclean-restart", &[("times", &times), ("starts", &starts)])
        }
        BoxFault::OutOfMemory { ended } => {
            let processes = tongue.count("box.out-of-memory.processes", *ended);
            tongue.words("box.out-of-memory", &[("processes", &processes), ("ended", ended)])
        }
        BoxFault::CardWears { device, written, bearable } => {
            let (written, bearable) = (tongue.figure(written), tongue.figure(bearable));
            let places: Places = &[("device", device), ("written", &written), ("bearable", &bearable)];
            tongue.words("box.card-wears", places)
        }
        BoxFault::DiskErrors { device, count } => {
            let messages = tongue.count("box.disk-errors.messages", *count);
            let times = tongue.count("box.disk-errors.times", *count);
            tongue.words("box.disk-errors", &[("device", device), ("times", &times), ("messages", &messages)])
        }
    }
}
