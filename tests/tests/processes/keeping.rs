//! A store that cannot be opened: told as a condition, tried again, and used as soon as it can be.

use crate::heron;
use crate::running::{Home, Running, signal};
use serde_json::Value;
use std::fs;

fn store_fails(state: &Value) -> bool {
    state["conditions"].to_string().contains("agent-and-alerts") && state["standing"] == "warning"
}

#[test]
fn a_store_that_cannot_be_opened_is_a_warning_until_it_can_and_keeps_what_it_had() {
    let (heron, home) = (heron(), Home::new());
    home.configure(
        "[grace]\ndrives = \"1 ms\"\npools = \"1 ms\"\n[[alerts.command]]\nname = 'bell'\nprogram = '/bin/true'\n",
    );
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    let mut agent = Running::start(&home, heron.root());
    let told = agent.hears("opened");
    home.state_with("an incident", |state| state["incidents"][0].is_object());
    signal("TERM", agent.core());
    assert!(agent.ends().success());

    let (folder, elsewhere) = (home.path("state"), home.path("elsewhere"));
    fs::rename(&folder, &elsewhere).unwrap();
    fs::write(&folder, "a file in the folder's place").unwrap();
    let mut agent = Running::start(&home, heron.root());
    let refused = agent.hears("store-not-open");
    assert_eq!(refused["level"], "warning");
    assert!(crate::message(&refused).contains("would be lost by a restart"), "{refused}");
    home.state_with("a warning of it", store_fails);
    fs::remove_file(&folder).unwrap();
    fs::rename(&elsewhere, &folder).unwrap();
    agent.hears("store-opened");
    let state = home.state_with("no warning of it, and the pool's incident", |state| {
        !state["conditions"].to_string().contains("agent-and-alerts") && state["incidents"][0].is_object()
    });
    assert_eq!(state["incidents"][0]["id"].to_string(), told["incident"].as_str().unwrap(), "{told}\n{state}");
    // The file that keeps a program from running beside one of an earlier run is there although the store came late.
    fs::remove_file(home.path("state/bell.lock")).unwrap();
    assert!(home.run("alerts", &["--test", "bell"]).status.success());
    agent.hears("delivered");
    assert!(home.path("state/bell.lock").exists());
}
