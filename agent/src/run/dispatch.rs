//! Hands what is new to the channels, and says in the log what became of it.

use super::send_log::trial_outcome;
use super::unsent::Turns;
use crate::clock::{Clock, Wall};
use crate::judge::IncidentStore;
use crate::keep::{OutboxStore, Outboxes};
use crate::reading::Snapshot;
use crate::send::sender::{Errand, Machine, SendEvent, Sender, SenderSettings, random};
use crate::serve::channel_part::Channel;
use crate::serve::document::box_name;
use crate::serve::shelf_part::TrayContent;
use crate::show::outlet::Scenery;
use crate::show::pages::{ChannelStatus, Page, test_mark};
use crate::tell::box_state::{BoxState, PartState};
use crate::tell::confirm;
use crate::tell::message::{Message, Stamp};
use crate::tell::message_parts::{self, Letterhead};
use crate::tell::words::phrases::{Language, Phrases};
use crate::verdict::{Incident, Update, Verdict};
use serde_json::json;
use std::fmt;
use std::io;
use std::time::Duration;
use tokio::sync::mpsc::{UnboundedReceiver, unbounded_channel};
use traylight_config::{AlertChannel, Alerts, Destination, Settings, nearest};
use traylight_display::PanelSize;

/// Enlarges the panel's picture in a mail, which shows it at half of that.
const SCALE: u8 = 4;

/// The channels, as the loop sees them.
pub struct Dispatch {
    sender: Sender,
    reports: UnboundedReceiver<SendEvent>,
    /// For codes that are asked for and given back; the sender has its own.
    codes: Option<OutboxStore>,
    alerts: Alerts,
    clock: Clock,
    /// What sets the messages of this box apart from those of others.
    mark: String,
    is_muted: bool,
    unconfirmed: Vec<String>,
}

/// How the channels stand.
#[derive(Debug, Clone, PartialEq, Default)]
pub struct ChannelsStand {
    /// The channels that nobody has confirmed yet, by name.
    pub unconfirmed: Vec<String>,
    /// For how long the message that has waited longest has waited.
    pub longest_wait: Option<Duration>,
    /// Each of them, for the panel.
    pub each: Vec<ChannelStatus>,
    /// Each of them, for the document.
    pub documented: Vec<Channel>,
}

/// What the channels are told of.
pub struct AlertContext<'a> {
    /// The box as judged.
    pub verdict: &'a Verdict,
    /// The box as read.
    pub snapshot: &'a Snapshot,
    /// The settings.
    pub settings: &'a Settings,
}

/// Makes the incident store ready for telling: with a mark of its own, and as new as what was told before a sudden end.
pub fn prepare(incident_store: &mut IncidentStore, outboxes: Option<&Outboxes>, alerts: &Alerts, clock: &Clock) {
    if incident_store.mark.is_empty() {
        incident_store.mark = format!("{:08x}", random());
    }
    // Nobody has kept up what was told to channels that are configured no more.
    let outboxes = outboxes.filter(|_| !alerts.channels.is_empty());
    let kept = outboxes.and_then(|outboxes| outboxes.sender.load().ok());
    if let Some(kept) = kept {
        let mark = incident_store.mark.clone();
        let now = Stamp::by(clock);
        incident_store.recover(kept.open_incidents(&now), |incident| kept.has_reported_end(&mark, incident.id));
        if let Some(before_s) = kept.unmeasured(&now) {
            incident_store.note_gap(before_s);
        }
    }
}

impl Dispatch {
    /// Starts the sender; `None` when there is nobody to tell.
    pub fn start(
        settings: &Settings,
        outboxes: Option<Outboxes>,
        incident_store: &IncidentStore,
        clock: &Clock,
    ) -> io::Result<Option<Self>> {
        let alerts = settings.alerts.clone();
        if alerts.channels.is_empty() && alerts.heartbeat.is_none() {
            return Ok(None);
        }
        let wanted = sender_settings(settings);
        let (report, reports) = unbounded_channel();
        let (store, codes) = outboxes.map(|outboxes| (outboxes.sender, outboxes.codes)).unzip();
        let (mark, is_muted) = (incident_store.mark.clone(), incident_store.is_muted(clock.now()));
        let errand = Errand { wanted, is_muted, store };
        let sender = Sender::start(errand, Machine::new(clock.clone()), move |said| drop(report.send(said)))?;
        let unconfirmed = unconfirmed(&alerts, codes.as_ref());
        Ok(Some(Self { sender, reports, codes, alerts, clock: clock.clone(), mark, is_muted, unconfirmed }))
    }

    /// Goes on with other settings.
    ///
    /// # Errors
    /// As for [`Sender::renew`]: then the old ones stay in force.
    pub fn renew(&mut self, settings: &Settings) -> io::Result<()> {
        self.sender.renew(sender_settings(settings))?;
        self.alerts = settings.alerts.clone();
        self.unconfirmed = unconfirmed(&self.alerts, self.codes.as_ref());
        Ok(())
    }

    /// From now on what waits is kept, in these stores, and so is what an earlier run has left there.
    pub fn keep(&mut self, outboxes: Outboxes, incident_store: &IncidentStore) {
        let Outboxes { sender, codes } = outboxes;
        self.mark.clone_from(&incident_store.mark);
        self.unconfirmed = unconfirmed(&self.alerts, Some(&codes));
        self.codes = Some(codes);
        self.sender.keep(sender);
    }

    /// True while what waits is kept over a restart.
    pub fn is_kept(&self) -> bool {
        self.codes.is_some()
    }

    /// What the sender has to say next.
    pub async fn report(&mut self) -> SendEvent {
        match self.reports.recv().await {
            Some(report) => report,
            None => std::future::pending().await,
        }
    }

    /// Tells what is new, and how the box stands. Turns that were only rehearsed are marked; when the rehearsal is over,
    /// they are the last of it. All of them come back while the sender has no room for them.
    pub fn tell(&mut self, turns: Turns, rehearsal_over: bool, scene: &AlertContext) -> Option<Turns> {
        self.sender.show(state(scene, &self.mark));
        self.sender.is_watched();
        if !self.sender.has_room_for(turns.len()) {
            return Some(turns);
        }
        let wall = self.clock.wall();
        let is_muted = scene.verdict.muted_until.is_some();
        if std::mem::replace(&mut self.is_muted, is_muted) != is_muted {
            self.sender.mute(is_muted);
        }
        let mut last_of_rehearsal = Vec::new();
        for (turn, is_test) in turns {
            match self.message(&turn, is_test, scene, &wall) {
                Some(message) if is_test && rehearsal_over => last_of_rehearsal.push(message),
                Some(message) => self.sender.tell(message),
                None => {}
            }
        }
        if rehearsal_over {
            self.sender.end_rehearsal(last_of_rehearsal);
        }
        None
    }

    /// Sends a message with a code on a channel, to be given back by whoever has read it; `reply` is called with what the
    /// other side answered, or with what is wrong.
    pub fn try_channel(
        &mut self,
        name: &str,
        scene: &AlertContext,
        reply: impl FnOnce(Result<String, String>) + Send + 'static,
    ) {
        match self.test_message(name, scene) {
            Ok(message) => {
                let channel = name.to_owned();
                let language = scene.settings.language;
                let reply = Box::new(move |outcome| reply(trial_outcome(&channel, outcome, language)));
                self.sender.try_channel(name, message, reply);
            }
            Err(why) => reply(Err(why)),
        }
    }

    /// The message with a code, once the code is kept.
    fn test_message(&mut self, name: &str, scene: &AlertContext) -> Result<Message, String> {
        let language = scene.settings.language;
        let names: Vec<&str> = self.alerts.channels.iter().map(|channel| channel.name.as_str()).collect();
        let channel = self.alerts.channels.iter().find(|channel| channel.name == name);
        let channel = channel.ok_or_else(|| {
            let all = names.join(", ");
            match nearest(name, names.iter().copied()) {
                Some(near) => language
                    .say("channel-test.unknown-near", &[("channel", &name), ("near", &near), ("channels", &all)]),
                None => language.say("channel-test.unknown", &[("channel", &name), ("channels", &all)]),
            }
        })?;
        let code = confirm::code(random());
        let kept = match self.codes.as_mut() {
            Some(codes) => codes.ask(name, &target(channel), &code).map_err(|fault| fault.to_string()),
            None => Err(language.plain("channel-test.no-store").to_owned()),
        };
        kept.map_err(|why| language.say("channel-test.not-kept", &[("why", &why)]))?;
        let box_name = box_name(scene.settings, scene.snapshot);
        Ok(confirm::test_message(&box_name, name, &code, Stamp::by(&self.clock), language))
    }

    /// Takes a code back.
    ///
    /// # Errors
    /// What is wrong, in words for whoever asked.
    pub fn confirm(&mut self, code: &str, language: Language) -> Result<String, String> {
        let codes = self.codes.as_mut().ok_or_else(|| language.plain("channel-test.no-store").to_owned())?;
        match codes.confirm(code) {
            Ok(Some(channel)) => {
                self.unconfirmed.retain(|open| *open != channel);
                Ok(language.say("channel-test.confirmed", &[("channel", &channel)]))
            }
            Ok(None) => Err(language.plain("channel-test.unknown-code").to_owned()),
            Err(fault) => Err(fault.to_string()),
        }
    }

    /// How the channels stand.
    pub fn stand(&self, language: Language) -> ChannelsStand {
        let standings = self.sender.standings();
        let each = standings.iter().map(|standing| ChannelStatus {
            name: standing.channel.clone(),
            is_confirmed: !self.unconfirmed.contains(&standing.channel),
            waiting: standing.waiting,
            fails: standing.trouble.is_some(),
        });
        let now = Stamp::by(&self.clock);
        let longest_wait = standings.iter().filter_map(|standing| standing.oldest.as_ref()?.age(&now)).max();
        let documented = standings.iter().filter_map(|standing| {
            let channel = self.alerts.channels.iter().find(|channel| channel.name == standing.channel)?;
            let is_confirmed = !self.unconfirmed.contains(&channel.name);
            Some(Channel::of(standing, &channel.leads_to, is_confirmed, &now, language))
        });
        let (each, documented) = (each.collect(), documented.collect());
        ChannelsStand { unconfirmed: self.unconfirmed.clone(), longest_wait, each, documented }
    }

    /// The settings that it goes by.
    #[cfg(test)]
    pub fn made_from(&self) -> &Alerts {
        &self.alerts
    }

    /// Stops; what waits is kept.
    pub fn finish(self) {
        self.sender.finish();
    }

    fn message(&self, turn: &Update, is_test: bool, scene: &AlertContext, wall: &Wall) -> Option<Message> {
        let stamp = Stamp::by(&self.clock);
        let head = Letterhead {
            mark: &self.mark,
            language: scene.settings.language,
            box_name: &box_name(scene.settings, scene.snapshot),
            now: scene.verdict.at,
            gaps: &scene.verdict.gaps,
            wall,
            stamp: &stamp,
            is_held: self.is_muted,
            page: &|incident| picture(incident, is_test, scene, wall),
        };
        let message = message_parts::message(turn, head)?;
        Some(if is_test { as_test(message) } else { message })
    }
}

/// The channels that nobody has confirmed yet, by name.
fn unconfirmed(alerts: &Alerts, codes: Option<&OutboxStore>) -> Vec<String> {
    let is_confirmed = |channel: &&AlertChannel| {
        codes.is_some_and(|codes| codes.is_confirmed(&channel.name, &target(channel)).unwrap_or(false))
    };
    alerts.channels.iter().filter(|channel| !is_confirmed(channel)).map(|channel| channel.name.clone()).collect()
}

/// What the sender needs of the settings.
fn sender_settings(settings: &Settings) -> SenderSettings {
    let host = || rustix::system::uname().nodename().to_string_lossy().into_owned();
    SenderSettings { alerts: settings.alerts.clone(), box_name: settings.box_name.clone().unwrap_or_else(host) }
}

/// Where a channel leads: a code that was given back for one place says nothing of another.
fn target(channel: &AlertChannel) -> String {
    match &channel.leads_to {
        Destination::Mail(mail) => format!("{} {}", mail.server, mail.to.join(" ")),
        Destination::Webhook(hook) => hook.url.to_string(),
        Destination::Mqtt(broker) => format!("{} {}", broker.server, broker.topic.as_deref().unwrap_or_default()),
        Destination::Command(command) => command.program.clone(),
    }
}

/// A message about what was only rehearsed: another incident, and marked. The next rehearsal may have the same numbers.
fn as_test(message: Message) -> Message {
    let Stamp { boot_id, moment, .. } = &message.made_at;
    Message {
        incident: format!("test-{}", message.incident),
        id: format!("test-{}.{boot_id}.{}", message.id, moment.since_boot().as_millis()),
        record: None,
        sentence: message.language.say("message.rehearsed", &[("sentence", &message.sentence)]),
        is_rehearsed: true,
        ..message
    }
}

/// The panel's page about an incident, as a PNG file; marked like the panel's when it is only rehearsed.
fn picture(incident: &Incident, test: bool, scene: &AlertContext, wall: &Wall) -> Option<Vec<u8>> {
    let verdict = Verdict { incidents: vec![incident.clone()], ..scene.verdict.clone() };
    let (verdict, snapshot, settings) = (&verdict, Some(scene.snapshot), scene.settings);
    let scenery = Scenery { verdict, snapshot, settings, channels: &[], wall, rehearsed: test.then_some(&[]) };
    let clock = if test { test_mark(settings.language).to_owned() } else { wall.minute() };
    let drawing = scenery.drawing(Page::Incident(incident.id), clock);
    traylight_display::png::png(&drawing.frame(PanelSize::W128H64), SCALE).ok()
}

fn state(scene: &AlertContext, mark: &str) -> BoxState {
    let AlertContext { verdict, snapshot, settings } = scene;
    let worst = verdict.worst().map(|severity| severity.to_string());
    let open: Vec<_> = verdict
        .incidents
        .iter()
        .map(|open| json!({ "id": open.id, "cause": open.cause, "severity": open.severity }))
        .collect();
    let box_name = box_name(settings, snapshot);
    let whole = json!({ "box": box_name, "fine": verdict.is_fine(), "worst": worst, "incidents": open });
    let parts_of_box = verdict.shelves.iter().flat_map(|shelf| &shelf.trays).filter_map(|tray| {
        let place = &tray.place;
        let label = place.tray.as_ref().map(|label| ("tray", label));
        let (kind, name) = label.or_else(|| Some(("drive", place.serial.as_ref().or(place.port.as_ref())?)))?;
        let state = json!({ kind: name, "state": TrayContent::from(tray.state), "severity": tray.severity });
        Some(PartState { kind, name: name.clone(), state: state.to_string() })
    });
    let language = settings.language;
    let parts: [(&str, &dyn fmt::Display); 2] = [("drives", &snapshot.drives.len()), ("pools", &snapshot.pools.len())];
    let sentence = language.say("message.all-is-well", &parts);
    let parts_of_box = parts_of_box.collect();
    let unacknowledged = verdict.incidents.iter().filter(|open| !open.acknowledged).map(|open| open.id.to_string());
    let (unacknowledged, mark) = (unacknowledged.collect(), mark.to_owned());
    BoxState {
        language,
        unacknowledged,
        mark,
        box_name,
        whole: whole.to_string(),
        parts: parts_of_box,
        is_fine: verdict.is_fine(),
        sentence,
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::demo::{heron, story};
    use crate::judge::{Memory, judge};
    use crate::reading::Itself;
    use crate::rehearse::{self, RehearsedFault};

    #[test]
    fn the_picture_of_what_is_rehearsed_says_so_as_the_panel_does() {
        let (settings, snapshot) = (Settings::default(), Snapshot::default());
        let fault = RehearsedFault::named("fan-stopped", settings.language).unwrap();
        let played = rehearse::play(&settings, &Memory::default(), &snapshot, fault, None).unwrap();
        let scene = AlertContext { verdict: &played.verdict, snapshot: &played.snapshot, settings: &settings };
        let wall = Wall { synchronised: true, ..Clock::of_this_machine().wall() };
        let incident = &played.verdict.incidents[0];
        let pictured = |test: bool| picture(incident, test, &scene, &wall).unwrap();
        assert_ne!(pictured(true), pictured(false));
        // As the panel shows it meanwhile.
        let alone = Verdict { incidents: vec![incident.clone()], ..played.verdict.clone() };
        let (verdict, snapshot) = (&alone, Some(&played.snapshot));
        let panel =
            Scenery { verdict, snapshot, settings: &settings, channels: &[], wall: &wall, rehearsed: Some(&[]) };
        let frame = panel.drawing(Page::Incident(incident.id), "TEST".to_owned()).frame(PanelSize::W128H64);
        assert_eq!(pictured(true), traylight_display::png::png(&frame, SCALE).unwrap());
    }

    #[test]
    fn a_tray_is_published_by_its_label_and_a_drive_without_one_by_its_serial() {
        let snapshot = heron::snapshot(crate::clock::Moment::default(), &story::scene(Duration::ZERO));
        let parts = |settings: &Settings| {
            let (verdict, _) =
                judge(settings, &mut Memory::default(), snapshot.taken, Some(&snapshot), &Itself::default());
            state(&AlertContext { verdict: &verdict, snapshot: &snapshot, settings }, "").parts
        };
        let named = parts(&crate::demo::settings().unwrap());
        assert!(named.iter().any(|part| part.kind == "tray" && part.name == "3"), "{named:?}");
        let bare = parts(&Settings::default());
        let serials: Vec<_> = snapshot.drives.iter().filter_map(|drive| drive.serial.clone()).collect();
        assert!(bare.iter().all(|part| part.kind == "drive" && serials.contains(&part.name)), "{bare:?}");
        assert!(bare[0].state.starts_with("{\"drive\":"), "{bare:?}");
    }
}
