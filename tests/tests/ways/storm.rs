//! A program that tells a storm of alerts is killed again and again, at any moment, with real servers at the other end
//! of each way. Nothing may be lost: what arrives twice is counted, and says that it may.
//!
//! `STORM_KILLS=200 cargo test -p traylight-tests --test ways storm -- --nocapture` kills it 200 times.

use super::authority::Authority;
use super::servers::{Broker, MailServer, Process};
use super::web_server::{WebServer, answer};
use std::collections::BTreeMap;
use std::path::Path;
use std::process::{Command, Stdio};
use std::time::Duration;
use traylight::tell::outbox::REMEMBERED;

/// Incidents of three messages each; all of them are known by name after a restart.
const INCIDENTS: usize = 150;
const MESSAGES: usize = 3 * INCIDENTS;

/// What arrived on a way, in order: the names of messages, and which attempt it was where that is said.
type Arrived = Vec<(String, u64)>;

fn config(authority: &Authority, mail: &MailServer, web: &WebServer, broker: &Broker) -> String {
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
    assert!(MESSAGES <= REMEMBERED);
    let kills: usize = std::env::var("STORM_KILLS").map_or(40, |kills| kills.parse().expect("a number"));
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
        let mut running = Process::start(&mut storm(&folder, &file, MESSAGES * (kill + 1) / (kills + 1)));
        std::thread::sleep(Duration::from_millis(u64::from(chance >> 16) % 250));
        running.kill();
    }
    let last = Process::start(&mut storm(&folder, &file, MESSAGES));
    let ended = last.ends();
    assert!(ended.success(), "{ended}");

    let ways = [("mail", by_mail(&mail)), ("web", by_web(&web)), ("mqtt", by_mqtt(&broker))];
    println!("killed {kills} times in a storm of {INCIDENTS} incidents with {MESSAGES} messages\n");
    println!("way   arrived  lost  twice  not marked  out of order");
    let mut flaws = 0;
    for (way, arrived) in &ways {
        let [lost, twice, unmarked, disordered] = judged(arrived);
        println!("{way:5} {:7}  {lost:4}  {twice:5}  {unmarked:10}  {disordered:12}", arrived.len());
        flaws += lost + unmarked + disordered;
    }
    assert_eq!(flaws, 0, "lost, not marked as a repeat, or out of order");
}

/// How many messages never arrived, how many came again, how many of those do not say so, and in how many incidents the
/// first arrivals are not in order.
fn judged(arrived: &Arrived) -> [usize; 4] {
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
    for incident in 0..INCIDENTS {
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

fn by_web(server: &WebServer) -> Arrived {
    let documents = server.requests().into_iter().map(|request| serde_json::from_str(&request.body).unwrap());
    documents.flat_map(|document: serde_json::Value| of_document(&document)).collect()
}

fn by_mqtt(broker: &Broker) -> Arrived {
    let heard = broker.heard();
    let alerts = heard.iter().filter_map(|line| line.strip_prefix("0 traylight/heron/alert "));
    alerts.flat_map(|alert| of_document(&serde_json::from_str(alert).unwrap())).collect()
}

/// Of mails: the names from their head; a mail says in its text which of its messages are repeats.
fn by_mail(server: &MailServer) -> Arrived {
    let mut arrived = Vec::new();
    for mail in server.mails() {
        let mail = mail["mail"].as_str().unwrap().replace("\r\n ", " ");
        let names = mail.lines().find_map(|line| line.strip_prefix("X-Traylight-Messages: ")).unwrap().to_owned();
        let is_repeat = mail.contains("it may have arrived before");
        arrived.extend(names.split_whitespace().map(|id| (id.to_owned(), if is_repeat { 2 } else { 1 })));
    }
    arrived
}
