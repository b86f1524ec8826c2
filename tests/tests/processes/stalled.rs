//! What holds up nobody: a log that nobody reads on, a configuration that is no file.

use crate::running::{Home, Running, is_gone, signal};
use crate::{heron, message};
use std::fs;
use std::io::Write;
use std::os::fd::OwnedFd;
use std::os::unix::fs::symlink;
use std::os::unix::net::UnixStream;
use std::process::{Command, Stdio};
use traylight_tests::binary::traylight;
use traylight_tests::lab::wait::wait_until;

/// An output that nobody reads and that is full.
fn full() -> (UnixStream, OwnedFd) {
    let (reader, mut out) = UnixStream::pair().unwrap();
    out.set_nonblocking(true).unwrap();
    while out.write(&[b'.'; 4096]).is_ok() {}
    while out.write(b".").is_ok() {}
    out.set_nonblocking(false).unwrap();
    (reader, out.into())
}

#[test]
fn an_agent_whose_log_nobody_reads_watches_reloads_and_ends_when_asked() {
    let (heron, home) = (heron(), Home::new());
    let (_reader, out) = full();
    let mut command = home.command(traylight(), "run");
    command.arg("--root").arg(heron.root()).args(["--log", "json"]).stdout(Stdio::from(out));
    let mut core = command.spawn().unwrap();
    home.state_with("a reading", |state| state["box"] == "heron");
    home.configure("[box]\nname = \"reed hut\"\n");
    signal("HUP", core.id());
    home.state_with("a configuration read again", |state| state["box"] == "reed hut");
    signal("TERM", core.id());
    is_gone(core.id());
    assert_eq!(core.wait().unwrap().code(), Some(0));
}

/// Replaces the configuration by something else than a plain file.
fn make(home: &Home, kind: &str) {
    let file = home.path("traylight.toml");
    let _ = fs::remove_file(&file);
    match kind {
        "a named pipe" => assert!(Command::new("mkfifo").arg(&file).status().unwrap().success()),
        "a device" => symlink("/dev/zero", &file).unwrap(),
        "a folder" => fs::create_dir(&file).unwrap(),
        _ => fs::File::create(&file).unwrap().set_len(1 << 40).unwrap(),
    }
}

#[test]
fn what_is_no_plain_file_is_no_configuration_for_check_run_and_reload() {
    let (heron, home) = (heron(), Home::new());
    let mut agent = Running::start(&home, heron.root());
    agent.hears("started");
    let elsewhere = home.path("elsewhere").display().to_string();
    for kind in ["a named pipe", "a device", "more than 262144 bytes", "a folder"] {
        make(&home, kind);
        let wanted = format!("traylight.toml: expected a configuration file, found {kind}");
        for arguments in [&["check"][..], &["run", "--run-dir", &elsewhere, "--state-dir", &elsewhere]] {
            let mut command = Command::new(traylight());
            command.args(arguments).arg("--config").arg(home.path("traylight.toml"));
            let mut child = command.stdin(Stdio::null()).stdout(Stdio::null()).stderr(Stdio::piped()).spawn().unwrap();
            let ended = wait_until("its end", 30, || child.try_wait().unwrap().ok_or("one that hangs"));
            let _ = child.kill();
            let said = String::from_utf8(child.wait_with_output().unwrap().stderr).unwrap();
            assert_eq!(ended.unwrap().code(), Some(1), "{arguments:?}: {said}");
            assert!(said.contains(&wanted), "{arguments:?}: {said}");
        }
        signal("HUP", agent.core());
        let refused = agent.hears("reload-refused");
        assert!(message(&refused).contains(&wanted), "{refused}");
    }
    signal("TERM", agent.core());
    assert_eq!(agent.ends().code(), Some(0));
}
