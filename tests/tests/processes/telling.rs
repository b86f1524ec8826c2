//! What the running agent tells on a channel when it is killed or stopped at the worst moment: once, and to the end.

use crate::heron;
use crate::running::{Home, Running, incident_of, signal};
use serde_json::Value;
use std::fs;
use traylight_tests::binary::traylight;
use traylight_tests::lab::wait::wait_until;
use traylight_tests::pretend_box::PretendBox;

/// A home with a channel that writes what it is given to a file, a line each; and a pool on the box that has lost a member.
fn at_home_with_a_loss() -> (PretendBox, Home) {
    let (heron, home) = (heron(), Home::new());
    let heard = home.path("heard");
    home.configure(&format!(
        "[grace]\npools = \"1 ms\"\n[limits.pool]\nhealthy_hold = \"1 s\"\n[[alerts.command]]\nname = 'bell'\nprogram = '/bin/sh'\n\
         arguments = ['-c', '(cat; echo) >> {}']\n",
        heard.display()
    ));
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    (heron, home)
}

/// Every message that the channel was given: its name, its incident, its turn, of those that are about the pool.
fn heard(home: &Home) -> Vec<[String; 3]> {
    let text = fs::read_to_string(home.path("heard")).unwrap_or_default();
    let batches = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let messages = batches.flat_map(|batch| batch["messages"].as_array().unwrap().clone());
    let of_the_pool = messages.filter(|message| message["about"][0]["topic"] == "pool");
    of_the_pool
        .map(|message| ["id", "incident", "update"].map(|key| message[key].as_str().unwrap().to_owned()))
        .collect()
}

fn hears(home: &Home, what: &str, count: usize) -> Vec<[String; 3]> {
    let all = || if heard(home).len() >= count { Ok(heard(home)) } else { Err(format!("{:?}", heard(home))) };
    wait_until(what, 60, all).unwrap()
}

/// The incident store is saved seconds after an incident was reported; a program that is killed in between knows of it all the
/// same, reports nothing twice, and reports the end.
#[test]
fn what_a_killed_agent_has_told_goes_on_under_its_number_and_is_told_once() {
    let (heron, home) = at_home_with_a_loss();
    let mut agent = Running::start(&home, heron.root());
    let told = hears(&home, "that the pool has lost a member", 1);
    signal("KILL", agent.core());
    agent.ends();
    let _next = Running::start(&home, heron.root());
    let is_open = |state: &Value| incident_of("pool-degraded", state).is_some();
    let state = home.state_with("the pool in the next one", is_open);
    assert!(state["incidents"].to_string().contains(&format!("\"id\":{},", told[0][1])), "{told:?} {state}");
    heron.write("/sys/block/md0/md/degraded", "0\n").write("/sys/block/md0/md/dev-sdd/state", "in_sync\n");
    let told = hears(&home, "that it is over", 2);
    let turns: Vec<&str> = told.iter().map(|[_, _, turn]| turn.as_str()).collect();
    assert_eq!(turns, ["opened", "closed"], "{told:?}");
    assert_eq!(told[0][1], told[1][1]);
    assert_eq!(told[0][0].split_once('-').unwrap().0, told[1][0].split_once('-').unwrap().0, "the same box");
}

#[test]
fn what_is_held_back_stays_so_over_a_restart_and_is_told_in_the_end() {
    let (heron, home) = at_home_with_a_loss();
    let (state, degraded) = ("/sys/block/md0/md/dev-sdd/state", "/sys/block/md0/md/degraded");
    heron.write(degraded, "0\n").write(state, "in_sync\n");
    let mut agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |state| state["muted_left_s"].is_null());
    assert!(home.run("mute", &["1h"]).status.success());
    heron.write(degraded, "1\n").write(state, "faulty\n");
    home.state_with("an incident", |state| state["incidents"][0].is_object());
    signal("TERM", agent.core());
    assert!(agent.ends().success());
    let mut next = Running::start(&home, heron.root());
    home.state_with("that it is still held back", |state| !state["muted_left_s"].is_null());
    // Whatever is told on the way now is told because it was asked for, and comes after what was not held back.
    assert!(home.run("alerts", &["--test", "bell"]).status.success());
    next.hears("delivered");
    assert_eq!(heard(&home), [] as [[String; 3]; 0]);
    assert!(home.run("mute", &["--end"]).status.success());
    assert_eq!(hears(&home, "what was held back", 1)[0][2], "opened");
}

/// What a rehearsal has to say is of no use to anybody once it is over, least of all among what is real.
#[test]
fn what_a_rehearsal_could_not_say_is_dropped_and_what_is_real_is_told() {
    let (heron, home) = (heron(), Home::new());
    let (heard, mended) = (home.path("heard"), home.path("mended"));
    home.configure(&format!(
        "[[alerts.command]]\nname = 'bell'\nprogram = '/bin/sh'\n\
         arguments = ['-c', 'test -e {} || exit 1; (cat; echo) >> {}']\n",
        mended.display(),
        heard.display()
    ));
    let mut agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |state| state["drives"][0].is_object());
    assert!(home.run("rehearse", &["fan-stopped", "--for", "2s"]).status.success());
    agent.hears("channel-fails");
    let dropped = agent.hears("rehearsal-dropped");
    assert!(crate::message(&dropped).contains("of a rehearsal that `bell` did not accept while it ran"), "{dropped}");
    // Killed in the middle of the next one: the program after that has nothing of it to say, either.
    assert!(home.run("rehearse", &["fan-stopped", "--for", "60s"]).status.success());
    agent.hears("rehearsal-began");
    home.state_with("another reading", |state| state["drives"][0].is_object());
    signal("TERM", agent.core());
    assert!(agent.ends().success());
    fs::write(&mended, "").unwrap();
    let mut next = Running::start(&home, heron.root());
    next.hears("rehearsal-dropped");
    home.state_with("a reading of the next one", |state| state["drives"][0].is_object());
    assert!(home.run("alerts", &["--test", "bell"]).status.success());
    next.hears("delivered");
    let told = fs::read_to_string(&heard).unwrap();
    assert!(told.contains("CODE") && !told.contains("fan"), "{told}");
}

/// As the kernel does when memory is short. Whoever was told that an incident is acknowledged may count on it, and what
/// waited for its way still waits.
#[test]
fn what_was_acknowledged_or_waited_when_the_agent_was_killed_is_known_to_the_next() {
    let (heron, home) = (heron(), Home::new());
    let (file, mended) = (home.path("heard"), home.path("mended"));
    home.configure(&format!(
        "[grace]\npools = \"1 ms\"\n[[alerts.command]]\nname = 'bell'\nprogram = '/bin/sh'\n\
         arguments = ['-c', 'test -e {} || exit 1; (cat; echo) >> {}']\n",
        mended.display(),
        file.display()
    ));
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    let mut agent = Running::start(&home, heron.root());
    agent.hears("channel-fails");
    let of_the_pool = |state: &Value| incident_of("pool-degraded", state);
    let open = of_the_pool(&home.state_with("the pool", |state| of_the_pool(state).is_some())).unwrap();
    let number = open["id"].to_string();
    assert!(home.run("mute", &["1h"]).status.success());
    assert!(home.run("mute", &["--end"]).status.success());
    let done = home.run("ack", &[&number]);
    // Not a moment later: the promise was given.
    signal("KILL", agent.core());
    let said = String::from_utf8(done.stdout).unwrap();
    assert!(said.contains("is acknowledged") && !said.contains("forget"), "{said}");
    agent.ends();
    assert_eq!(heard_of_all(&home), Vec::<String>::new());

    fs::write(&mended, "").unwrap();
    let _next = Running::start(&home, heron.root());
    let state = home.state_with("the pool after it", |state| of_the_pool(state).is_some());
    let after = of_the_pool(&state).unwrap();
    assert_eq!((&after["id"], &after["acknowledged"]), (&open["id"], &Value::Bool(true)), "{state}");
    assert!(state["muted_left_s"].is_null(), "{state}");
    // Its pause goes on over the end; a test ends it.
    assert!(home.run("alerts", &["--test", "bell"]).status.success());
    let told = || if heard(&home).is_empty() { Err(heard_of_all(&home).join(" ")) } else { Ok(heard(&home)) };
    let told = wait_until("what had waited", 60, told).unwrap();
    assert_eq!((&told[0][1], told[0][2].as_str()), (&number, "opened"), "{told:?}");
}

/// A store that fails is said to whoever is promised something.
#[test]
fn what_a_store_cannot_keep_is_promised_to_nobody() {
    let (heron, home) = (heron(), Home::new());
    fs::write(home.path("state"), "a file in the folder's place").unwrap();
    let mut agent = Running::start(&home, heron.root());
    agent.hears("store-not-open");
    home.state_with("the first reading", |state| state["drives"][0].is_object());
    let said = String::from_utf8(home.run("mute", &["1h"]).stdout).unwrap();
    assert!(
        said.contains("alerts are muted for") && said.contains("; it is not saved and would be lost by a restart: "),
        "{said}"
    );
}

/// The names of all messages that the channel was given.
fn heard_of_all(home: &Home) -> Vec<String> {
    let text = fs::read_to_string(home.path("heard")).unwrap_or_default();
    let batches = text.lines().map(|line| serde_json::from_str::<Value>(line).unwrap());
    let names = |batch: Value| batch["messages"].as_array().unwrap().clone();
    batches.flat_map(names).map(|message| message["id"].to_string()).collect()
}

/// Its owner interrupts the command before the other side has answered: the message still arrives, and the next test is none
/// beside it.
#[test]
fn a_test_whose_owner_hangs_up_ends_and_holds_up_nothing() {
    let (heron, home) = (heron(), Home::new());
    let (begun, mended) = (home.path("begun"), home.path("mended"));
    home.configure(&format!(
        "[[alerts.command]]\nname = 'bell'\nprogram = '/bin/sh'\n\
         arguments = ['-c', 'touch {}; while ! test -e {}; do sleep 0.1; done; (cat; echo) >> {}; echo rung']\n",
        begun.display(),
        mended.display(),
        home.path("heard").display()
    ));
    let mut agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |state| state["channels"][0].is_object());
    let mut owner = home.command(traylight(), "alerts").args(["--test", "bell"]).spawn().unwrap();
    let is_begun = || if begun.exists() { Ok(()) } else { Err("the program has not begun".to_owned()) };
    wait_until("the delivery", 60, is_begun).unwrap();
    let beside = home.run("alerts", &["--test", "bell"]);
    assert!(
        String::from_utf8_lossy(&beside.stderr).contains("another test of this channel is still running"),
        "{beside:?}"
    );
    owner.kill().unwrap();
    owner.wait().unwrap();
    fs::write(&mended, "").unwrap();
    agent.hears("delivered");
    let next = home.run("alerts", &["--test", "bell"]);
    assert!(next.status.success() && next.stdout.starts_with(b"`bell` accepted the test message: rung\n"), "{next:?}");
    agent.hears("delivered");
    assert_eq!(heard_of_all(&home).len(), 2);
}

/// The one who asks waits until the other side has answered, and reads what that was; the document has the rest.
#[test]
fn a_test_says_what_the_other_side_answered_and_the_document_how_its_channel_does() {
    let (heron, home) = (heron(), Home::new());
    home.configure(
        "[[alerts.command]]\nname = 'bell'\nprogram = '/bin/sh'\narguments = ['-c', 'cat >/dev/null; echo rung twice']\n\
         [[alerts.command]]\nname = 'gong'\nprogram = '/bin/sh'\narguments = ['-c', 'echo cracked >&2; exit 3']\n",
    );
    let _agent = Running::start(&home, heron.root());
    home.state_with("the channels", |state| {
        state["channels"][1]["last_success_at"].is_null() && state["channels"][1].is_object()
    });
    let said = |channel: &str| {
        let output = home.run("alerts", &["--test", channel]);
        (output.status.success(), String::from_utf8([output.stdout, output.stderr].concat()).unwrap())
    };
    let (is_done, bell) = said("bell");
    assert!(is_done && bell.starts_with("`bell` accepted the test message: rung twice\n"), "{bell}");
    let (is_done, gong) = said("gong");
    assert!(
        !is_done && gong.starts_with("traylight: the test of `gong` failed: ") && gong.ends_with("cracked\n"),
        "{gong}"
    );
    let state = home.state_with("both outcomes", |state| state["channels"][1]["trouble"].is_object());
    let [bell, gong] = [&state["channels"][0], &state["channels"][1]];
    assert_eq!((&bell["name"], &bell["kind"], &bell["waiting"]), (&"bell".into(), &"command".into(), &0.into()));
    assert!(bell["last_success_s"].is_u64() && bell["trouble"].is_null() && bell["confirmed"] == false, "{bell}");
    let trouble = &gong["trouble"];
    assert_eq!((&trouble["id"], &trouble["words"]), (&"program-failed".into(), &"exit status 3: cracked".into()));
    assert!(trouble["owners_words"].is_null() && trouble["since_s"].is_u64(), "{gong}");
}
