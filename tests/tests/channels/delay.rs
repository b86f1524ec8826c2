//! How long it takes from a condition to its arrival at a real server on each channel, all channels in use.
//!
//! `DELAYS=20 cargo test -p traylight-tests --test channels delay -- --nocapture` measures 20 times and prints a table.

use super::servers::{Broker, MailServer};
use super::storm::{by_mail, by_mqtt, by_web, config};
use super::web_server::{WebServer, answer};
use std::io::{BufRead, BufReader};
use std::path::Path;
use std::process::{Child, Command, Stdio};
use std::time::{Duration, Instant};
use traylight_tests::authority::Authority;
use traylight_tests::binary::traylight;
use traylight_tests::lab::wait::wait_until;
use traylight_tests::pretend_box::PretendBox;

const CHANNELS: [&str; 3] = ["mail", "web", "mqtt"];

/// A running agent that ends when dropped.
struct Agent(Child);

impl Agent {
    fn start(config: &Path, folder: &Path, root: &Path) -> Self {
        let mut command = Command::new(traylight());
        command.arg("run").arg("--config").arg(config).arg("--root").arg(root).args(["--log", "json"]);
        command.arg("--run-dir").arg(folder).arg("--state-dir").arg(folder);
        command.env_remove("NOTIFY_SOCKET").stdin(Stdio::null()).stdout(Stdio::piped());
        Self(command.spawn().unwrap())
    }
}

impl Drop for Agent {
    fn drop(&mut self) {
        // The probe ends with its core.
        let _ = self.0.kill();
        let _ = self.0.wait();
    }
}

/// One pool of one box loses a member; after what time that was judged, and for how long then each way took.
fn once(authority: &Authority, servers: (&MailServer, &WebServer, &Broker), round: usize) -> (Duration, [Duration; 3]) {
    let (mail, web, broker) = servers;
    let folder = authority.folder().join(format!("agent-{round}"));
    let file = authority.folder().join("delay.toml");
    let fast = "[box]\nname = 'heron'\n[grace]\npools = '1 ms'\n";
    std::fs::write(&file, format!("{fast}{}", config(authority, mail, web, broker))).unwrap();
    let heron = PretendBox::new();
    for (port, device) in ["sda", "sdb", "sdc", "sdd"].iter().enumerate() {
        heron.sata_drive(device, port as u64 + 1, &format!("WREN-000{port}"), "Warbler 4T");
    }
    heron.md("md0", "raid6", &["sda", "sdb", "sdc", "sdd"]);
    let arrived = || [by_mail(mail).len(), by_web(web).len(), by_mqtt(broker).len()];
    let before = arrived();

    let mut agent = Agent::start(&file, &folder, heron.root());
    let state = folder.join("state.sock");
    wait_until("the first reading", 60, || {
        let mut text = String::new();
        let mut socket = std::os::unix::net::UnixStream::connect(&state).map_err(|error| error.to_string())?;
        std::io::Read::read_to_string(&mut socket, &mut text).map_err(|error| error.to_string())?;
        if text.contains("WREN-0003") { Ok(()) } else { Err(text) }
    })
    .unwrap();
    let changed = Instant::now();
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    let log = BufReader::new(agent.0.stdout.take().unwrap());
    let judged = log.lines().map_while(Result::ok).find(|line| line.contains("pool-degraded")).map(|_| Instant::now());
    let judged = judged.expect("a line about the pool");
    let mut took = [None; 3];
    let end = judged + Duration::from_secs(60);
    while took.contains(&None) && Instant::now() < end {
        for (channel, took) in took.iter_mut().enumerate() {
            if arrived()[channel] > before[channel] {
                took.get_or_insert(judged.elapsed());
            }
        }
        std::thread::sleep(Duration::from_millis(1));
    }
    let took = took.map(|took| took.unwrap_or_else(|| panic!("found {:?} arrived, wanted one on each way", arrived())));
    (judged - changed, took)
}

#[test]
fn delay_from_a_condition_to_its_arrival_is_measured_on_all_channels() {
    let rounds: usize = std::env::var("DELAYS").map_or(1, |rounds| rounds.parse().expect("a number"));
    let authority = Authority::new();
    let mail = MailServer::start(&authority, "starttls", "here", None);
    let web = WebServer::start(answer("200 OK", "", ""), None);
    let broker = Broker::start(&authority, "delay", false);
    let measured: Vec<_> = (0..rounds).map(|round| once(&authority, (&mail, &web, &broker), round)).collect();
    println!("{rounds} conditions; milliseconds\n\n                           median   worst");
    let line = |what: &str, mut times: Vec<Duration>| {
        times.sort();
        let ms = |time: Option<&Duration>| time.map_or(0.0, |time| time.as_secs_f64() * 1e3);
        println!("{what:25} {:7.1} {:7.1}", ms(times.get((times.len() - 1) / 2)), ms(times.last()));
    };
    // The pretend box has no kernel that would say that something changed: this is the probe's pace.
    line("change to condition", measured.iter().map(|(judged, _)| *judged).collect());
    for (nth, channel) in CHANNELS.iter().enumerate() {
        line(&format!("condition to {channel}"), measured.iter().map(|(_, took)| took[nth]).collect());
    }
    assert_eq!(measured.len(), rounds);
    for (channel, arrived) in CHANNELS.iter().zip([by_mail(&mail), by_web(&web), by_mqtt(&broker)]) {
        assert_eq!(arrived.len(), rounds, "{channel}: each once, {arrived:?}");
    }
}
