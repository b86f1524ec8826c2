//! What is in force after a reload, key by key. What the parts were made from is compared, in the part itself; whether the
//! sender's thread has it is a story of its own beside it.

#![allow(clippy::unwrap_used, reason = "a failing step fails the test")]

use super::*;
use crate::every_key::{Changed, before, changed};
use tokio::sync::mpsc::unbounded_channel;

/// The same as long as no part was made from anything else.
fn is_in_force(parts: &Parts, settings: &Settings) -> bool {
    let panels: Vec<_> = parts.panels.iter().map(PanelThread::made_from).collect();
    panels == settings.panel.panels.iter().collect::<Vec<_>>()
        && parts.buttons.made_from() == settings.buttons
        && parts.dispatch.as_ref().is_some_and(|dispatch| dispatch.made_from() == &settings.alerts)
}

#[test]
fn every_key_is_in_force_after_a_reload_in_the_part_that_is_made_from_it() {
    let (panels, _panels) = unbounded_channel();
    let (buttons, _buttons) = unbounded_channel();
    let (before, clock, incident_store) = (before(), Clock::default(), IncidentStore::default());
    let mut parts = Parts::start(&before, None, &incident_store, Ears { panels, buttons }, &clock).unwrap();
    assert!(is_in_force(&parts, &before));
    let mut in_parts = 0;
    for Changed { key, settings } in changed() {
        in_parts += usize::from(!is_in_force(&parts, &settings));
        for wanted in [&settings, &before] {
            let (_, lacks) = parts.renew(wanted, || None, &incident_store);
            assert!(lacks.is_empty() && is_in_force(&parts, wanted), "{key}: {lacks:?}");
        }
    }
    assert!(in_parts > 60, "only {in_parts} keys are in parts");
    // Everything may go, and come again.
    for wanted in [&Settings::default(), &before] {
        let (_, lacks) = parts.renew(wanted, || None, &incident_store);
        assert!(lacks.is_empty() && is_in_force(&parts, wanted), "{lacks:?}");
    }
    parts.dispatch.unwrap().finish();
}
