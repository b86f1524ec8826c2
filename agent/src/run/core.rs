//! What the loop knows, and what each turn of it does with that: takes in events, judges, answers. No waiting in here.

use super::dispatch::{AlertContext, ChannelsStand, Dispatch};
use super::entries::{
    about_acknowledged, about_dropped, about_kernel_events, about_kernel_log, about_mute, about_panel,
    about_probe_back, about_probe_lost,
};
use super::rehearsal::{Rehearsal, RehearsalEnd, Shown};
use super::unsent::{Turns, make_room};
use crate::clock::{Clock, Moment};
use crate::judge::ledger::Ledger;
use crate::judge::{Memory, judge};
use crate::keep::KeepFault;
use crate::probe::keeper::ProbeEvent;
use crate::reading::{EventKind, Itself, Snapshot};
use crate::rehearse::{self, RehearsedFault};
use crate::serve::alerts::not_open;
use crate::serve::control::{ControlAnswer, ControlRequest, LONGEST_MUTE, LONGEST_REHEARSAL, PendingRequest};
use crate::serve::document::Document;
use crate::serve::history_part::History;
use crate::show::panel::{self, upkeep::UpkeepEvent};
use crate::tell::incident_log;
use crate::tell::log::LogEntry;
use crate::tell::words::acceptance;
use crate::tell::words::phrases::{Language, Phrases};
use crate::verdict::{IncidentId, Severity, Verdict};
use std::collections::BTreeMap;
use std::sync::Arc;
use std::time::Duration;
use traylight_config::Settings;

/// What the loop knows.
#[derive(Default)]
pub struct Core {
    clock: Clock,
    /// What judging remembers.
    pub memory: Memory,
    /// The newest snapshot.
    pub snapshot: Option<Snapshot>,
    /// The newest verdict.
    pub verdict: Option<Verdict>,
    lost_since: Option<Moment>,
    /// Which panels answer, by their number; those that have not reported yet are missing.
    panels: BTreeMap<usize, bool>,
    /// Until when trouble with the power is known to the panels.
    power_known: Moment,
    /// How the channels stand.
    pub channels: ChannelsStand,
    /// Why what must outlive a restart is not kept; `None` while it is.
    pub not_kept: Option<String>,
    rehearsal: Option<Rehearsal>,
    /// What is new about incidents and not yet told on the channels; true for what was only rehearsed.
    turns: Turns,
    /// A rehearsal has ended since the channels were told last.
    rehearsal_over: bool,
    /// The state document since it was judged last, for all who want it.
    document: Option<Arc<str>>,
}

impl Core {
    /// It begins with what was kept.
    pub fn new(clock: Clock, ledger: Ledger) -> Self {
        // What was kept and then not told is told now; what was told already is told by its name.
        let turns = ledger.incident_store.last_updates().map(|turn| (turn, false)).collect();
        Self { clock, memory: Memory::with_ledger(ledger), turns, ..Self::default() }
    }

    /// Goes on from what was kept and came to hand late, as after a restart.
    pub fn go_on_from(&mut self, ledger: Ledger) {
        self.turns.extend(ledger.incident_store.last_updates().map(|turn| (turn, false)));
        self.memory = Memory::with_ledger(ledger);
    }

    /// Takes in an event of the probe; what is to be logged of it.
    pub fn probe_event(&mut self, event: ProbeEvent, language: Language) -> Vec<LogEntry> {
        match event {
            ProbeEvent::Snapshot(snapshot) => {
                let before = self.snapshot.replace(*snapshot).unwrap_or_default();
                let now = self.snapshot.as_ref();
                let events = now.and_then(|now| now.events_unavailable.as_ref());
                let events = events.filter(|_| before.events_unavailable.is_none());
                let log = now
                    .and_then(|now| now.kernel_log_unreadable.as_ref())
                    .filter(|_| before.kernel_log_unreadable.is_none());
                let missing = events.map(|why| about_kernel_events(why, language)).into_iter();
                let missing = missing.chain(log.map(|why| about_kernel_log(why, language)));
                let back =
                    self.lost_since.take().map(|since| about_probe_back(self.clock.now().since(since), language));
                back.into_iter().chain(missing).collect()
            }
            ProbeEvent::Lost { why, again_in } => {
                self.lost_since.get_or_insert(self.clock.now());
                vec![about_probe_lost(&why, again_in, language)]
            }
        }
    }

    /// Takes in an event of a panel; what is to be logged of it.
    pub fn panel_event(&mut self, event: panel::PanelEvent, settings: &Settings) -> LogEntry {
        self.panels.insert(event.panel, event.what == UpkeepEvent::Found);
        about_panel(event, &settings.panel.panels, settings.language)
    }

    /// Whether there was trouble with the power since this was asked last: panels forget what they show over a dip that
    /// drives or the board notice.
    pub fn power_was_low(&mut self) -> bool {
        use EventKind::{LostPower, UndervoltageBegan, UndervoltageEnded};
        let events = self.snapshot.iter().flat_map(|snapshot| &snapshot.events);
        let low = events.filter(|event| matches!(event.what, LostPower | UndervoltageBegan | UndervoltageEnded));
        let newest = low.map(|event| event.at).max().unwrap_or_default();
        let is_news = newest > self.power_known;
        self.power_known = self.power_known.max(newest);
        is_news
    }

    /// Judges what is known now; what is new, as entries.
    pub fn judge(&mut self, settings: &Settings) -> Vec<LogEntry> {
        let (now, wall) = (self.clock.now(), self.clock.wall());
        let itself = Itself {
            clock_set: Some(wall.synchronised),
            calendar_s: self.clock.calendar_seconds(),
            panel_answers: (!self.panels.is_empty()).then(|| self.panels.values().all(|answers| *answers)),
            unconfirmed: self.channels.unconfirmed.clone(),
            longest_wait: self.channels.longest_wait,
            not_kept: self.not_kept.clone(),
        };
        self.document = None;
        let (verdict, changes) = judge(settings, &mut self.memory, now, self.snapshot.as_ref(), &itself);
        let muted_before = self.verdict.as_ref().and_then(|verdict| verdict.muted_until);
        let mute = about_mute(muted_before, verdict.muted_until, now, settings.language);
        let mut entries = incident_log::entries(&verdict, &changes, now, &wall, settings.language);
        entries.extend(mute);
        self.turns.extend(verdict.updates.iter().map(|turn| (turn.clone(), false)));
        self.verdict = Some(verdict);
        entries.extend(self.end_rehearsal(false, settings.language).unwrap_or_default());
        entries
    }

    /// The state document; empty before the first snapshot. It is made at most once between two times of judging.
    pub fn state(&mut self, settings: &Settings) -> Arc<str> {
        if let Some(made) = &self.document {
            return Arc::clone(made);
        }
        let document = self.verdict.as_ref().zip(self.snapshot.as_ref()).map(|(verdict, snapshot)| {
            let wall = self.clock.wall();
            let kept = &self.memory.ledger().incident_store.history;
            let history = History::of(kept.closed(), kept.complete_since(), verdict, &wall, settings.language);
            let rehearsal = self.rehearsal.as_ref().map(|rehearsal| rehearsal.part(settings, verdict.at, &wall));
            let (channels, history) = (self.channels.documented.clone(), Some(history));
            let of_the_box = Document::new(settings, verdict, snapshot, &wall);
            serde_json::to_string(&Document { channels, rehearsal, history, ..of_the_box })
        });
        let made: Arc<str> = document.and_then(Result::ok).unwrap_or_default().into();
        Arc::clone(self.document.insert(made))
    }

    /// What is to be shown: the box as it is, or a rehearsal with what is real besides.
    pub fn shown(&self) -> Option<Shown<'_>> {
        match &self.rehearsal {
            Some(rehearsal) => Some(rehearsal.shown(self.verdict.as_ref())),
            None => self.verdict.as_ref().map(|verdict| Shown::real(verdict, self.snapshot.as_ref())),
        }
    }

    /// Does what is asked for, and answers, once what must outlive a sudden end is kept; what is to be said of it.
    pub fn answer(
        &mut self,
        pending: PendingRequest,
        settings: &Settings,
        dispatch: Option<&mut Dispatch>,
        keep: impl FnOnce(&mut Memory) -> Option<KeepFault>,
    ) -> Vec<LogEntry> {
        let language = settings.language;
        let (mut answer, entries) = match &pending.request {
            ControlRequest::Acknowledge { id } => self.acknowledge(*id, language),
            ControlRequest::Accept { id } => self.accept(settings, *id),
            ControlRequest::Mute { for_s } => (self.mute(Duration::from_secs(*for_s), language), Vec::new()),
            ControlRequest::Unmute => (self.unmute(language), Vec::new()),
            ControlRequest::Rehearse { fault, drive, for_s } => {
                match self.rehearse(settings, fault, drive.as_deref(), Duration::from_secs(*for_s)) {
                    Ok((begun, entries)) => (ControlAnswer::Done(begun), entries),
                    Err(why) => (ControlAnswer::Refused(why), Vec::new()),
                }
            }
            ControlRequest::EndRehearsal => match self.end_rehearsal(true, language) {
                None => (ControlAnswer::Done(language.plain("rehearsal.none").to_owned()), Vec::new()),
                Some(entries) => (ControlAnswer::Done(language.plain("rehearsal.over").to_owned()), entries),
            },
            ControlRequest::TryChannel { channel } => {
                let channel = channel.clone();
                match self.channels_and_scene(dispatch, settings) {
                    Ok((channels, scene)) => {
                        // Answered by the sender, once the other side has.
                        channels.try_channel(&channel, &scene, |outcome| pending.answer(outcome.into()));
                        return Vec::new();
                    }
                    Err(why) => (ControlAnswer::Refused(why), Vec::new()),
                }
            }
            ControlRequest::Confirm { code } => {
                let channels = self.channels_and_scene(dispatch, settings);
                let outcome = channels.and_then(|(channels, _)| channels.confirm(code, language));
                (outcome.into(), Vec::new())
            }
        };
        use ControlRequest::{Accept, Acknowledge, Mute, Unmute};
        if matches!(pending.request, Acknowledge { .. } | Accept { .. } | Mute { .. } | Unmute) {
            if let (ControlAnswer::Done(done), Some(fault)) = (&mut answer, keep(&mut self.memory)) {
                *done = language.say("answer.not-kept", &[("done", done), ("why", &fault)]);
            }
        }
        pending.answer(answer);
        entries
    }

    fn channels_and_scene<'a, 'd>(
        &'a self,
        dispatch: Option<&'d mut Dispatch>,
        settings: &'a Settings,
    ) -> Result<(&'d mut Dispatch, AlertContext<'a>), String> {
        let channels = dispatch.ok_or_else(|| settings.language.plain("channel-test.no-channels"))?;
        Ok((channels, self.scene(settings).ok_or_else(|| settings.language.plain("answer.not-read"))?))
    }

    /// Tells what is new on the channels, once there is something to tell of and the sender has room for it; what is to be
    /// said of that.
    pub fn tell(&mut self, settings: &Settings, dispatch: Option<&mut Dispatch>) -> Option<LogEntry> {
        let Some(dispatch) = dispatch else {
            self.rehearsal_over = false;
            self.turns.clear();
            return None;
        };
        let turns = std::mem::take(&mut self.turns);
        self.turns = match self.scene(settings) {
            Some(scene) => {
                let left = dispatch.tell(turns, self.rehearsal_over, &scene);
                self.rehearsal_over &= left.is_some();
                self.channels = dispatch.stand(settings.language);
                left.unwrap_or_default()
            }
            None => turns,
        };
        Some(make_room(&mut self.turns)).filter(|count| *count > 0).map(|count| about_dropped(count, settings.language))
    }

    /// What the channels are told of; `None` before the first snapshot.
    pub fn scene<'a>(&'a self, settings: &'a Settings) -> Option<AlertContext<'a>> {
        Some(AlertContext { verdict: self.verdict.as_ref()?, snapshot: self.snapshot.as_ref()?, settings })
    }

    /// Takes in that its owner knows of an incident: the answer to whoever asked, and what is to be said.
    pub fn acknowledge(&mut self, id: IncidentId, language: Language) -> (ControlAnswer, Vec<LogEntry>) {
        if self.memory.acknowledge(id) {
            let done = language.say("ack.acknowledged", &[("id", &id)]);
            return (ControlAnswer::Done(done), vec![about_acknowledged(id, language)]);
        }
        // Practice: no real incident has the number of a rehearsed one.
        if self.rehearsal.as_mut().is_some_and(|rehearsal| rehearsal.acknowledge(id)) {
            let done = language.say("ack.acknowledged-test", &[("id", &id)]);
            self.document = None;
            return (ControlAnswer::Done(done), vec![about_acknowledged(id, language).as_test(language)]);
        }
        (ControlAnswer::Refused(self.not_open(id, language)), Vec::new())
    }

    fn not_open(&self, id: IncidentId, language: Language) -> String {
        not_open(id, self.memory.incidents().iter().map(|incident| incident.id), language)
    }

    /// Takes in that the owner accepts what is missing in an incident.
    fn accept(&mut self, settings: &Settings, id: IncidentId) -> (ControlAnswer, Vec<LogEntry>) {
        let Some(accepted) = self.memory.accept(settings, id) else {
            return (ControlAnswer::Refused(self.not_open(id, settings.language)), Vec::new());
        };
        let outcome = |language| acceptance::outcome(&accepted, id, language);
        let entry = outcome(settings.language).is_ok().then(|| {
            let words = |language| outcome(language).unwrap_or_default().trim_end_matches('.').to_owned();
            LogEntry::worded(5, "accepted", settings.language, words).with("incident", id.to_string())
        });
        (outcome(settings.language).into(), entry.into_iter().collect())
    }

    /// What is muted and when that is over is told by what [`Core::judge`] sees of it.
    fn mute(&mut self, for_time: Duration, language: Language) -> ControlAnswer {
        if let Some(refused) = too_long(for_time, LONGEST_MUTE, language) {
            return ControlAnswer::Refused(refused);
        }
        self.memory.mute_until(Some(self.clock.now().plus(for_time)));
        ControlAnswer::Done(language.say("mute.muted", &[("span", &language.span(for_time))]))
    }

    fn unmute(&mut self, language: Language) -> ControlAnswer {
        let was_muted = self.memory.is_muted(self.clock.now());
        self.memory.mute_until(None);
        ControlAnswer::Done(language.plain(if was_muted { "mute.over" } else { "mute.was-not" }).to_owned())
    }

    /// Plays a fault before a copy of what is remembered, and begins to show it.
    fn rehearse(
        &mut self,
        settings: &Settings,
        fault: &str,
        drive: Option<&str>,
        for_time: Duration,
    ) -> Result<(String, Vec<LogEntry>), String> {
        let fault = RehearsedFault::named(fault, settings.language)?;
        let language = settings.language;
        if let Some(refused) = too_long(for_time, LONGEST_REHEARSAL, language) {
            return Err(refused);
        }
        if let Some(Rehearsal { played, ends }) = &self.rehearsal {
            let left = language.span(ends.since(self.clock.now()));
            return Err(language.say("rehearsal.another", &[("fault", &played.fault), ("left", &left)]));
        }
        if self.verdict.as_ref().and_then(Verdict::worst) == Some(Severity::Critical) {
            return Err(language.plain("rehearsal.critical").to_owned());
        }
        let snapshot = self.snapshot.as_ref().ok_or_else(|| language.plain("answer.not-read"))?;
        let played = rehearse::play(settings, &self.memory, snapshot, fault, drive)?;
        // No real incident gets a number of a rehearsed one: `ack` means one of them only.
        if let Some(last) = played.numbers().max() {
            self.memory.number_was_given(last);
        }
        let (now, wall) = (self.clock.now(), self.clock.wall());
        let begun = language.say("rehearsal.begun", &[("fault", &fault), ("span", &language.span(for_time))]);
        let simulated = played.pretended.iter().map(|what| language.say("rehearsal.simulated", &[("what", what)]));
        let begun = std::iter::once(begun).chain(simulated).collect::<Vec<_>>().join("\n");
        let rehearsal = self.rehearsal.insert(Rehearsal { played, ends: now.plus(for_time) });
        self.turns.extend(rehearsal.turns().map(|turn| (turn, true)));
        Ok((begun, rehearsal.begin(now, &wall, language)))
    }

    /// Ends a rehearsal whose time is up, that something critical interrupts, or that its owner ends; what is to be said of
    /// that, `None` when nothing ended.
    fn end_rehearsal(&mut self, is_asked_for: bool, language: Language) -> Option<Vec<LogEntry>> {
        let is_critical = self.verdict.as_ref().and_then(Verdict::worst) == Some(Severity::Critical);
        let why = match &self.rehearsal {
            Some(_) if is_critical => RehearsalEnd::Critical,
            Some(_) if is_asked_for => RehearsalEnd::Command,
            Some(rehearsal) if self.clock.now() >= rehearsal.ends => RehearsalEnd::TimeUp,
            _ => return None,
        };
        let rehearsal = self.rehearsal.take()?;
        self.rehearsal_over = true;
        self.document = None;
        self.turns.extend(rehearsal.played.end().verdict.updates.into_iter().map(|turn| (turn, true)));
        Some(rehearsal.end(why, &self.clock.wall(), language))
    }

    /// Takes over other settings. What is open is told again by its name: a channel that is new hears of it.
    pub fn renew(&mut self, before: &Settings, after: &Settings) {
        self.memory.reloaded(before, after);
        self.turns.extend(self.memory.ledger().incident_store.last_updates().map(|turn| (turn, false)));
    }

    /// These panels begin anew; those beyond `count` are there no more.
    pub fn panels_begin(&mut self, begun: &[usize], count: usize) {
        self.panels.retain(|number, _| *number < count && !begun.contains(number));
    }
}

/// That a time is none that can be asked for.
fn too_long(time: Duration, longest: Duration, language: Language) -> Option<String> {
    let (most, found) = (language.span(longest), language.span(time));
    let is_wrong = time.is_zero() || time > longest;
    is_wrong.then(|| language.say("answer.too-long", &[("most", &most), ("found", &found)]))
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{Missing, Reason};

    #[test]
    fn that_kernel_events_are_refused_is_logged_once_and_again_after_they_were_received() {
        let mut core = Core::default();
        let refused = || Some(Missing::found(Reason::Refused, "a netlink socket: operation not permitted"));
        let mut log = |events_unavailable| {
            let snapshot = Snapshot { events_unavailable, ..Snapshot::default() };
            let entries = core.probe_event(ProbeEvent::Snapshot(Box::new(snapshot)), Language::ENGLISH);
            entries.into_iter().map(|entry| format!("{} {}", entry.event, entry.message)).collect::<Vec<_>>()
        };
        let wanted = "kernel-events-unavailable kernel events are not received, so changes are noticed up to 2 s late: \
                      permission denied: a netlink socket: operation not permitted";
        assert_eq!(log(None), [""; 0]);
        assert_eq!(log(refused()), [wanted]);
        assert_eq!(log(refused()), [""; 0]);
        assert_eq!(log(None), [""; 0]);
        assert_eq!(log(refused()), [wanted]);
    }
}
