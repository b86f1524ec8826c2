//! A reload does what it says: every section of configuration loaded after it, and what is open, queued and
//! acknowledged goes on.

use crate::heron;
use crate::running::{Home, Running, incident_of, signal};
use serde_json::Value;
use std::fs;
use traylight_tests::lab::wait::wait_until;

/// A file with a channel that notes what it is given in `heard`, and with more besides.
fn with_channel(home: &Home, heard: &str, more: &str) -> String {
    let heard = home.path(heard);
    format!(
        "[grace]\npools = \"1 ms\"\n{more}\n[[alerts.command]]\nname = 'bell'\nprogram = '/bin/sh'\n\
         arguments = ['-c', '(cat; echo) >> {}']\n",
        heard.display()
    )
}

/// The incidents that a channel was told of, each with its turn.
fn heard(home: &Home, file: &str) -> Vec<(String, String)> {
    let text = fs::read_to_string(home.path(file)).unwrap_or_default();
    let batches = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let messages = batches.flat_map(|batch| batch["messages"].as_array().unwrap().clone());
    messages.map(|message| (message["incident"].to_string(), message["update"].to_string())).collect()
}

fn hears_of_the_pool(home: &Home, file: &str, agent_state: &Value) {
    let pool = incident_of("pool-degraded", agent_state).unwrap();
    let number = pool["id"].to_string();
    let told = || {
        let heard = heard(home, file);
        if heard.iter().any(|(incident, _)| incident.trim_matches('"') == number) {
            Ok(())
        } else {
            Err(format!("{heard:?}"))
        }
    };
    wait_until("that the channel hears of what is open", 60, told).unwrap();
}

#[test]
fn every_section_is_in_force_after_a_reload_and_what_is_open_goes_on() {
    let (heron, home) = (heron(), Home::new());
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    home.configure("[grace]\npools = \"1 ms\"\n");
    let mut agent = Running::start(&home, heron.root());
    let is_open = |state: &Value| incident_of("pool-degraded", state).is_some();
    let before = home.state_with("the pool that lacks a member", is_open);

    // Channels that were not there before, a panel and a button that are not wired, names, a language, a limit.
    let more = "[box]\nname = 'hut'\nlanguage = 'de'\n[limits.drive]\ngone_hold = \"17 s\"\n\
                [panel]\nbus = '/dev/i2c-none'\n[[button]]\nchip = 'none'\nline = 3\n\
                [[shelf]]\nname = 'upper'\n[[shelf.tray]]\nlabel = 'A'\n[[shelf.tray]]\nlabel = 'B'\n";
    home.configure(&with_channel(&home, "heard", more));
    signal("HUP", agent.core());
    agent.hears("reloaded");
    agent.hears("button-unavailable");
    let state = home.state_with("the new name", |state| state["box"] == "hut");
    assert_eq!(state["incidents"][0]["id"], before["incidents"][0]["id"], "what was open goes on under its number");
    hears_of_the_pool(&home, "heard", &state);

    // A channel that is mended: the program that it was is not called any more.
    let calls = heard(&home, "heard").len();
    home.configure(&with_channel(&home, "elsewhere", ""));
    signal("HUP", agent.core());
    agent.hears("reloaded");
    assert!(home.run("alerts", &["--test", "bell"]).status.success());
    let arrives = || if heard(&home, "elsewhere").is_empty() { Err("nothing") } else { Ok(()) };
    wait_until("the test message where the channel leads now", 60, arrives).unwrap();
    assert_eq!(heard(&home, "heard").len(), calls);
    home.state_with("the old name", |state| state["box"] != "hut");

    // No channel at all is a wish, too.
    home.configure("");
    signal("HUP", agent.core());
    agent.hears("reloaded");
    assert!(!home.run("alerts", &["--test", "bell"]).status.success());
    signal("TERM", agent.core());
    assert!(agent.ends().success());
}
