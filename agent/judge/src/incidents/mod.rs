//! Incidents: one for each cause. What holds is put together by cause, set beside the incidents that were open
//! before, and what is new about each is said once. [`fold`] puts together what belongs together, with what [`alike`] knows of
//! conditions that nothing explains; [`handling`] says what may be done with trays; the open incidents are in the memory's
//! incident store.

mod alike;
mod fold;
mod handling;

use crate::causes::view::CauseView;
use crate::kinds::Kinds;
use crate::memory::Memory;
use traylight_config::Settings;
use traylight_data::clock::Moment;
use traylight_data::reading::Snapshot;
use traylight_data::verdict::Update;

/// Puts together what holds now; what is new about incidents.
pub fn update(
    settings: &Settings,
    memory: &mut Memory,
    kinds: &Kinds,
    now: Moment,
    snapshot: &Snapshot,
) -> Vec<Update> {
    let groups = {
        let view = CauseView::new(settings, memory, kinds, snapshot);
        fold::groups(&view)
    };
    memory.ledger.incident_store.update(groups, now)
}
