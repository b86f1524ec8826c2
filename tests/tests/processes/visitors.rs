//! Those who want the state: many at a time, and an agent that does not answer.

use crate::commands::{NOBODY, is_root};
use crate::heron;
use crate::running::{Home, Running, signal};
use serde_json::Value;
use std::fs;
use std::os::unix::net::UnixStream;
use std::sync::mpsc::channel;

#[test]
fn a_look_at_a_stopped_agent_says_so_and_reads_the_box_itself() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |_| true);
    signal("STOP", agent.core());
    let looked = home.run("look", &["--json"]);
    let asked = home.run("ack", &["1"]);
    signal("CONT", agent.core());
    let said = String::from_utf8(looked.stderr).unwrap();
    assert_eq!(said, "traylight: the running agent does not answer within 2 s; reading the box without it\n");
    let state: Value = serde_json::from_slice(&looked.stdout).unwrap();
    assert_ne!(state["box"], "heron", "this machine, not the agent's tree");
    assert!(matches!(looked.status.code(), Some(0 | 3 | 10 | 20)), "{:?}", looked.status);
    assert_eq!(
        (asked.status.code(), String::from_utf8(asked.stderr).unwrap().as_str()),
        (Some(1), "traylight: the running agent does not answer within 8 s\n")
    );
    signal("TERM", agent.core());
    assert_eq!(agent.ends().code(), Some(0));
}

/// Somebody who may do nothing connects again and again and never reads.
#[test]
fn a_flood_of_visitors_neither_fills_the_agent_nor_keeps_its_owner_out() {
    assert!(is_root(), "this story needs root, to become somebody else");
    let (heron, home) = (heron(), Home::new());
    let agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |_| true);
    let path = home.path("run/state.sock");
    let (stop, stopped) = channel::<()>();
    let (begin, begun) = channel();
    let flood = std::thread::spawn(move || {
        // The rights of this thread only (setresuid(2) of the kernel, not of the C library).
        let nobody = rustix::process::Uid::from_raw(NOBODY);
        rustix::thread::set_thread_res_uid(nobody, nobody, nobody).unwrap();
        let mut held = Vec::new();
        while stopped.try_recv() == Err(std::sync::mpsc::TryRecvError::Empty) {
            held.extend(UnixStream::connect(&path));
            if held.len() == 200 {
                let _ = begin.send(());
                held.clear();
            }
        }
    });
    begun.recv().unwrap();
    let mut most = 0;
    for _ in 0..5 {
        let output = home.run("look", &["--json"]);
        let state: Value = serde_json::from_slice(&output.stdout).unwrap();
        assert_eq!(state["box"], "heron", "{}", String::from_utf8_lossy(&output.stderr));
        most = most.max(fs::read_dir(format!("/proc/{}/fd", agent.core())).unwrap().count());
    }
    stop.send(()).unwrap();
    flood.join().unwrap();
    assert!(most < 60, "{most} descriptors");
}
