//! The parts that are made from the settings and go on with others after a reload: panels, buttons and channels. All else
//! is given the settings each time that it needs them.

use super::dispatch::Dispatch;
use crate::clock::{Clock, Wall};
use crate::judge::IncidentStore;
use crate::keep::Outboxes;
use crate::show::buttons::{ButtonEvent, Buttons};
use crate::show::care::Picture;
use crate::show::pages::stopped;
use crate::show::panel::{self, PanelThread};
use crate::tell::log::LogEntry;
use crate::tell::words::phrases::Language;
use std::io;
use tokio::sync::mpsc::UnboundedSender;
use traylight_config::Settings;
use traylight_display::{Brightness, PanelSize};

/// Where parts say what happened to them.
#[derive(Clone)]
pub struct Ears {
    /// The panels.
    pub panels: UnboundedSender<panel::PanelEvent>,
    /// The buttons.
    pub buttons: UnboundedSender<ButtonEvent>,
}

/// The parts.
pub struct Parts {
    /// A thread for each panel.
    pub panels: Vec<PanelThread>,
    /// The channels; `None` while there are none, and no heartbeat.
    pub dispatch: Option<Dispatch>,
    buttons: Buttons,
    ears: Ears,
    clock: Clock,
}

impl Parts {
    /// Makes them.
    ///
    /// # Errors
    /// When the machine has no thread to spare, or a panel is none that there is.
    pub fn start(
        settings: &Settings,
        stores: Option<Outboxes>,
        incident_store: &IncidentStore,
        ears: Ears,
        clock: &Clock,
    ) -> io::Result<Self> {
        let report = ears.panels.clone();
        let panels = PanelThread::start_all(&settings.panel.panels, clock, move |said| drop(report.send(said)))?;
        let mut buttons = Buttons::default();
        buttons.listen(&settings.buttons, &ears.buttons);
        let dispatch = Dispatch::start(settings, stores, incident_store, clock)?;
        Ok(Self { panels, dispatch, buttons, ears, clock: clock.clone() })
    }

    /// Goes on with other settings: the numbers of the panels that begin anew, and what is to be said of what cannot be had.
    pub fn renew(
        &mut self,
        settings: &Settings,
        stores: impl FnOnce() -> Option<Outboxes>,
        incident_store: &IncidentStore,
    ) -> (Vec<usize>, Vec<LogEntry>) {
        self.buttons.listen(&settings.buttons, &self.ears.buttons);
        let mut entries = Vec::new();
        let (report, wall) = (self.ears.panels.clone(), self.clock.wall());
        let report = move |said| drop(report.send(said));
        let last = |size| last_picture(&wall, size, settings.language);
        let begun = PanelThread::renew(&mut self.panels, &settings.panel.panels, &self.clock, report, last);
        let begun = begun.unwrap_or_else(|error| {
            entries.push(not_in_force("[panel]", &error));
            Vec::new()
        });
        let told = match &mut self.dispatch {
            Some(dispatch) => {
                // The stores could not be opened when the first channel was configured.
                if let Some(stores) = (!dispatch.is_kept()).then(stores).flatten() {
                    dispatch.keep(stores, incident_store);
                }
                dispatch.renew(settings)
            }
            None => {
                Dispatch::start(settings, stores(), incident_store, &self.clock).map(|started| self.dispatch = started)
            }
        };
        entries.extend(told.err().map(|error| not_in_force("[alerts]", &error)));
        (begun, entries)
    }
}

/// That a section has not come into force.
pub fn not_in_force(section: &str, error: &io::Error) -> LogEntry {
    let why = format!("changes in {section} take effect at the next reload or restart: {error}");
    LogEntry::agent(4, "not-in-force", why)
}

/// What a panel shows that is watched no more.
pub fn last_picture(wall: &Wall, size: PanelSize, language: Language) -> Picture {
    Picture { frame: stopped(&wall.minute(), size, language), brightness: Brightness::Dim }
}

#[cfg(test)]
mod tests;
