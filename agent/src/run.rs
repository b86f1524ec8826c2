//! The loop: hear the probe, judge, then show, tell, keep and serve. The one place where all parts meet.

use crate::clock::{Clock, Moment};
use crate::judge::ledger::Ledger;
use crate::judge::{Memory, judge};
use crate::keep::{self, Saver, Store};
use crate::probe::keeper::{Keeper, News};
use crate::probe::order::Order;
use crate::probe::schedule::Schedule;
use crate::reading::{Itself, Missing, Snapshot};
use crate::serve::document::Document;
use crate::serve::socket::{StateSocket, hand_out};
use crate::show::glass::{PanelThread, Report};
use crate::show::outlet::{Outlet, Scenery};
use crate::tell::incident_log;
use crate::tell::log::Entry;
use crate::units::span;
use crate::verdict::Verdict;
use std::path::PathBuf;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc::unbounded_channel;
use traylight_config::{SelfTestSchedule, Settings};

/// The loop looks at the time by itself when it has heard nothing for so long: for what ages, and for the watchdog.
/// Longer than the probe's pace, so that a box that is heard from wakes for nothing else.
const TICK: Duration = Duration::from_secs(3);

/// Everything the loop is given.
pub struct Edges {
    /// The settings to begin with.
    pub settings: Settings,
    /// Reads the settings again.
    pub reload: Box<dyn Fn() -> Result<Settings, String>>,
    /// The root of the host's files.
    pub root: PathBuf,
    /// Where log lines and the picture for the terminal go.
    pub outlet: Outlet,
    /// The state socket, where one could be opened.
    pub socket: Option<StateSocket>,
    /// Where the ledger is kept, where a store could be opened.
    pub store: Option<Store>,
    /// The ledger to begin with.
    pub ledger: Ledger,
    /// The machine's clocks.
    pub clock: Clock,
}

/// Runs until it is asked to stop.
///
/// # Errors
/// When the machine refuses signals or a thread.
pub async fn run(edges: Edges) -> std::io::Result<()> {
    let Edges { mut settings, reload, root, mut outlet, socket, store, mut ledger, clock } = edges;
    ledger.begin(clock.boot_id());
    let (report, mut reports) = unbounded_channel();
    let panel = PanelThread::start(&settings.panel, clock.clone(), move |said| drop(report.send(said)));
    let mut keeper = Keeper::new(root, clock.clone());
    keeper.tell(schedule(&settings))?;
    let mut core = Core { clock: clock.clone(), memory: Memory::with_ledger(ledger), ..Core::default() };
    let mut saver = store.map(|store| Saver::start(store, clock.now())).transpose()?;
    if let Some(saver) = &mut saver {
        saver.begin(&mut core.memory);
    }
    let mut tick = tokio::time::interval(TICK);
    let (mut reread, mut stop, mut interrupt) =
        (signal(SignalKind::hangup())?, signal(SignalKind::terminate())?, signal(SignalKind::interrupt())?);
    outlet.say(&Entry::agent(6, "started", format!("traylight {} watches", env!("CARGO_PKG_VERSION"))), &clock.wall());
    let _ = sd_notify::notify(&[sd_notify::NotifyState::Ready]);

    loop {
        tokio::select! {
            news = keeper.news() => outlet.say_all(core.hear(news), &clock.wall()),
            _ = tick.tick() => {},
            Some(said) = reports.recv() => outlet.say(&core.hear_of_panel(said), &clock.wall()),
            visitor = visitor(socket.as_ref()) => if let Ok(visitor) = visitor {
                hand_out(visitor, core.state(&settings));
            },
            _ = reread.recv() => {
                outlet.say(&core.reread(&mut settings, &reload), &clock.wall());
                if let Err(error) = keeper.tell(schedule(&settings)) {
                    outlet.say(&not_told(&error), &clock.wall());
                }
            }
            _ = stop.recv() => break,
            _ = interrupt.recv() => break,
        }
        outlet.say_all(core.judge(&settings), &clock.wall());
        if let Some(report) = saver.as_mut().and_then(|saver| saver.turn(clock.now(), &mut core.memory)) {
            outlet.say(&about_saving(report), &clock.wall());
        }
        tick.reset();
        // Fed here, by what judges: a loop that stands still must not look alive.
        let _ = sd_notify::notify(&[sd_notify::NotifyState::Watchdog]);
        if let Some(verdict) = &core.verdict {
            let snapshot = core.snapshot.as_ref();
            let scenery = Scenery { verdict, snapshot, settings: &settings, wall: &clock.wall() };
            if let Some(frame) = outlet.frame_if_due(clock.now(), &scenery) {
                outlet.draw(&frame);
                if let Some(panel) = &panel {
                    panel.show(frame);
                }
            }
        }
    }

    let _ = sd_notify::notify(&[sd_notify::NotifyState::Stopping]);
    core.memory.end();
    if let Some(report) = saver.and_then(|saver| saver.finish(&mut core.memory)) {
        outlet.say(&about_saving(report), &clock.wall());
    }
    outlet.say(&Entry::agent(6, "stopped", "asked to stop"), &clock.wall());
    let last = crate::show::pages::stopped(&clock.wall().minute());
    outlet.draw(&last);
    if let Some(panel) = panel {
        panel.finish(last);
    }
    Ok(())
}

/// What the loop knows.
#[derive(Default)]
pub struct Core {
    clock: Clock,
    memory: Memory,
    /// The newest snapshot.
    pub snapshot: Option<Snapshot>,
    /// The newest verdict.
    pub verdict: Option<Verdict>,
    lost_since: Option<Moment>,
    panel_answers: Option<bool>,
}

impl Core {
    /// Takes in news of the probe; what is to be said of it.
    pub fn hear(&mut self, news: News) -> Vec<Entry> {
        match news {
            News::Snapshot(snapshot) => {
                let before = self.snapshot.replace(*snapshot).and_then(|before| before.deaf);
                let deaf = self.snapshot.as_ref().and_then(|snapshot| snapshot.deaf.as_ref());
                let unheard = deaf.filter(|_| before.is_none()).map(about_events);
                let back = self.lost_since.take().map(|since| {
                    let silent = span(self.clock.now().since(since));
                    Entry::agent(
                        5,
                        "probe-back",
                        format!("the probe answers again; readings were missing for {silent}"),
                    )
                });
                back.into_iter().chain(unheard).collect()
            }
            News::Lost { why, again_in } => {
                self.lost_since.get_or_insert(self.clock.now());
                let lost =
                    format!("the probe was lost: {why}; no readings until the next one starts in {}", span(again_in));
                vec![Entry::agent(4, "probe-lost", lost)]
            }
        }
    }

    /// Takes in how the panel's thread fares; what is to be said of it.
    fn hear_of_panel(&mut self, said: Report) -> Entry {
        self.panel_answers = Some(said == Report::Found);
        match said {
            Report::Found => Entry::agent(6, "panel-found", "the panel answers"),
            Report::Lost(fault) => Entry::agent(5, "panel-lost", format!("the panel is lost: {fault}")),
        }
    }

    /// Judges what is known now; what is new, as entries.
    pub fn judge(&mut self, settings: &Settings) -> Vec<Entry> {
        let (now, wall) = (self.clock.now(), self.clock.wall());
        let itself = Itself { clock_set: Some(wall.synchronised), panel_answers: self.panel_answers };
        let (verdict, changes) = judge(settings, &mut self.memory, now, self.snapshot.as_ref(), &itself);
        let entries = incident_log::entries(&verdict, &changes, now, &wall);
        self.verdict = Some(verdict);
        entries
    }

    /// The state document; empty before the first snapshot.
    pub fn state(&self, settings: &Settings) -> String {
        let document = self.verdict.as_ref().zip(self.snapshot.as_ref()).map(|(verdict, snapshot)| {
            serde_json::to_string(&Document::new(settings, verdict, snapshot, &self.clock.wall()))
        });
        document.and_then(Result::ok).unwrap_or_default()
    }

    fn reread(&mut self, settings: &mut Settings, reload: &dyn Fn() -> Result<Settings, String>) -> Entry {
        match reload() {
            Ok(new) if new.panel != settings.panel => {
                *settings = Settings { panel: settings.panel.clone(), ..new };
                self.memory.accept(settings);
                Entry::agent(5, "reloaded", "the configuration is in force, but for [panel]: that needs a restart")
            }
            Ok(new) => {
                *settings = new;
                self.memory.accept(settings);
                Entry::agent(5, "reloaded", "the configuration is in force")
            }
            Err(problems) => Entry::agent(
                3,
                "reload-refused",
                format!("the configuration is not taken over, the old one stays in force:\n{problems}"),
            ),
        }
    }
}

async fn visitor(socket: Option<&StateSocket>) -> std::io::Result<tokio::net::UnixStream> {
    match socket {
        Some(socket) => socket.visitor().await,
        None => std::future::pending().await,
    }
}

fn about_events(why: &Missing) -> Entry {
    let late = format!("the kernel's events are not heard, so changes are noticed up to 2 s late: {why}");
    Entry::agent(5, "events-unheard", late)
}

/// The schedule of self-tests, for the probe.
fn schedule(settings: &Settings) -> Order {
    let SelfTestSchedule { short_every_days, long_every_days } = settings.self_test;
    Order::Schedule(Schedule { short_every_days, long_every_days })
}

fn not_told(error: &std::io::Error) -> Entry {
    let why = format!("the probe keeps the old schedule of self-tests until it is started anew: {error}");
    Entry::agent(4, "probe-not-told", why)
}

fn about_saving(said: keep::Report) -> Entry {
    match said {
        keep::Report::Fails(fault) => {
            let why = format!("what drives count is not saved, a restart forgets what is new of it: {fault}");
            Entry::agent(4, "not-saved", why)
        }
        keep::Report::WorksAgain => Entry::agent(5, "saved-again", "what drives count is saved again"),
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::Reason;

    #[test]
    fn that_the_kernels_messages_are_refused_is_said_once_and_again_after_they_were_heard() {
        let mut core = Core::default();
        let refused = || Some(Missing::new(Reason::Refused, "a netlink socket: operation not permitted"));
        let mut said = |deaf| {
            let entries = core.hear(News::Snapshot(Box::new(Snapshot { deaf, ..Snapshot::default() })));
            entries.into_iter().map(|entry| format!("{} {}", entry.event, entry.message)).collect::<Vec<_>>()
        };
        let wanted = "events-unheard the kernel's events are not heard, so changes are noticed up to 2 s late: \
                      refused: a netlink socket: operation not permitted";
        assert_eq!(said(None), [""; 0]);
        assert_eq!(said(refused()), [wanted]);
        assert_eq!(said(refused()), [""; 0]);
        assert_eq!(said(None), [""; 0]);
        assert_eq!(said(refused()), [wanted]);
    }
}
