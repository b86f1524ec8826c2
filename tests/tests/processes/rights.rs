//! Who may ask drives: the probe alone. What the kernel says of the rights of each process (capabilities(7)).

use crate::commands::is_root;
use crate::heron;
use crate::running::{Home, Running, rights, signal};
use std::fs;
use traylight_tests::lab::wait::wait_until;

#[test]
fn only_the_probe_has_rights_also_after_it_was_replaced() {
    assert!(is_root(), "this story needs root, which has rights to give up");
    let (heron, home) = (heron(), Home::new());
    let noted = home.path("noted");
    home.configure(&format!(
        "[grace]\npools = \"1 ms\"\n[[alerts.command]]\nname = 'bell'\nprogram = '/bin/sh'\n\
         arguments = ['-c', 'cat >/dev/null; cat /proc/self/status > {0}.new; mv {0}.new {0}']\n",
        noted.display()
    ));
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    let mut agent = Running::start(&home, heron.root());
    agent.hears("started");
    let none = ["0000000000000000"; 4].map(str::to_owned);
    let ours = rights(&fs::read_to_string("/proc/self/status").unwrap());
    assert_ne!(ours[1], none[1], "this test has no rights itself");

    let first = agent.probe();
    let of = |process: u32| rights(&fs::read_to_string(format!("/proc/{process}/status")).unwrap());
    assert_eq!(of(first), ours, "the probe");
    let program = wait_until("an alert", 60, || fs::read_to_string(&noted)).unwrap();
    assert_eq!(rights(&program), none, "a program for alerts");
    for thread in fs::read_dir(format!("/proc/{}/task", agent.core())).unwrap().flatten() {
        let status = fs::read_to_string(thread.path().join("status")).unwrap();
        assert_eq!(rights(&status), none, "a thread of the core: {status}");
    }
    signal("KILL", first);
    agent.hears("probe-back");
    assert_ne!(agent.probe(), first);
    assert_eq!(of(agent.probe()), ours, "the next probe");
}

#[test]
fn without_whoever_starts_probes_the_agent_ends_for_its_supervisor_to_start_it_anew() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |_| true);
    let probe = agent.probe();
    signal("KILL", agent.launcher());
    home.state_with("that the probe goes on alone", |_| true);
    signal("KILL", probe);
    let stopped = agent.hears("stopped");
    assert!(crate::message(&stopped).starts_with("the launcher is gone"), "{stopped}");
    assert_eq!(agent.ends().code(), Some(1));
}
