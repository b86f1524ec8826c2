//! The threads that own the panels' buses, one a panel. Each takes the newest picture and never holds up who draws.

mod bus;
pub mod upkeep;

use crate::clock::Clock;
use crate::show::care::Picture;
pub use bus::{ListedBus, acknowledges, is_bus, listed_buses, picture_size};
use std::sync::mpsc::{Receiver, RecvTimeoutError, SyncSender, sync_channel};
use std::thread::JoinHandle;
use traylight_config as config;
use traylight_display::{Panel, PanelFault, PanelSize};
use upkeep::{Upkeep, UpkeepEvent};

/// So many orders wait for a panel's thread, at most: more than there are while it works.
const MOST_ORDERS: usize = 8;

/// What a panel's thread has to say.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct PanelEvent {
    /// Which panel: its number, from 0, in the configuration's order.
    pub panel: usize,
    /// What of it.
    pub what: UpkeepEvent,
}

enum PanelOrder {
    Show(Picture),
    Distrust,
}

/// The handle of one panel's thread. Dropping it lets the thread show what it has and end.
pub struct PanelThread {
    panel: config::PanelWiring,
    size: PanelSize,
    orders: Option<SyncSender<PanelOrder>>,
    thread: Option<JoinHandle<()>>,
}

impl PanelThread {
    /// Starts a thread for each configured panel. Reports go to `report`.
    ///
    /// # Errors
    /// When the machine refuses a thread, or a panel is none that there is.
    pub fn start_all(
        panels: &[config::PanelWiring],
        clock: &Clock,
        report: impl Fn(PanelEvent) + Clone + Send + 'static,
    ) -> std::io::Result<Vec<Self>> {
        let start = |(number, panel): (usize, &config::PanelWiring)| {
            let report = report.clone();
            Self::start(panel, clock.clone(), move |what| report(PanelEvent { panel: number, what }))
        };
        panels.iter().enumerate().map(start).collect()
    }

    /// Goes on with the panels of other settings: one that is wanted as it was goes on; the others show a last picture, and
    /// those that are wanted now begin. Answers the numbers of those that began.
    ///
    /// # Errors
    /// As [`PanelThread::start_all`]; the panels up to that one work.
    pub fn renew(
        running: &mut Vec<Self>,
        wanted: &[config::PanelWiring],
        clock: &Clock,
        report: impl Fn(PanelEvent) + Clone + Send + 'static,
        last: impl Fn(PanelSize) -> Picture,
    ) -> std::io::Result<Vec<usize>> {
        let mut before: Vec<Option<Self>> = std::mem::take(running).into_iter().map(Some).collect();
        before.resize_with(before.len().max(wanted.len()), || None);
        for (number, one) in before.iter_mut().enumerate() {
            // Two threads on one bus would mix their pictures: the old one ends before the new one begins.
            if let Some(over) = one.take_if(|one| wanted.get(number) != Some(&one.panel)) {
                let size = over.size();
                over.finish(last(size));
            }
        }
        let mut begun = Vec::new();
        for ((number, panel), kept) in wanted.iter().enumerate().zip(before) {
            running.push(match kept {
                Some(kept) => kept,
                None => {
                    begun.push(number);
                    let report = report.clone();
                    Self::start(panel, clock.clone(), move |what| report(PanelEvent { panel: number, what }))?
                }
            });
        }
        Ok(begun)
    }

    fn start(
        panel: &config::PanelWiring,
        clock: Clock,
        report: impl Fn(UpkeepEvent) + Send + 'static,
    ) -> std::io::Result<Self> {
        let size = bus::picture_size(panel).map_err(|fault| std::io::Error::other(fault.to_string()))?;
        let (orders, wanted) = sync_channel(MOST_ORDERS);
        let (panel, opened) = (panel.clone(), panel.clone());
        let work = move || {
            let speed = opened.bus_speed_khz;
            work(Upkeep::new(move || bus::open(&opened), speed), &wanted, &clock, report);
        };
        let thread = std::thread::Builder::new().name("panel".to_owned()).spawn(work)?;
        Ok(Self { panel, size, orders: Some(orders), thread: Some(thread) })
    }

    /// The settings that the thread goes by.
    #[cfg(test)]
    pub fn made_from(&self) -> &config::PanelWiring {
        &self.panel
    }

    /// The size of the pictures that the panel takes, as it is built in.
    pub fn size(&self) -> PanelSize {
        self.size
    }

    /// How bright its owner wants it by day.
    pub fn wanted_brightness(&self) -> config::PanelBrightness {
        self.panel.brightness
    }

    /// Hands over a picture; an older one that was not shown yet is passed over.
    pub fn show(&self, picture: Picture) {
        self.order(PanelOrder::Show(picture));
    }

    /// Lets the panel be set up anew: it may have lost its power for a moment.
    pub fn distrust(&self) {
        self.order(PanelOrder::Distrust);
    }

    /// Shows a last picture and waits until the thread has ended. A transfer that hangs is ended by the kernel's own
    /// time limit of the bus.
    pub fn finish(mut self, last: Picture) {
        self.show(last);
        self.orders = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }

    fn order(&self, order: PanelOrder) {
        if let Some(orders) = &self.orders {
            // A bus that hangs must neither hold up the loop nor let pictures pile up; the next one comes anyway.
            let _ = orders.try_send(order);
        }
    }
}

/// Shows one picture on a panel that no thread owns.
pub fn show_once(panel: &config::PanelWiring, draw: impl FnOnce(PanelSize) -> Picture) -> Result<(), PanelFault> {
    let mut panel = bus::open(panel)?;
    let Picture { frame, brightness } = draw(panel.size());
    panel.set_brightness(brightness)?;
    panel.refresh(&frame).map(|_| ())
}

fn work<G: Panel>(mut upkeep: Upkeep<G>, orders: &Receiver<PanelOrder>, clock: &Clock, report: impl Fn(UpkeepEvent)) {
    loop {
        let next = match upkeep.due() {
            Some(due) => orders.recv_timeout(due.since(clock.now())),
            None => orders.recv().map_err(|_| RecvTimeoutError::Disconnected),
        };
        match next {
            Ok(order) => {
                for order in std::iter::once(order).chain(orders.try_iter()) {
                    match order {
                        PanelOrder::Show(picture) => upkeep.take(picture),
                        PanelOrder::Distrust => upkeep.distrust(),
                    }
                }
            }
            Err(RecvTimeoutError::Timeout) => {}
            Err(RecvTimeoutError::Disconnected) => return upkeep.finish(clock.now()),
        }
        if let Some(event) = upkeep.tend(clock.now()) {
            report(event);
        }
    }
}
