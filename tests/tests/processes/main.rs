//! The program as its owner runs it: two processes that lose each other, signals, the state for everybody, exit codes.
//! Garbage between probe and core is not here: the program starts no probe but itself, so nothing else can speak to
//! it; the decoder's own tests have that.

#![allow(clippy::unwrap_used, clippy::panic, reason = "a failing step fails the test")]
#![allow(clippy::disallowed_methods, reason = "these stories make files, and wait for processes")]

mod canary;
mod commands;
mod control;
mod dossier;
mod flooded;
mod journal;
mod keeping;
mod limits;
mod on_a_terminal;
mod reload;
mod rights;
mod running;
mod setting_up;
mod stalled;
mod telling;
mod visitors;

use running::{Home, Running, is_gone, signal};
use serde_json::Value;
use std::fs;
use traylight_tests::binary::traylight;
use traylight_tests::pretend_box::PretendBox;

/// The box with a pool for songs that could lose two drives, and a fan.
fn heron() -> PretendBox {
    let heron = PretendBox::new();
    for (port, device) in ["sda", "sdb", "sdc", "sdd"].iter().enumerate() {
        heron.sata_drive(device, port as u64 + 1, &format!("WREN-000{port}"), "Warbler 4T");
    }
    heron.md("md0", "raid6", &["sda", "sdb", "sdc", "sdd"]).fan_chip("adt7475", "1-002e", &[1406]);
    heron
}

/// Changes the fan's speed; true of a state that knows the new one.
fn turn_fan(heron: &PretendBox, rpm: u64) -> impl Fn(&Value) -> bool + use<> {
    let file = format!("{}/fan1_input", heron.chip_folder("1-002e"));
    heron.write(&file, &format!("{rpm}\n"));
    move |state| state["fans"][0]["speed_rpm"] == rpm
}

fn message(entry: &Value) -> &str {
    entry["message"].as_str().unwrap()
}

#[test]
fn a_probe_that_is_killed_is_replaced_and_readings_come_again() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = Running::start(&home, heron.root());
    agent.hears("started");
    home.state_with("the first reading", |state| state["fans"][0]["speed_rpm"] == 1406);
    let first = agent.probe();
    signal("KILL", first);
    let lost = agent.hears("probe-lost");
    assert_eq!(lost["level"], "warning");
    assert!(message(&lost).contains("it ended: signal: 9"), "{lost}");
    let slower = turn_fan(&heron, 911);
    let back = agent.hears("probe-back");
    assert!(message(&back).starts_with("the probe responds again"), "{back}");
    assert_ne!(agent.probe(), first);
    home.state_with("a reading of the new probe", slower);
}

#[test]
fn a_probe_that_hangs_is_replaced() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |_| true);
    let first = agent.probe();
    signal("STOP", first);
    let lost = agent.hears("probe-lost");
    assert!(message(&lost).contains("it did not respond for 10 s"), "{lost}");
    is_gone(first);
    agent.hears("probe-back");
    home.state_with("a reading of the new probe", turn_fan(&heron, 911));
}

#[test]
fn a_probe_ends_with_its_core_and_the_next_agent_takes_the_place_over() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = Running::start(&home, heron.root());
    agent.hears("started");
    let probe = agent.probe();
    signal("KILL", agent.core());
    agent.ends();
    is_gone(probe);
    assert!(home.path("run/state.sock").exists(), "a killed agent leaves its socket behind");
    let _next = Running::start(&home, heron.root());
    home.state_with("the next agent's reading", |_| true);
}

/// What was not kept yet is lost with a killed agent; the number that was told of it must not come to mean something else.
#[test]
fn a_killed_agents_incident_numbers_are_not_given_again() {
    let (heron, home) = (heron(), Home::new());
    home.configure("[grace]\npools = \"1 ms\"\n");
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    let mut agent = Running::start(&home, heron.root());
    let told = agent.hears("opened");
    signal("KILL", agent.core());
    agent.ends();
    let _next = Running::start(&home, heron.root());
    let state = home.state_with("that it was killed, and the pool", |state| {
        let incidents = state["incidents"].as_array().unwrap();
        incidents.len() == 2 && running::incident_of("pool-degraded", state).is_some()
    });
    let pool = running::incident_of("pool-degraded", &state);
    let others = state["incidents"].as_array().unwrap().iter().filter(|incident| Some(*incident) != pool.as_ref());
    let numbers: Vec<String> = others.map(|incident| incident["id"].to_string()).collect();
    assert!(!numbers.contains(&told["incident"].as_str().unwrap().to_owned()), "{told}\n{state}");
}

/// An upgrade puts a new file in place of the program's while it runs; the kernel then calls the old one deleted
/// (proc_pid_exe(5)).
#[test]
fn a_probe_is_replaced_although_the_program_was_upgraded_meanwhile() {
    let (heron, home) = (heron(), Home::new());
    let program = home.path("traylight");
    fs::copy(traylight(), &program).unwrap();
    let mut agent = Running::start_program(&program, &home, heron.root());
    home.state_with("the first reading", |_| true);
    fs::copy(traylight(), home.path("traylight.new")).unwrap();
    fs::rename(home.path("traylight.new"), &program).unwrap();
    signal("KILL", agent.probe());
    agent.hears("probe-back");
    home.state_with("a reading of the new probe", turn_fan(&heron, 911));
}

#[test]
fn a_configuration_read_again_is_in_force_and_a_bad_one_changes_nothing() {
    let (heron, home) = (heron(), Home::new());
    home.configure("[box]\nname = \"reed hut\"\n");
    let mut agent = Running::start(&home, heron.root());
    agent.hears("started");
    home.state_with("the name of the file", |state| state["box"] == "reed hut");

    home.configure("[box]\nnam = \"willow hut\"\n");
    signal("HUP", agent.core());
    let refused = agent.hears("reload-refused");
    assert_eq!(refused["level"], "error");
    assert!(
        message(&refused).contains("the previous one stays active") && message(&refused).contains("nam"),
        "{refused}"
    );
    home.state_with("the old name", |state| state["box"] == "reed hut");

    home.configure("[box]\nname = \"willow hut\"\n");
    signal("HUP", agent.core());
    assert_eq!(message(&agent.hears("reloaded")), "configuration loaded");
    home.state_with("the new name", |state| state["box"] == "willow hut");
}

#[test]
fn an_agent_that_is_asked_to_stop_ends_well_and_leaves_nothing() {
    for name in ["TERM", "INT"] {
        let (heron, home) = (heron(), Home::new());
        let mut agent = Running::start(&home, heron.root());
        agent.hears("started");
        let probe = agent.probe();
        signal(name, agent.core());
        assert_eq!(message(&agent.hears("stopped")), "stopped on request");
        assert_eq!(agent.ends().code(), Some(0), "SIG{name}");
        assert!(!home.path("run/state.sock").exists(), "the socket is still there");
        is_gone(probe);
    }
}

#[test]
fn a_second_agent_in_the_same_place_refuses_and_the_first_goes_on() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = Running::start(&home, heron.root());
    agent.hears("started");
    let root = heron.root().to_str().unwrap();
    let second = home.run("run", &["--root", root]);
    let said = String::from_utf8(second.stderr).unwrap();
    assert_eq!(second.status.code(), Some(1));
    assert!(said.contains("run/state.sock: another traylight is running here"), "{said}");
    home.state_with("the first agent's reading", |_| true);
}

#[test]
fn a_member_that_drops_out_is_told_once_when_it_goes_and_once_when_it_is_back() {
    let (heron, home) = (heron(), Home::new());
    home.configure("[grace]\ndrives = \"1 ms\"\npools = \"1 ms\"\n[limits.pool]\nhealthy_hold = \"1 ms\"\n");
    let mut agent = Running::start(&home, heron.root());
    home.state_with("a whole pool", |state| state["pools"][0]["state"] == "healthy");
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    let opened = agent.hears("opened");
    assert_eq!((&opened["condition"], &opened["severity"]), (&"pool-degraded".into(), &"warning".into()), "{opened}");
    heron.write("/sys/block/md0/md/degraded", "0\n").write("/sys/block/md0/md/dev-sdd/state", "in_sync\n");
    let closed = agent.hears("closed");
    assert_eq!(closed["condition"], "pool-degraded", "{closed}");
}
