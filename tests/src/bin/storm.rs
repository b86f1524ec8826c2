//! `storm FOLDER CONFIG COUNT`: tells the first so many messages of a storm of incidents on the channels of a configuration,
//! through the real outbox and sender with their store in the folder; ends when all has left. Made to be killed: whoever
//! starts it again has it tell the same and more.

#![allow(clippy::disallowed_methods, reason = "the configuration is read here, and waiting is all there is to do")]

use std::path::Path;
use std::process::ExitCode;
use std::time::Duration;
use traylight::clock::Clock;
use traylight::keep::{OutboxStore, Store};
use traylight::send::sender::{Errand, Machine, Sender, SenderSettings, World};
use traylight::tell::message::{About, Message, MessageKind, Stamp, Topic, WallStamp};
use traylight::tell::outbox::Now;
use traylight::tell::words::phrases::Language;
use traylight::verdict::Severity;

/// How an incident of the storm goes.
const TURNS: [MessageKind; 3] = [MessageKind::Opened, MessageKind::Worsened, MessageKind::Closed];

/// This machine, with a clock that is set and a road, whatever the machine says of both.
struct Fair(Machine);

impl World for Fair {
    fn now(&self) -> Now {
        let now = self.0.now();
        let wall = WallStamp { epoch_s: 1_778_761_925, text: "2026-05-14T14:32:05+02:00".to_owned() };
        Now { stamp: Stamp { wall: Some(wall), ..now.stamp }, ..now }
    }

    fn roads(&self) -> String {
        "here".to_owned()
    }

    fn chance(&self) -> f64 {
        self.0.chance()
    }
}

fn main() -> ExitCode {
    let arguments: Vec<String> = std::env::args().skip(1).collect();
    match run(&arguments) {
        Ok(()) => ExitCode::SUCCESS,
        Err(error) => {
            eprintln!("storm: {error}");
            ExitCode::from(1)
        }
    }
}

fn run(arguments: &[String]) -> Result<(), Box<dyn std::error::Error>> {
    let [folder, config, count] = arguments else { return Err("wanted FOLDER CONFIG COUNT".into()) };
    let count: usize = count.parse()?;
    let alerts = traylight_config::settle(&std::fs::read_to_string(config)?, config)?.alerts;
    // As in the agent: one store for both, each with its own connection.
    let (store, remarks) = Store::open(Path::new(folder), Clock::of_this_machine())?;
    if !remarks.is_empty() {
        return Err(format!("the store was not found as it was left: {remarks:?}").into());
    }
    let outbox = OutboxStore::open(Path::new(folder))?;
    let wanted = SenderSettings { alerts, box_name: "heron".to_owned() };
    let errand = Errand { wanted, is_muted: false, store: Some(outbox) };
    let world = Fair(Machine::new(Clock::of_this_machine()));
    let now = world.now().stamp;
    let sender = Sender::start(errand, world, |report| println!("{report:?}"))?;
    for nth in 0..count {
        sender.tell(message(nth, now.clone()));
    }
    println!("told {count}");
    let look = OutboxStore::open(Path::new(folder))?;
    // All was taken in, and nothing waits.
    while look.load()?.taken.len() < count || !look.load()?.waiting.is_empty() {
        std::thread::sleep(Duration::from_millis(50));
    }
    sender.finish();
    drop(store);
    println!("all has left");
    Ok(())
}

/// The n-th message of the storm: three incidents at a time, each with its turns in order.
fn message(nth: usize, made_at: Stamp) -> Message {
    let (wave, within) = (nth / 9, nth % 9);
    let (incident, turn) = (wave * 3 + within % 3, within / 3);
    Message {
        id: format!("{incident}.{turn}"),
        incident: incident.to_string(),
        kind: TURNS[turn],
        severity: Severity::Critical,
        about: vec![About { topic: Topic::Drive, name: format!("WREN-{incident:04}") }],
        trays: vec![format!("{}", incident % 8)],
        title: format!("TRAY {} GONE", incident % 8),
        sentence: format!("Tray {} (serial ..{incident:04}) is no longer seen.", incident % 8),
        advice: "Check its plugs with the box off.".to_owned(),
        warning: "Do not replace it for this alone.".to_owned(),
        news: Vec::new(),
        also: Vec::new(),
        part_of: None,
        tray_line: None,
        leave_in: None,
        evidence: vec!["its block device is gone".to_owned()],
        not_measured: Vec::new(),
        next_test: String::new(),
        since: "14:02".to_owned(),
        lasted: None,
        language: Language::ENGLISH,
        box_name: "heron".to_owned(),
        made_at,
        is_rehearsed: false,
        held: false,
        page: Some(vec![0x89; 900]),
        record: None,
    }
}
