//! The program where the system has too little to spare: too few descriptors or threads at the start are said and end it
//! with code 1; too few later cost what wanted them, which is tried again. Never does it abort.

use crate::running::{Home, signal};
use std::fs;
use std::fs::File;
use std::os::unix::fs::PermissionsExt;

use std::process::{Child, Command};
use std::sync::atomic::{AtomicU32, Ordering};
use traylight_tests::binary::traylight;
use traylight_tests::lab::wait::wait_until;
use traylight_tests::pretend_box::PretendBox;

/// Users that have no other processes, one an agent, where the tests may have some: limits count all that a user runs.
static NOBODY_ELSE: AtomicU32 = AtomicU32::new(64_321);

/// More drives than there are threads to spare: each has one of its own.
fn rookery() -> PretendBox {
    let rookery = PretendBox::new();
    for (port, device) in ('a'..='l').enumerate() {
        rookery.sata_drive(&format!("sd{device}"), port as u64 + 1, &format!("ROOK-{port:04}"), "Warbler 4T");
    }
    rookery
}

/// The agent under limits, with a home of its own that any user may use.
struct Limited {
    home: Home,
    core: Child,
}

/// What became of a start.
#[derive(Debug, PartialEq)]
enum Start {
    Runs,
    Ended(Option<i32>, String),
}

impl Limited {
    /// Starts it with limits in the words of prlimit(1).
    fn start(rookery: &PretendBox, limits: &str, config: &str) -> Self {
        let home = Home::new();
        home.configure(config);
        fs::set_permissions(home.path("."), fs::Permissions::from_mode(0o777)).unwrap();
        let program = home.path("traylight");
        fs::copy(traylight(), &program).unwrap();
        let plain = home.command(&program, "run");
        let mut command = if rustix::process::geteuid().is_root() {
            let mut as_nobody_else = Command::new("setpriv");
            as_nobody_else.args(["--clear-groups", "--reuid"]);
            as_nobody_else.arg(NOBODY_ELSE.fetch_add(1, Ordering::Relaxed).to_string()).arg("prlimit");
            as_nobody_else
        } else {
            Command::new("prlimit")
        };
        command.args(limits.split(' ')).arg("--").arg(plain.get_program()).args(plain.get_args());
        command.arg("--root").arg(rookery.root()).args(["--log", "json"]);
        command.env_remove("NOTIFY_SOCKET").env_remove("JOURNAL_STREAM").current_dir("/");
        command.stdout(File::create(home.path("out")).unwrap()).stderr(File::create(home.path("err")).unwrap());
        let core = command.spawn().unwrap();
        Self { home, core }
    }

    fn text(&self, name: &str) -> String {
        fs::read_to_string(self.home.path(name)).unwrap_or_default()
    }

    /// Whether it runs or how it ended.
    fn started(&mut self) -> Start {
        wait_until("a start or an end", 60, || match self.core.try_wait().unwrap() {
            Some(status) => Ok(Start::Ended(status.code(), self.text("err"))),
            None if self.text("out").contains("\"started\"") => Ok(Start::Runs),
            None => Err(self.text("out")),
        })
        .unwrap()
    }

    /// Stops it as its owner would; it must still be there for that.
    fn stops(&mut self, name: &str) {
        signal("TERM", self.core.id());
        let ended = || self.core.try_wait().unwrap().ok_or("a core that runs on");
        let status = wait_until("its end", 60, ended).unwrap();
        let (out, err) = (self.text("out"), self.text("err"));
        assert!(status.success() && !err.contains("panicked"), "{name}: {status}\n{out}\n{err}");
    }
}

impl Drop for Limited {
    fn drop(&mut self) {
        let _ = self.core.kill();
        let _ = self.core.wait();
    }
}

/// A way to a name that must be looked up; nobody listens there.
fn to_nobody() -> String {
    "[[alerts.webhook]]\nname = 'hook'\nurl = 'http://localhost:1/'\n".to_owned()
}

#[test]
fn too_few_descriptors_are_said_at_the_start() {
    let rookery = rookery();
    let (mut refused, mut runs) = (0, 0);
    for limit in [6, 12, 24, 42, 48, 96] {
        let mut agent = Limited::start(&rookery, &format!("--nofile={limit}:{limit}"), &to_nobody());
        match agent.started() {
            Start::Runs => {
                runs += 1;
                agent.stops(&limit.to_string());
            }
            Start::Ended(code, said) => {
                refused += 1;
                assert_eq!(code, Some(1), "{limit}: {said}");
                assert!(said.contains("raise LimitNOFILE=") || limit < 8, "{limit}: {said}");
                assert!(!said.contains("panicked"), "{limit}: {said}");
            }
        }
    }
    assert!(refused >= 3 && runs >= 2, "{refused} {runs}");
}

#[test]
fn too_few_threads_are_said_at_the_start_and_cost_a_lookup_later() {
    let rookery = rookery();
    for limit in [1, 4, 12] {
        let mut agent = Limited::start(&rookery, &format!("--nproc={limit}:{limit}"), &to_nobody());
        let Start::Ended(code, said) = agent.started() else { panic!("{limit}: it runs") };
        assert_eq!(code, Some(1), "{limit}: {said}");
        let wanted = format!("found only {}", limit - 1);
        assert!(said.contains(&wanted) || !rustix::process::geteuid().is_root(), "{limit}: {said}");
        assert!(said.contains("raise TasksMax="), "{limit}: {said}");
    }
}

/// Each drive's thread is taken before the channel is tried for the first time.
#[test]
fn a_lookup_without_a_thread_is_a_failure_of_its_channel() {
    if !rustix::process::geteuid().is_root() {
        // The limit counts what else the user runs, so no number is right.
        eprintln!("only root can be another user, and this story needs one");
        return;
    }
    let rookery = rookery();
    let mut agent = Limited::start(&rookery, "--nproc=13:13", &to_nobody());
    assert_eq!(agent.started(), Start::Runs);
    agent.home.state_with("a reading", |state| state["drives"][0].is_object());
    let asked = agent.home.run("alerts", &["--test", "hook"]);
    assert!(String::from_utf8_lossy(&asked.stderr).contains("out of threads to look up localhost"), "{asked:?}");
    let fails = || {
        let out = agent.text("out");
        out.lines().find(|line| line.contains("channel-fails")).map(str::to_owned).ok_or(out)
    };
    let fails = wait_until("that the way fails", 60, fails).unwrap();
    assert!(fails.contains("out of threads to look up localhost"), "{fails}");
    agent.stops("13");
}

/// The other side of the same: with room to spare the name is found, and nobody is there.
#[test]
fn a_lookup_with_a_thread_finds_that_nobody_is_there() {
    let home = Home::new();
    home.configure(&to_nobody());
    let rookery = rookery();
    let mut agent = crate::running::Running::start(&home, rookery.root());
    home.state_with("a reading", |state| state["drives"][0].is_object());
    let asked = home.run("alerts", &["--test", "hook"]);
    assert!(!asked.status.success() && String::from_utf8_lossy(&asked.stderr).contains("refused"), "{asked:?}");
    let fails = agent.hears("channel-fails");
    assert!(crate::message(&fails).contains("refused"), "{fails}");
}
