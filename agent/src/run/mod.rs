//! The loop: hear the probe, judge, then show, tell, keep and serve. The one place where all parts meet.

mod core;
mod dispatch;
mod ending;
mod entries;
mod keeping;
mod parts;
mod rehearsal;
mod send_log;
mod start_lines;
mod unsent;

use self::core::Core;
use self::dispatch::Dispatch;
use self::ending::end_within;
use self::keeping::{Begin, Keeping};
use self::parts::{Ears, Parts, last_picture, not_in_force};
use self::rehearsal::Shown;
use self::start_lines::start_lines;
use crate::clock::{Clock, Moment};
use crate::keep::{KeepFault, Opened};
use crate::probe::keeper::Keeper;
use crate::probe::order::ProbeOrder;
use crate::probe::schedule::Schedule;
use crate::send::sender::SendEvent;
use crate::serve::control::{Control, PendingRequest};
use crate::serve::socket::{StateSocket, WantedDocument};
use crate::show::buttons::{ButtonEvent, Intent};
use crate::show::outlet::{Outlet, Scenery};
use crate::show::panel::PanelThread;
use crate::tell::log::LogEntry;
use crate::tell::words::phrases::{Language, Phrases};
use std::path::PathBuf;
use std::time::Duration;
use tokio::signal::unix::{SignalKind, signal};
use tokio::sync::mpsc::unbounded_channel;
use traylight_config::{SelfTestSchedule, Settings};
use traylight_display::PanelSize;

/// The loop looks at the time by itself when it has heard nothing for so long: for what ages, and for the watchdog.
/// Longer than the probe's pace, so that a box that is heard from wakes for nothing else.
const TICK: Duration = Duration::from_secs(3);

/// A person who has pressed Ctrl-C waits no longer than this for what is still being saved or sent.
const LONGEST_GOODBYE: Duration = Duration::from_secs(2);

/// Everything the loop is given.
pub struct Edges {
    /// The settings to begin with.
    pub settings: Settings,
    /// Reads the settings again.
    pub reload: Box<dyn Fn() -> Result<Settings, String>>,
    /// Where readings come from.
    pub keeper: Keeper,
    /// Where log lines and the picture for the terminal go.
    pub outlet: Outlet,
    /// The state socket, where one could be opened.
    pub socket: Option<StateSocket>,
    /// The control socket, where one could be opened.
    pub control: Option<Control>,
    /// The store with what was in it, or why it could not be opened.
    pub kept: Result<Opened, KeepFault>,
    /// Where the store is.
    pub state_dir: PathBuf,
    /// The machine's clocks.
    pub clock: Clock,
    /// The configuration's file, where a terminal has started this: a person is told of it there, and it ends when that terminal
    /// does.
    pub terminal: Option<PathBuf>,
}

/// Runs until it is asked to stop.
///
/// # Errors
/// When the machine refuses signals or a thread, or no probe can be started any more.
pub async fn run(edges: Edges) -> std::io::Result<()> {
    let Edges {
        mut settings,
        reload,
        mut keeper,
        mut outlet,
        mut socket,
        mut control,
        kept,
        state_dir,
        clock,
        terminal,
    } = edges;
    let (mut keeping, Begin { entries, mut ledger, outboxes }) = Keeping::begin(kept, state_dir, &clock)?;
    outlet.say_all(entries, &clock.wall());
    dispatch::prepare(&mut ledger.incident_store, outboxes.as_ref(), &settings.alerts, &clock);
    ledger.begin(clock.boot_id());
    let (report, mut reports) = unbounded_channel();
    let (press, mut presses) = unbounded_channel();
    keeper.tell(schedule(&settings))?;
    let mut core = Core::new(clock.clone(), ledger);
    keeping.run_begins(&mut core.memory);
    let ears = Ears { panels: report, buttons: press };
    let mut parts = Parts::start(&settings, outboxes, &core.memory.ledger().incident_store, ears, &clock)?;
    let mut to_greet = terminal.clone();
    let mut tick = tokio::time::interval(TICK);
    let (mut reread, mut stop, mut interrupt) =
        (signal(SignalKind::hangup())?, signal(SignalKind::terminate())?, signal(SignalKind::interrupt())?);
    outlet.say(
        &LogEntry::worded(6, "started", settings.language, |language| {
            language.say("log.started", &[("version", &env!("CARGO_PKG_VERSION"))])
        }),
        &clock.wall(),
    );
    let _ = sd_notify::notify(&[sd_notify::NotifyState::Ready]);

    let done = loop {
        tokio::select! {
            event = keeper.next_event() => {
                match event {
                    Ok(event) => {
                        outlet.say_all(core.probe_event(event, settings.language), &clock.wall());
                        let lines = to_greet.as_ref().zip(core.snapshot.as_ref());
                        if let Some(lines) = lines.map(|(file, snapshot)| start_lines(snapshot, &settings, file)) {
                            to_greet = None;
                            outlet.say_all(lines.map(|line| LogEntry::agent(6, "found", line)).into(), &clock.wall());
                        }
                    }
                    // Whoever supervises this starts all of it anew.
                    Err(error) => break Err(error),
                }
                if core.power_was_low() {
                    parts.panels.iter().for_each(PanelThread::distrust);
                }
            }
            _ = tick.tick() => {},
            Some(event) = reports.recv() => outlet.say(&core.panel_event(event, &settings), &clock.wall()),
            Some(event) = presses.recv() => {
                let entries = pressed(event, &mut outlet, &mut core, &settings, clock.now());
                // Whoever pressed sees it on the panel, where nothing can be said of a store that fails; the log does.
                let _ = keeping.keep_promise(&mut core.memory);
                outlet.say_all(entries, &clock.wall());
            }
            wanted = wanted(socket.as_mut()) => {
                wanted.answer(core.state(&settings));
                // A look at the state is no reason to judge.
                continue;
            }
            pending = requested(control.as_mut()) => {
                let keep = |memory: &mut _| keeping.keep_promise(memory);
                outlet.say_all(core.answer(pending, &settings, parts.dispatch.as_mut(), keep), &clock.wall());
            }
            report = sent(parts.dispatch.as_mut()) => {
                keeping.send_event(&report);
                outlet.say(&send_log::about(&report, settings.language), &clock.wall());
            }
            outcome = keeping.outcome() => {
                let entries = keeping.opened(outcome, &mut core, parts.dispatch.as_mut(), &settings, &clock);
                outlet.say_all(entries, &clock.wall());
            }
            _ = reread.recv() => {
                if terminal.is_some() {
                    break Ok(());
                }
                match reload() {
                    Err(problems) => outlet.say(&not_taken_over(&problems), &clock.wall()),
                    Ok(new) => {
                        core.renew(&settings, &new);
                        settings = new;
                        let mut entries = vec![plain(5, "reloaded", "log.reloaded", settings.language)];
                        let (begun, lacks) =
                            parts.renew(&settings, || keeping.outboxes(), &core.memory.ledger().incident_store);
                        core.panels_begin(&begun, parts.panels.len());
                        entries.extend(lacks);
                        if let Err(error) = keeper.tell(schedule(&settings)) {
                            entries.push(not_in_force("[self_test]", &error));
                        }
                        outlet.say_all(entries, &clock.wall());
                    }
                }
            }
            _ = stop.recv() => break Ok(()),
            _ = interrupt.recv() => break Ok(()),
        }
        core.not_kept = keeping.fault();
        let news = core.judge(&settings);
        keeping.keep_number(&core.memory);
        outlet.say_all(news, &clock.wall());
        if let Some(entry) = keeping.turn(clock.now(), &mut core.memory) {
            outlet.say(&entry, &clock.wall());
        }
        if let Some(entry) = core.tell(&settings, parts.dispatch.as_mut()) {
            outlet.say(&entry, &clock.wall());
        }
        tick.reset();
        // Fed here, by what judges: a loop that stands still must not look alive.
        let _ = sd_notify::notify(&[sd_notify::NotifyState::Watchdog]);
        if let Some(Shown { verdict, snapshot, rehearsed }) = core.shown() {
            let (channels, wall, verdict) = (&core.channels.each, &clock.wall(), verdict.as_ref());
            let scenery =
                Scenery { verdict, snapshot, settings: &settings, channels, wall, rehearsed: rehearsed.as_deref() };
            if let Some(drawing) = outlet.drawing_if_due(clock.now(), scenery) {
                outlet.draw(drawing.frame(PanelSize::W128H64));
                for panel in &parts.panels {
                    panel.show(drawing.picture(panel.size(), panel.wanted_brightness()));
                }
            }
        }
    };

    let _ = sd_notify::notify(&[sd_notify::NotifyState::Stopping]);
    let last = |size| last_picture(&clock.wall(), size, settings.language);
    outlet.draw_last(last(PanelSize::W128H64).frame);
    if terminal.is_some() {
        end_within(LONGEST_GOODBYE)?;
    }
    core.memory.end();
    if let Some(entry) = keeping.finish(&mut core.memory) {
        outlet.say(&entry, &clock.wall());
    }
    if let Some(dispatch) = parts.dispatch {
        dispatch.finish();
    }
    let stopped_by = match &done {
        Ok(()) => plain(6, "stopped", "log.stopped", settings.language),
        Err(error) => LogEntry::agent(3, "stopped", error.to_string()),
    };
    outlet.say(&stopped_by, &clock.wall());
    for panel in parts.panels {
        let size = panel.size();
        panel.finish(last(size));
    }
    done
}

/// Does what somebody before the panel wants; what is to be said of it.
fn pressed(
    event: ButtonEvent,
    outlet: &mut Outlet,
    core: &mut Core,
    settings: &Settings,
    now: Moment,
) -> Vec<LogEntry> {
    match event {
        ButtonEvent::Wanted(Intent::Next) => outlet.go_on(),
        ButtonEvent::Wanted(Intent::Hold) => outlet.hold(now),
        ButtonEvent::Wanted(Intent::Acknowledge) => {
            // Nobody reads the answer, only the log.
            let log = |id| core.acknowledge(id, settings.language).1;
            return outlet.incident_up().map(log).unwrap_or_default();
        }
        ButtonEvent::Unavailable(why) => return vec![LogEntry::agent(5, "button-unavailable", why)],
    }
    Vec::new()
}

async fn wanted(socket: Option<&mut StateSocket>) -> WantedDocument {
    match socket {
        Some(socket) => socket.wanted().await,
        None => std::future::pending().await,
    }
}

async fn sent(dispatch: Option<&mut Dispatch>) -> SendEvent {
    match dispatch {
        Some(dispatch) => dispatch.report().await,
        None => std::future::pending().await,
    }
}

async fn requested(control: Option<&mut Control>) -> PendingRequest {
    match control {
        Some(control) => control.next().await,
        None => std::future::pending().await,
    }
}

/// The schedule of self-tests, for the probe.
fn schedule(settings: &Settings) -> ProbeOrder {
    let SelfTestSchedule { short_every_days, long_every_days } = settings.self_test;
    ProbeOrder::Schedule(Schedule { short_every_days, long_every_days })
}

/// An entry of words without places.
fn plain(priority: u8, event: &'static str, key: &str, language: Language) -> LogEntry {
    LogEntry::worded(priority, event, language, |language| language.plain(key).to_owned())
}

fn not_taken_over(problems: &str) -> LogEntry {
    let refused = format!("the new configuration was rejected, the previous one stays active:\n{problems}");
    LogEntry::agent(3, "reload-refused", refused)
}
