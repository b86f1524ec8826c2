//! A program that tells a storm of alerts is killed again and again, at any moment, with real servers at the other end
//! of each channel. Nothing may be lost: what arrives twice is counted, and says that it may.
//!
//! `STORM_KILLS=200 cargo test -p traylight-tests --test channels storm -- --nocapture` kills it 200 times.

use super::servers::{Broker, LONG, MailServer, Process};
use super::web_server::{WebServer, answer};
use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;
use traylight::tell::outbox::REMEMBERED;
use traylight::tell::words::phrases::{Language, Phrases};
use traylight_tests::authority::Authority;
use traylight_tests::lab::wait::wait_until;

/// What arrived on a channel, in order: the names of messages, and which attempt it was where that is said.
pub type Arrived = Vec<(String, u64)>;

pub fn config(authority: &Authority, mail: &MailServer, web: &WebServer, broker: &Broker) -> String {
    let ca = authority.ca().display().to_string();
    let word = authority.secret("storm-word", "reed").display().to_string();
    format!(
        "[[alerts.mail]]\nname = 'mail'\nserver = '127.0.0.1'\nport = {}\nfrom = 'heron@example.org'\n\
         to = ['keeper@example.org']\nca_file = '{ca}'\n\
         [[alerts.webhook]]\nname = 'web'\nurl = 'http://127.0.0.1:{}/'\n\
         [[alerts.mqtt]]\nname = 'mqtt'\nserver = '127.0.0.1'\nport = {}\ntls = false\nuser = 'heron'\npassword_file = '{word}'\n",
        mail.port, web.port, broker.port
    )
}

fn storm(folder: &Path, config: &Path, count: usize) -> Command {
    let mut command = Command::new(env!("CARGO_BIN_EXE_storm"));
    command.arg(folder).arg(config).arg(count.to_string()).stdout(Stdio::null());
    command
}

#[test]
fn storm_of_alerts_survives_being_killed() {
    let kills: usize = std::env::var("STORM_KILLS").map_or(40, |kills| kills.parse().expect("a number"));
    // Three messages each; all of them are known by name after a restart.
    let incidents = if kills > 100 { 150 } else { 60 };
    let messages = 3 * incidents;
    assert!(messages <= REMEMBERED);
    let authority = Authority::new();
    let mail = MailServer::start(&authority, "starttls", "here", None);
    let web = WebServer::start(answer("200 OK", "", ""), None);
    let broker = Broker::start(&authority, "storm", false);
    let file = authority.folder().join("storm.toml");
    std::fs::write(&file, config(&authority, &mail, &web, &broker)).unwrap();
    let folder = authority.folder().join("state");

    // The moments come from a plain generator (Numerical Recipes, from memory), so that they are the same every time.
    let mut chance = 20_260_514_u32;
    for kill in 0..kills {
        chance = chance.wrapping_mul(1_664_525).wrapping_add(1_013_904_223);
        let mut running = Process::start(&mut storm(&folder, &file, messages * (kill + 1) / (kills + 1)));
        std::thread::sleep(Duration::from_millis(30 + u64::from(chance >> 16) % 500));
        running.kill();
    }
    let before: Vec<usize> = [by_mail(&mail), by_web(&web), by_mqtt(&broker)].iter().map(Vec::len).collect();
    let last = Process::start(&mut storm(&folder, &file, messages));
    let ended = last.ends();
    assert!(ended.success(), "{ended}");
    broker.has_heard_all(&authority);

    let channels = [("mail", by_mail(&mail)), ("web", by_web(&web)), ("mqtt", by_mqtt(&broker))];
    println!("killed {kills} times in a storm of {incidents} incidents with {messages} messages\n");
    println!("way   arrived  before the last kill  lost  twice  not marked  out of order");
    let mut flaws = 0;
    for ((channel, arrived), before) in channels.iter().zip(before) {
        let [lost, twice, unmarked, disordered] = judged(arrived, incidents);
        println!("{channel:5} {:7}  {before:20}  {lost:4}  {twice:5}  {unmarked:10}  {disordered:12}", arrived.len());
        flaws += lost + unmarked + disordered;
    }
    assert!(channels.iter().all(|(_, arrived)| arrived.len() >= messages));
    assert_eq!(flaws, 0, "lost, not marked as a repeat, or out of order");
}

/// A disk without room keeps no alert from leaving: a small file system in memory where that may be mounted, else a
/// limit on the size of files (setrlimit(2), RLIMIT_FSIZE).
#[test]
fn alerts_leave_although_the_disk_is_full() {
    let authority = Authority::new();
    let web = WebServer::start(answer("200 OK", "", ""), None);
    let file = authority.folder().join("full.toml");
    std::fs::write(&file, format!("[[alerts.webhook]]\nname = 'web'\nurl = 'http://127.0.0.1:{}/'\n", web.port))
        .unwrap();
    let folder = authority.folder().join("small");
    std::fs::create_dir(&folder).unwrap();
    let is_root = rustix::process::geteuid().is_root();
    // The mount is seen by the program alone, and gone with it.
    let prepare = match is_root {
        true => "mount -t tmpfs -o size=300k small \"$1\"; exec \"$@\"",
        false => "trap '' XFSZ; ulimit -f 300; exec \"$@\"",
    };
    let mut command = Command::new(if is_root { "unshare" } else { "env" });
    command.args(if is_root { &["--mount"][..] } else { &[] });
    let said = authority.folder().join("said");
    command.args([
        "sh",
        "-c",
        &prepare.replace("$1", &folder.display().to_string()),
        "sh",
        env!("CARGO_BIN_EXE_storm"),
    ]);
    command.arg(&folder).arg(&file).arg("180").stdout(std::fs::File::create(&said).unwrap());
    let mut running = Process::start(&mut command);
    wait_until("all alerts", 5 * LONG, || match judged(&by_web(&web), 60)[0] {
        0 => Ok(()),
        lost => Err(format!("{lost} did not arrive")),
    })
    .unwrap();
    running.kill();
    let said = std::fs::read_to_string(said).unwrap();
    assert_eq!(said.matches("NotStored").count(), 1, "told once:\n{said}");
}

/// How many messages never arrived, how many came again, how many of those do not say so, and in how many incidents the
/// first arrivals are not in order.
fn judged(arrived: &Arrived, incidents: usize) -> [usize; 4] {
    let mut first: BTreeMap<&str, usize> = BTreeMap::new();
    let (mut twice, mut unmarked) = (0, 0);
    for (place, (id, attempt)) in arrived.iter().enumerate() {
        if first.contains_key(id.as_str()) {
            twice += 1;
            unmarked += usize::from(*attempt < 2);
        } else {
            first.insert(id, place);
        }
    }
    let (mut lost, mut disordered) = (0, 0);
    for incident in 0..incidents {
        let turns: Vec<Option<usize>> = (0..3).map(|turn| first.get(&*format!("{incident}.{turn}")).copied()).collect();
        lost += turns.iter().filter(|turn| turn.is_none()).count();
        disordered += usize::from(!turns.is_sorted());
    }
    [lost, twice, unmarked, disordered]
}

fn of_document(document: &serde_json::Value) -> Arrived {
    let messages = document["messages"].as_array().unwrap();
    messages.iter().map(|m| (m["id"].as_str().unwrap().to_owned(), m["attempt"].as_u64().unwrap())).collect()
}

pub fn by_web(server: &WebServer) -> Arrived {
    let documents = server.requests().into_iter().map(|request| serde_json::from_str(&request.body).unwrap());
    documents.flat_map(|document: serde_json::Value| of_document(&document)).collect()
}

pub fn by_mqtt(broker: &Broker) -> Arrived {
    let heard = broker.heard();
    let alerts = heard.iter().filter_map(|line| line.strip_prefix("0 traylight/heron/alert "));
    alerts.flat_map(|alert| of_document(&serde_json::from_str(alert).unwrap())).collect()
}

/// Of mails: the names from their head; a mail says in its text which of its messages are repeats.
pub fn by_mail(server: &MailServer) -> Arrived {
    let label = Language::ENGLISH.say("message.labels.attempt", &[("n", &"#")]);
    let (before_the_number, after_it) = label.split_once('#').unwrap();
    let mut arrived = Vec::new();
    for mail in server.mails() {
        let mail = mail["mail"].as_str().unwrap().replace("\r\n ", " ");
        let names = mail.lines().find_map(|line| line.strip_prefix("X-Traylight-Messages: ")).unwrap().to_owned();
        let is_repeat = mail.contains(before_the_number) && mail.contains(after_it);
        arrived.extend(names.split_whitespace().map(|id| (id.to_owned(), if is_repeat { 2 } else { 1 })));
    }
    arrived
}
