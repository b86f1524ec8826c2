//! What the owner asks the running agent for: what is open and why, acknowledged, held back, rehearsed; who may, and
//! what becomes of requests that are none.

use crate::commands::{NOBODY, is_root};
use crate::heron;
use crate::message;
use crate::running::{Home, Running, signal};
use serde_json::Value;
use std::fs;
use std::io::{Read, Write};
use std::os::unix::fs::PermissionsExt;
use std::os::unix::net::UnixStream;
use std::os::unix::process::CommandExt;
use std::process::Command;
use traylight_tests::binary::traylight;
use traylight_tests::pretend_box::PretendBox;

/// A command of the owner's: its exit code, and what it printed on both outputs.
fn says(home: &Home, name: &str, arguments: &[&str]) -> (Option<i32>, String) {
    let output = home.run(name, arguments);
    (output.status.code(), String::from_utf8([output.stdout, output.stderr].concat()).unwrap())
}

/// An agent that watches heron with a member lost.
fn agent_with_an_incident(heron: &PretendBox, home: &Home) -> Running {
    home.configure("[grace]\npools = \"1 ms\"\n");
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    let agent = Running::start(home, heron.root());
    home.state_with("an incident", |state| state["incidents"][0].is_object());
    agent
}

/// One line of the owner's own, as another program might send it; the answer.
fn send(home: &Home, bytes: &[u8]) -> String {
    let mut stream = UnixStream::connect(home.path("run/control.sock")).unwrap();
    // An agent that has heard enough does not read on.
    let _ = stream.write_all(bytes);
    answer_of(stream)
}

fn answer_of(mut stream: UnixStream) -> String {
    let (mut answer, mut byte) = (Vec::new(), [0]);
    while answer.last() != Some(&b'\n') && stream.read(&mut byte).unwrap() == 1 {
        answer.push(byte[0]);
    }
    String::from_utf8(answer).unwrap()
}

#[test]
fn what_is_open_is_listed_and_says_why() {
    let (heron, home) = (heron(), Home::new());
    let _agent = agent_with_an_incident(&heron, &home);
    let (code, said) = says(&home, "alerts", &[]);
    assert_eq!(code, Some(10), "{said}");
    assert!(said.starts_with("heron: 1 incident is open\n\n 1  warning  "), "{said}");
    let (code, said) = says(&home, "alerts", &["--why", "1"]);
    assert_eq!(code, Some(10), "{said}");
    for wanted in [
        "Incident 1: ",
        "What happened",
        "Most likely cause",
        "pool-degraded, for ",
        "clears when it is healthy",
        "What not to do",
    ] {
        assert!(said.contains(wanted), "{wanted} is not in:\n{said}");
    }
    let (code, said) = says(&home, "alerts", &["--json"]);
    let alerts: Value = serde_json::from_str(&said).unwrap();
    assert_eq!((code, &alerts["schema"], &alerts["incidents"][0]["id"]), (Some(10), &1.into(), &1.into()), "{said}");
    assert_eq!(alerts["drives"], Value::Null, "the state document has the rest");
    let (code, said) = says(&home, "alerts", &["--why", "7"]);
    assert_eq!((code, said.as_str()), (Some(1), "traylight: incident 7 is not open; did you mean 1?\n"));
}

#[test]
fn without_an_agent_alerts_looks_once_and_says_so() {
    let (heron, home) = (heron(), Home::new());
    let root = heron.root().to_str().unwrap();
    let (code, said) = says(&home, "alerts", &["--root", root]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.starts_with("heron: no incident is open\n") && said.contains("one reading without history"), "{said}");
}

#[test]
fn an_incident_is_acknowledged_once_it_is_open() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = agent_with_an_incident(&heron, &home);
    let (code, said) = says(&home, "ack", &["7"]);
    assert_eq!((code, said.as_str()), (Some(1), "traylight: incident 7 is not open; did you mean 1?\n"));
    let (code, said) = says(&home, "ack", &["1"]);
    assert_eq!(code, Some(0), "{said}");
    assert_eq!(agent.hears("acknowledged")["incident"], "1");
    home.state_with("that it is known", |state| state["incidents"][0]["acknowledged"] == true);
    assert!(says(&home, "alerts", &[]).1.contains(". Acknowledged.\n"));
}

#[test]
fn messages_are_held_back_for_a_time_and_the_log_says_so_once() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |state| state["muted_left_s"].is_null());
    let (code, said) = says(&home, "mute", &["90 min"]);
    assert_eq!((code, said.as_str()), (Some(0), "alerts are muted for 90 min; log and panel continue\n"));
    assert!(message(&agent.hears("muted")).starts_with("alerts are muted for "));
    home.state_with("the time left", |state| state["muted_left_s"].as_u64().is_some_and(|left| left <= 5_400));
    assert!(says(&home, "alerts", &[]).1.contains("Alerts are muted for another "));
    let (code, said) = says(&home, "mute", &["--end"]);
    assert_eq!((code, said.as_str()), (Some(0), "alerts are no longer muted\n"));
    agent.hears("mute-over");
    home.state_with("that it is over", |state| state["muted_left_s"].is_null());

    says(&home, "mute", &["1s"]);
    agent.hears("muted");
    agent.hears("mute-over");
    for (wrong, code, wanted) in [
        ("9h", 2, "expected at most 8 h"),
        ("0s", 2, "expected at least 1 s"),
        ("soon", 2, "expected a time with its unit"),
    ] {
        let (found, said) = says(&home, "mute", &[wrong]);
        assert!(found == Some(code) && said.contains(wanted), "{wrong}: {found:?} {said}");
    }
}

#[test]
fn without_an_agent_nothing_can_be_asked_for() {
    let home = Home::new();
    for (name, arguments) in [("ack", &["1"][..]), ("mute", &[]), ("mute", &["--end"])] {
        let (code, said) = says(&home, name, arguments);
        assert_eq!(code, Some(1));
        assert!(said.starts_with("traylight: no agent runs here; `traylight run` starts it ("), "{said}");
    }
    let (code, said) = says(&home, "alerts", &["--test", "keeper", "--root", "/tmp"]);
    assert!(code == Some(1) && said.contains("a recorded tree has no agent: leave out --root"), "{said}");
}

#[test]
fn nobody_else_may_ask() {
    assert!(is_root(), "this story needs root, to become somebody else");
    let (heron, home) = (heron(), Home::new());
    let mut agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |_| true);
    let socket = home.path("run/control.sock");
    assert_eq!(fs::metadata(&socket).unwrap().permissions().mode() & 0o777, 0o600);
    let as_nobody = |name: &str, argument: &str| {
        let output = home.command(traylight(), name).arg(argument).uid(NOBODY).gid(NOBODY).output().unwrap();
        assert_eq!(output.status.code(), Some(1), "{name}");
        String::from_utf8(output.stderr).unwrap()
    };
    for (name, argument) in [("ack", "1"), ("mute", "1h"), ("rehearse", "fan-stopped")] {
        let said = as_nobody(name, argument);
        assert!(said.contains("only root and the user that the agent runs as may"), "{said}");
    }
    // Whoever gets to the socket in spite of that is looked at.
    fs::set_permissions(&socket, fs::Permissions::from_mode(0o666)).unwrap();
    let said = as_nobody("mute", "1h");
    assert_eq!(said, "traylight: expected root or user 0, which the agent runs as, found user 65534\n");
    home.state_with("that nothing is muted", |state| state["muted_left_s"].is_null());
    says(&home, "mute", &["1h"]);
    agent.hears("muted");
}

#[test]
fn what_is_no_request_is_refused_and_the_agent_goes_on() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = Running::start(&home, heron.root());
    agent.hears("started");
    for (bytes, wanted) in [
        (&b"hold your tongue\n"[..], "expected a request, found an invalid one: expected value"),
        (
            b"\"reboot\"\n",
            "unknown variant `reboot`, expected one of `acknowledge`, `accept`, `mute`, `unmute`, `try_channel`, `confirm`, `rehearse`, `end_rehearsal`",
        ),
        (b"{\"mute\":{\"for_s\":-1}}\n", "invalid value: integer `-1`"),
        (b"{\"mute\":{\"for_s\":1,\"why\":\"\"}}\n", "unknown field `why`"),
        (b"\xff\xfe\n", "expected a request, found an invalid one"),
        (b"\n", "expected a request, found an invalid one"),
        (&[b'x'; 100_000], "expected one line of JSON, found 4096 bytes without an end of line"),
    ] {
        let answer = send(&home, bytes);
        assert!(answer.starts_with("{\"refused\":") && answer.replace('\\', "").contains(wanted), "{answer}");
    }
    // One that is cut off, and one that never comes to its end: that one holds up nobody.
    let mut slow = UnixStream::connect(home.path("run/control.sock")).unwrap();
    slow.write_all(b"\"unm").unwrap();
    let mut cut = UnixStream::connect(home.path("run/control.sock")).unwrap();
    cut.write_all(b"\"unmute\"").unwrap();
    cut.shutdown(std::net::Shutdown::Write).unwrap();
    assert!(answer_of(cut).contains("found 8 bytes without an end of line"));
    assert_eq!(send(&home, b"\"unmute\"\n"), "{\"done\":\"alerts were not muted\"}\n");
    assert!(answer_of(slow).contains("expected one line of JSON within 2 s"));
    // More than one request is one request.
    assert_eq!(send(&home, b"\"unmute\"\n{\"mute\":{\"for_s\":9}}\n"), "{\"done\":\"alerts were not muted\"}\n");
    home.state_with("that nothing is muted", |state| state["muted_left_s"].is_null());
}

#[test]
fn a_second_agent_does_not_take_the_control_socket_from_the_first() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = Running::start(&home, heron.root());
    agent.hears("started");
    fs::remove_file(home.path("run/state.sock")).unwrap();
    let (code, said) = says(&home, "run", &["--root", heron.root().to_str().unwrap()]);
    assert_eq!(code, Some(1));
    assert!(said.contains("run/control.sock: another traylight is running here"), "{said}");
    assert_eq!(send(&home, b"\"unmute\"\n"), "{\"done\":\"alerts were not muted\"}\n");
}

#[test]
fn a_rehearsal_is_told_as_a_test_and_leaves_the_state_alone() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |_| true);
    let (code, said) = says(&home, "rehearse", &["drive-gone", "0003", "--for", "2s"]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.starts_with("`drive-gone` is rehearsed for 2 s: watch the panel"), "{said}");
    let began = agent.hears("rehearsal-began");
    assert_eq!((&began["test"], message(&began).split(' ').next()), (&"yes".into(), Some("TEST:")), "{began}");
    let opened = agent.hears("opened");
    assert_eq!((&opened["test"], &opened["condition"]), (&"yes".into(), &"drive-gone".into()), "{opened}");
    assert_eq!(opened["serial"], "WREN-0003");
    assert!(message(&opened).starts_with("TEST: "), "{opened}");
    home.state_with("a box that is as it was", |state| state["incidents"] == Value::Array(Vec::new()));
    let closed = agent.hears("closed");
    assert_eq!((&closed["test"], &closed["condition"]), (&"yes".into(), &"drive-gone".into()), "{closed}");
    assert_eq!(message(&agent.hears("rehearsal-over")), "TEST: the rehearsal of `drive-gone` is over: its time is up");
}

/// Its owner can practise on it: what is rehearsed is shown beside what is real, acknowledged without a trace, and ended.
#[test]
fn a_rehearsal_is_marked_wherever_it_is_shown_and_can_be_acknowledged_and_ended() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = agent_with_an_incident(&heron, &home);
    let (code, said) = says(&home, "rehearse", &["--end"]);
    assert_eq!((code, said.as_str()), (Some(0), "no rehearsal is running\n"));
    assert_eq!(says(&home, "rehearse", &["fan-stopped", "--for", "5 min"]).0, Some(0));
    let state = home.state_with("the rehearsal", |state| state["rehearsal"]["incidents"][0].is_object());
    let (real, rehearsed) = (&state["incidents"], &state["rehearsal"]["incidents"][0]["id"]);
    assert!(real.as_array().unwrap().iter().all(|incident| incident["id"] != *rehearsed), "{state}");
    for name in ["look", "alerts"] {
        let (code, said) = says(&home, name, &[]);
        assert!(said.contains("TEST: fan-stopped is being rehearsed for another "), "{name}: {said}");
        assert_eq!(code, Some(10), "the box is no worse than it was: {name}");
    }
    let (code, said) = says(&home, "ack", &[&rehearsed.to_string()]);
    assert!(code == Some(0) && said.starts_with("TEST: incident "), "{said}");
    let known = |state: &Value| state["rehearsal"]["incidents"][0]["acknowledged"] == true;
    let state = home.state_with("that the rehearsed one is known", known);
    assert_eq!(state["incidents"][0]["acknowledged"], false, "nothing real has changed: {state}");
    let (code, said) = says(&home, "rehearse", &["--end"]);
    assert_eq!((code, said.as_str()), (Some(0), "the rehearsal is over\n"));
    assert!(message(&agent.hears("rehearsal-over")).ends_with("it was ended by command"));
    let state = home.state_with("the end", |state| state["rehearsal"].is_null());
    assert!(state["incidents"][0].is_object(), "what is real is still open: {state}");
    assert_eq!(says(&home, "ack", &[&rehearsed.to_string()]).0, Some(1));
}

/// What was practised ends with the program, in whatever moment that is: nothing real is acknowledged by it, and its number
/// is given to nothing else.
#[test]
fn an_agent_that_is_killed_after_a_practised_acknowledgement_has_acknowledged_nothing() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = agent_with_an_incident(&heron, &home);
    let rehearse = |home: &Home| {
        assert_eq!(says(home, "rehearse", &["fan-stopped", "--for", "5 min"]).0, Some(0));
        let state = home.state_with("the rehearsal", |state| state["rehearsal"]["incidents"][0].is_object());
        state["rehearsal"]["incidents"][0]["id"].as_u64().unwrap()
    };
    let practised = rehearse(&home);
    let (code, said) = says(&home, "ack", &[&practised.to_string()]);
    signal("KILL", agent.core());
    assert!(code == Some(0) && said.starts_with("TEST: "), "{said}");
    agent.ends();
    let _next = Running::start(&home, heron.root());
    let state = home.state_with("the incident after it", |state| state["incidents"][0].is_object());
    assert!(state["rehearsal"].is_null() && state["incidents"][0]["acknowledged"] == false, "{state}");
    assert_eq!(says(&home, "ack", &[&practised.to_string()]).0, Some(1), "it is not open any more");
    assert!(rehearse(&home) > practised);
}

#[test]
fn what_is_really_critical_ends_a_rehearsal_and_lets_none_begin() {
    let (heron, home) = (heron(), Home::new());
    home.configure("[grace]\npools = \"1 ms\"\n");
    let mut agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |_| true);
    let (code, said) = says(&home, "rehearse", &["fan-stopped", "--for", "10 min"]);
    assert_eq!(code, Some(0), "{said}");
    agent.hears("rehearsal-began");
    let (code, said) = says(&home, "rehearse", &["drive-gone"]);
    assert!(code == Some(1) && said.starts_with("traylight: `fan-stopped` is being rehearsed for another "), "{said}");
    let (code, said) = says(&home, "rehearse", &["drive-gone", "--for", "11 min"]);
    assert!(code == Some(2) && said.contains("expected at most 10 min"), "{said}");
    for (device, count) in [("sdd", "1\n"), ("sdc", "2\n")] {
        heron.write("/sys/block/md0/md/degraded", count);
        heron.write(&format!("/sys/block/md0/md/dev-{device}/state"), "faulty\n");
    }
    let over = agent.hears("rehearsal-over");
    assert!(message(&over).ends_with("is over: a real critical incident has begun"), "{over}");
    let (code, said) = says(&home, "rehearse", &["fan-stopped"]);
    assert_eq!(
        (code, said.as_str()),
        (Some(1), "traylight: a critical incident is open: deal with it first, see `traylight alerts`\n")
    );
}

/// The local time, to the second, as log lines begin with it.
fn now() -> String {
    let date = Command::new("date").arg("+%Y-%m-%dT%H:%M:%S").output().unwrap();
    String::from_utf8(date.stdout).unwrap().trim().to_owned()
}

#[test]
fn without_an_agent_a_rehearsal_is_played_in_the_terminal() {
    let (heron, home) = (heron(), Home::new());
    let root = heron.root().to_str().unwrap();
    let before = now();
    let (code, said) = says(&home, "rehearse", &["usb-bridge", "0001", "--root", root]);
    assert_eq!(code, Some(0), "{said}");
    assert!(said.starts_with("Also simulated: "), "{said}");
    for wanted in ["cause=usb-bridge", "message=\"TEST: ", "test=yes", "incident-closed", "╰"] {
        assert!(said.contains(wanted), "{wanted} is not in:\n{said}");
    }
    let first = said.lines().find(|line| line.contains("test=yes")).unwrap();
    assert!(first[..before.len()] >= *before, "dated before the command, at {before}:\n{first}");
    let (code, said) = says(&home, "rehearse", &["--list"]);
    assert_eq!((code, said.lines().next()), (Some(0), Some("Conditions")));
    assert!(!said.contains("self-evident"), "nobody can type it:\n{said}");
    let described = |fault: &str, what: &str| said.lines().any(|line| line.starts_with(fault) && line.ends_with(what));
    assert!(
        described("drive-gone ", " a drive disconnects") && described("warm-room ", " the room gets warmer"),
        "{said}"
    );
    let (code, said) = says(&home, "rehearse", &["earthquake", "--root", root]);
    assert_eq!((code, said.contains("unknown fault `earthquake` (")), (Some(1), true), "{said}");
    let (_, said) = says(&home, "rehearse", &["drive-gnoe", "--root", root]);
    assert!(said.contains("unknown fault `drive-gnoe`; did you mean `drive-gone`?"), "{said}");
    assert_eq!(says(&home, "rehearse", &[]).0, Some(2));
}
