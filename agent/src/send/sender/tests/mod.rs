//! Stories of the sender with programs as its channels: what is stored before it is sent, what a restart sends again, and
//! what does not hold up what.

#![allow(clippy::disallowed_methods, reason = "the stories look at what the programs wrote")]

mod trials;

use super::*;
use crate::clock::Clock;
use crate::keep::Store;
use crate::send::channels::Reply;
use crate::tell::message::{MessageKind, Stamp, WallStamp, example};
use crate::tell::outbox::Now;
use crate::verdict::Severity;
use std::path::Path;
use std::sync::Mutex;
use std::sync::mpsc::{Receiver, channel};
use std::time::Duration;
use tempfile::TempDir;
use traylight_config::Alerts;

/// A world whose time, clock and roads are what the story says.
#[derive(Clone, Default)]
struct PretendWorld(Arc<Mutex<(u64, bool, String)>>);

impl PretendWorld {
    fn set(&self, change: impl FnOnce(&mut (u64, bool, String))) {
        change(&mut self.0.lock().unwrap());
    }
}

impl World for PretendWorld {
    fn now(&self) -> Now {
        let (second, is_set, _) = self.0.lock().unwrap().clone();
        let moment = crate::clock::Moment::after_boot(Duration::from_secs(second));
        let text = "2026-05-14T12:00:00+02:00".to_owned();
        let wall = is_set.then_some(WallStamp { epoch_s: 1_778_752_800 + second, text });
        Now { stamp: Stamp { boot_id: "spring".into(), moment, wall }, minute_of_day: is_set.then_some(720) }
    }

    fn roads(&self) -> String {
        self.0.lock().unwrap().2.clone()
    }

    fn chance(&self) -> f64 {
        0.5
    }
}

/// A folder with a store, and programs that write what they receive into it.
struct Hut {
    folder: TempDir,
    alerts: Alerts,
}

impl Hut {
    /// Channels by name, each a shell script that finds the folder in `$0`.
    fn new(channels: &[(&str, &str)]) -> Self {
        let folder = tempfile::tempdir().unwrap();
        Store::open(folder.path(), Clock::default()).unwrap();
        let hut = Self { alerts: traylight_config::Settings::default().alerts, folder };
        Self { alerts: hut.other(channels), ..hut }
    }

    /// Settings with these channels.
    fn other(&self, channels: &[(&str, &str)]) -> Alerts {
        let channel = |(name, script): &(&str, &str)| {
            let folder = self.path().display();
            format!(
                "[[alerts.command]]\nname = '{name}'\nprogram = '/bin/sh'\narguments = ['-c', '''{script}''', '{folder}']\n"
            )
        };
        let file: String = channels.iter().map(channel).collect();
        traylight_config::settle(&file, "f").unwrap().alerts
    }

    fn path(&self) -> &Path {
        self.folder.path()
    }

    fn sender(&self, world: &PretendWorld) -> (Sender, Receiver<SendEvent>) {
        let (report, reports) = channel();
        let store = Some(OutboxStore::open(self.path()).unwrap());
        let errand = Errand { wanted: self.wanted(), is_muted: false, store };
        let sender = Sender::start(errand, world.clone(), move |event| drop(report.send(event))).unwrap();
        (sender, reports)
    }

    fn wanted(&self) -> SenderSettings {
        SenderSettings { alerts: self.alerts.clone(), box_name: "heron".into() }
    }

    fn waiting(&self) -> usize {
        OutboxStore::open(self.path()).unwrap().load().unwrap().waiting.len()
    }

    /// The names of all messages that this file holds, one document a line.
    fn received(&self, file: &str) -> Vec<String> {
        let text = std::fs::read_to_string(self.path().join(file)).unwrap_or_default();
        let documents = text.lines().map(|line| serde_json::from_str::<serde_json::Value>(line).unwrap());
        let ids = |document: serde_json::Value| {
            let messages = document["messages"].as_array().unwrap().clone();
            messages.into_iter().map(|message| message["id"].as_str().unwrap().to_owned())
        };
        documents.flat_map(ids).collect()
    }
}

const WRITE: &str = "(cat; echo) >> $0/received";

/// The next report. A story that waits for more than a minute has gone wrong.
fn next(reports: &Receiver<SendEvent>) -> SendEvent {
    reports.recv_timeout(Duration::from_secs(60)).expect("a report")
}

fn opened(incident: &str) -> Message {
    example(incident, 1, MessageKind::Opened, Severity::Critical)
}

#[test]
fn what_is_told_is_sent_and_then_forgotten() {
    let hut = Hut::new(&[("bell", WRITE)]);
    let (sender, reports) = hut.sender(&PretendWorld::default());
    sender.tell(opened("a"));
    let delivered = SendEvent::Delivered { channel: "bell".into(), ids: vec!["a.1".into()], reply: Reply::None };
    assert_eq!(next(&reports), delivered);
    sender.tell(example("a", 2, MessageKind::Closed, Severity::Critical));
    next(&reports);
    sender.finish();
    assert_eq!((hut.received("received"), hut.waiting()), (vec!["a.1".into(), "a.2".into()], 0));
}

#[test]
fn a_message_is_on_disk_before_it_leaves_and_is_marked_when_it_is_sent_again() {
    // Whoever gets the first one looks at the store, then never ends.
    let script = "test -e $0/second && (cat; echo) >> $0/received && exit 0; touch $0/second; sleep 1000";
    let hut = Hut::new(&[("bell", script)]);
    let (sender, reports) = hut.sender(&PretendWorld::default());
    sender.tell(opened("a"));
    while !hut.path().join("second").exists() {
        std::thread::sleep(Duration::from_millis(10));
    }
    let kept = OutboxStore::open(hut.path()).unwrap().load().unwrap();
    assert_eq!(kept.waiting.iter().map(|waiting| waiting.tried).collect::<Vec<_>>(), [1], "tried, and on disk");
    sender.finish();
    assert_eq!(reports.try_iter().count(), 0, "its end is not known");
    // Whoever was killed by what the channel did must not ask for it again at once.
    let world = PretendWorld::default();
    world.set(|now| now.0 = 50);
    let (sender, reports) = hut.sender(&world);
    sender.tell(example("b", 1, MessageKind::Opened, Severity::Notice));
    sender.finish();
    assert_eq!((reports.try_iter().count(), hut.waiting()), (0, 1), "left alone for a minute");
    world.set(|now| now.0 = 70);
    let (sender, reports) = hut.sender(&world);
    assert!(matches!(next(&reports), SendEvent::Delivered { .. }));
    sender.finish();
    let text = std::fs::read_to_string(hut.path().join("received")).unwrap();
    assert!(text.contains("\"attempt\":2"), "{text}");
}

#[test]
fn a_channel_that_hangs_or_fails_holds_up_no_other() {
    let hut = Hut::new(&[("stuck", "sleep 1000"), ("broken", "echo no bell >&2; exit 1"), ("bell", WRITE)]);
    let world = PretendWorld::default();
    let (sender, reports) = hut.sender(&world);
    for incident in ["a", "b", "c"] {
        sender.tell(opened(incident));
    }
    let mut events: Vec<SendEvent> = (0..4).map(|_| next(&reports)).collect();
    events.sort_by_key(|event| format!("{event:?}"));
    let broken = ChannelFault::ProgramFailed { code: 1, reply: Some("no bell".to_owned()) };
    let is_broken = |event: &SendEvent| matches!(event, SendEvent::Fails { channel, fault, waiting: 1.. } if channel == "broken" && *fault == broken);
    assert!(is_broken(&events[3]), "{events:?}");
    assert_eq!(hut.received("received"), ["a.1", "b.1", "c.1"]);
    let waiting = || sender.standings().iter().map(|standing| standing.waiting).collect::<Vec<_>>();
    // What was said last may stand there a moment later.
    for _ in 0..6000 {
        if waiting() == [3, 3, 0] {
            break;
        }
        std::thread::sleep(Duration::from_millis(10));
    }
    assert_eq!(waiting(), [3, 3, 0]);
    let standings = sender.standings();
    assert_eq!(standings[1].trouble.as_ref().map(|(_, fault)| fault), Some(&broken));
    sender.finish();
    assert_eq!(hut.waiting(), 6);
}

#[test]
fn a_channel_that_recovers_is_told_and_gets_all_that_waited() {
    let hut = Hut::new(&[("bell", "test -e $0/mended || exit 1; (cat; echo) >> $0/received")]);
    let world = PretendWorld::default();
    let (sender, reports) = hut.sender(&world);
    sender.tell(opened("a"));
    assert!(matches!(next(&reports), SendEvent::Fails { .. }));
    sender.tell(opened("b"));
    std::fs::write(hut.path().join("mended"), "").unwrap();
    // The road changes an hour later: what failed is tried at once.
    world.set(|now| *now = (3600, true, "eth0".into()));
    assert_eq!(
        next(&reports),
        SendEvent::WorksAgain { channel: "bell".into(), after: Some(Duration::from_secs(3600)) }
    );
    while hut.received("received").len() < 2 {
        next(&reports);
    }
    sender.finish();
    let text = std::fs::read_to_string(hut.path().join("received")).unwrap();
    assert!(text.contains("\"late_s\":3600"), "{text}");
}

#[test]
fn a_disk_that_is_full_keeps_no_alert_from_leaving() {
    let hut = Hut::new(&[("bell", WRITE)]);
    let world = PretendWorld::default();
    let (report, reports) = channel();
    let mut store = OutboxStore::open(hut.path()).unwrap();
    store.fill_up();
    let errand = Errand { wanted: hut.wanted(), is_muted: false, store: Some(store) };
    let sender = Sender::start(errand, world.clone(), move |event| drop(report.send(event))).unwrap();
    sender.tell(Message { page: Some(vec![0; 100_000]), ..opened("a") });
    let SendEvent::NotStored(fault) = next(&reports) else { panic!("stored where there is no room") };
    assert!(fault.to_string().contains("found a full disk"), "{fault}");
    assert!(matches!(next(&reports), SendEvent::Delivered { .. }));
    sender.tell(opened("b"));
    assert!(matches!(next(&reports), SendEvent::Delivered { .. }), "told once that it is not stored");
    sender.finish();
    assert_eq!(hut.received("received"), ["a.1", "b.1"]);
}

#[test]
fn what_waited_for_a_channel_that_is_no_more_is_told() {
    let hut = Hut::new(&[("bell", "exit 1"), ("gong", WRITE)]);
    let (sender, reports) = hut.sender(&PretendWorld::default());
    sender.tell(opened("a"));
    let _ = (next(&reports), next(&reports));
    sender.finish();
    let mut without = hut;
    without.alerts.channels.retain(|channel| channel.name != "bell");
    let (sender, reports) = without.sender(&PretendWorld::default());
    assert_eq!(next(&reports), SendEvent::Orphans { channel: "bell".into(), count: 1 });
    sender.finish();
    assert_eq!(without.waiting(), 0);
}

fn warned(incident: &str) -> Message {
    example(incident, 1, MessageKind::Opened, Severity::Warning)
}

#[test]
fn that_all_is_well_is_said_when_it_is_so() {
    let mut hut = Hut::new(&[("bell", WRITE)]);
    hut.alerts.summary_every_days = 7;
    let world = PretendWorld::default();
    world.set(|now| now.1 = true);
    let (sender, reports) = hut.sender(&world);
    // Any news makes it look around.
    sender.tell(warned("a"));
    next(&reports);
    let week = 7 * 24 * 3600;
    world.set(|now| now.0 = week);
    for incident in ["b", "b2"] {
        sender.tell(warned(incident));
        next(&reports);
    }
    assert_eq!(hut.received("received"), ["a.1", "b.1", "b2.1"], "due, but nobody has said that the box is fine");
    sender.show(BoxState {
        box_name: "heron".into(),
        is_fine: true,
        mark: "ab".into(),
        sentence: "5 drives".into(),
        ..BoxState::default()
    });
    sender.tell(warned("c"));
    let _ = (next(&reports), next(&reports));
    sender.finish();
    let mut received = hut.received("received");
    received.sort();
    assert_eq!(received, ["a.1", &format!("ab-all-well.{}", 1_778_752_800 + week), "b.1", "b2.1", "c.1"]);
}

#[test]
fn a_channel_that_was_mended_in_the_settings_takes_at_once_what_waits() {
    let mut hut = Hut::new(&[("bell", "exit 1"), ("gone", "exit 1")]);
    let (sender, reports) = hut.sender(&PretendWorld::default());
    sender.tell(opened("a"));
    let failed = [next(&reports), next(&reports)];
    assert!(failed.iter().all(|report| matches!(report, SendEvent::Fails { .. })), "{failed:?}");

    hut.alerts = hut.other(&[("bell", WRITE), ("horn", WRITE)]);
    sender.renew(hut.wanted()).unwrap();
    assert_eq!(next(&reports), SendEvent::Orphans { channel: "gone".to_owned(), count: 1 });
    assert!(matches!(next(&reports), SendEvent::Delivered { channel, .. } if channel == "bell"));
    // Whoever judges tells again what is open, and a channel that is new hears it, too.
    sender.tell(opened("a"));
    assert!(matches!(next(&reports), SendEvent::Delivered { channel, .. } if channel == "horn"));
    sender.finish();
    assert_eq!((hut.received("received").len(), hut.waiting()), (2, 0));
}

/// A disk that hangs holds the thread up for as long as it likes, here in the place of who hears its reports. What waits
/// for it meanwhile is bounded, its owner is told, and nothing that found room is lost.
#[test]
fn what_waits_for_a_thread_that_is_held_up_is_bounded_and_not_lost() {
    let hut = Hut::new(&[("bell", WRITE)]);
    let (hold, held) = channel::<()>();
    let (begin, begun) = channel();
    let store = Some(OutboxStore::open(hut.path()).unwrap());
    let errand = Errand { wanted: hut.wanted(), is_muted: false, store };
    let report = move |report| {
        let _ = begin.send(report);
        let _ = held.recv();
    };
    let sender = Sender::start(errand, PretendWorld::default(), report).unwrap();
    sender.tell(opened("first"));
    begun.recv().unwrap();
    let mut ordered = vec!["first.1".to_owned()];
    while sender.has_room_for(1) {
        assert!(ordered.len() < 10 * MOST_ORDERS, "without end");
        sender.tell(warned(&format!("b{}", ordered.len())));
        ordered.push(format!("b{}.1", ordered.len()));
    }
    let renewals =
        std::iter::repeat_with(|| sender.renew(hut.wanted())).take(MOST_ORDERS).filter(Result::is_ok).count();
    assert!((1..RESERVED).contains(&renewals), "{renewals}");
    let (reply, outcome) = channel();
    sender.try_channel("bell", opened("test"), Box::new(move |came| drop(reply.send(came))));
    assert_eq!(outcome.recv().unwrap(), Err(ChannelFault::SenderBlocked));
    drop(hold);
    sender.finish();
    let received = hut.received("received");
    assert_eq!(received, ordered[..received.len()]);
    assert_eq!(
        (received.is_empty(), received.len() + hut.waiting()),
        (false, ordered.len()),
        "all that found room is kept"
    );
}

/// Key by key: what the sender goes by after a reload is what the file says then, in the outbox and in each channel itself.
#[test]
fn every_key_of_alerts_is_in_force_after_a_reload() {
    use crate::every_key::{Changed, before, changed};
    use crate::send::channels::from_settings::{policy, rules};
    use traylight_config::{Destination, Settings};
    let wanted = |settings: &Settings| SenderSettings {
        alerts: settings.alerts.clone(),
        box_name: settings.box_name.clone().unwrap_or_default(),
    };
    let expected = |settings: &Settings| {
        let alerts = &settings.alerts;
        let channels = alerts.channels.iter().map(|channel| {
            let made_from = match &channel.leads_to {
                Destination::Mail(mail) => format!("{mail:?}"),
                Destination::Webhook(hook) => format!("{hook:?}"),
                Destination::Mqtt(broker) => format!("{broker:?}"),
                Destination::Command(command) => format!("{command:?}"),
            };
            (channel.name.clone(), made_from)
        });
        (rules(alerts), policy(alerts), alerts.heartbeat.clone(), channels.collect::<Vec<_>>())
    };
    let runtime = tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap();
    runtime.block_on(async {
        let (_state, seen) = watch::channel(BoxState::default());
        let mut round = Round::new(Box::new(PretendWorld::default()), Box::new(|_| {}), seen, None);
        let before = before();
        round.begin(wanted(&before), false);
        let mut count = 0;
        for Changed { key, settings } in changed().into_iter().filter(|changed| changed.key.starts_with("alerts.")) {
            assert_ne!(expected(&settings), expected(&before), "{key}");
            for file in [&settings, &before] {
                round.renew(wanted(file)).await;
                assert_eq!(round.made_from(), expected(file), "{key}");
            }
            count += 1;
        }
        assert!(count > 45, "{count}");
    });
}
