//! Those who want the state: many at a time, and an agent that does not answer.

use crate::commands::{NOBODY, is_root};
use crate::heron;
use crate::running::{Home, Running, signal};
use serde_json::Value;
use std::fs;
use std::io::Read;
use std::os::unix::net::UnixStream;
use std::process::Command;
use std::sync::mpsc::channel;
use std::time::Instant;
use traylight_tests::lab::wait::wait_until;

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

/// How long a process has kept processors busy, in nanoseconds, all its threads together (the kernel's
/// Documentation/scheduler/sched-stats.rst).
fn busy(process: u32) -> u128 {
    let threads = fs::read_dir(format!("/proc/{process}/task")).unwrap().flatten();
    let times = threads.filter_map(|thread| fs::read_to_string(thread.path().join("schedstat")).ok());
    times.filter_map(|text| text.split(' ').next()?.parse::<u128>().ok()).sum()
}

/// Lets a process open nothing more, or as much as it likes.
fn limit_descriptors(process: u32, most: usize) {
    let limit = format!("--nofile={most}:4096");
    let done = Command::new("prlimit").args(["--pid", &process.to_string(), &limit]).status();
    assert!(done.unwrap().success());
}

/// Visitors come while not one descriptor is to be had: they wait, no processor is kept busy for them, the box is watched
/// on, and they are served as soon as there is one.
#[test]
fn visitors_for_whom_there_is_no_descriptor_wait_and_keep_no_processor_busy() {
    let (heron, home) = (heron(), Home::new());
    home.configure("[grace]\npools = \"1 ms\"\n[limits.pool]\nhealthy_hold = \"1 ms\"\n");
    let mut agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |state| state["pools"][0].is_object());
    let core = agent.core();
    let taken = |number: &usize| fs::symlink_metadata(format!("/proc/{core}/fd/{number}")).is_ok();
    limit_descriptors(core, (0..).find(|number| !taken(number)).unwrap());
    let visit = |name: &str| (0..4).map(|_| UnixStream::connect(home.path(name)).unwrap()).collect::<Vec<_>>();
    let (mut visitors, askers) = (visit("run/state.sock"), visit("run/control.sock"));
    let (began, before) = (Instant::now(), busy(core));
    for (degraded, state, event) in [("1\n", "faulty\n", "opened"), ("0\n", "in_sync\n", "closed")] {
        heron.write("/sys/block/md0/md/degraded", degraded).write("/sys/block/md0/md/dev-sdd/state", state);
        assert_eq!(agent.hears(event)["condition"], "pool-degraded");
    }
    let share = (busy(core) - before) * 100 / began.elapsed().as_nanos();
    assert!(share < 30, "busy for {share} % of the time");
    limit_descriptors(core, 1024);
    for visitor in &mut visitors {
        let mut text = String::new();
        visitor.read_to_string(&mut text).unwrap();
        serde_json::from_str::<Value>(&text).unwrap();
    }
    drop(askers);
    assert!(home.run("mute", &["1h"]).status.success());
}

/// Programs that alerts go to run as the agent's own user and may ask it for things. One that does so without end has a few
/// places, and its owner is heard all the same.
#[test]
fn askers_without_end_neither_fill_the_agent_nor_keep_its_owner_out() {
    let (heron, home) = (heron(), Home::new());
    let agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |_| true);
    let descriptors = || fs::read_dir(format!("/proc/{}/fd", agent.core())).unwrap().count();
    let before = descriptors();
    let askers: Vec<_> = (0..100).map(|_| UnixStream::connect(home.path("run/control.sock")).unwrap()).collect();
    let heard = || if descriptors() >= before + 16 { Ok(()) } else { Err(format!("{} descriptors", descriptors())) };
    wait_until("that some are heard", 60, heard).unwrap();
    let mut most = 0;
    for _ in 0..10 {
        home.state_with("the state", |_| true);
        most = most.max(descriptors());
    }
    assert!(most <= before + 40, "{most} descriptors");
    drop(askers);
    assert!(home.run("mute", &["1h"]).status.success());
}
