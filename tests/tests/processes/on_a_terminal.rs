//! Commands as a person starts them: on a terminal, which may be closed. `run` shows short lines and the panel there, `look`
//! --watch the whole screen.

use super::heron;
use super::running::{Home, signal};
use rustix::process::{ioctl_tiocsctty, setsid};
use rustix::pty::{OpenptFlags, grantpt, openpt, ptsname, unlockpt};
use rustix::termios::{Winsize, tcsetwinsize};
use std::fs::{File, OpenOptions};
use std::io::{self, Read, Write};
use std::os::fd::{AsFd, OwnedFd};
use std::os::unix::ffi::OsStrExt;
use std::os::unix::fs::OpenOptionsExt;
use std::os::unix::process::CommandExt;
use std::process::{Child, Command, Stdio};
use std::sync::{Arc, Mutex};
use traylight_tests::binary::traylight;
use traylight_tests::lab::wait::wait_until;
use traylight_tests::pretend_box::PretendBox;

/// A command on a terminal of its own, and what it has printed.
pub struct OnTerminal {
    agent: Child,
    keyboard: File,
    printed: Arc<Mutex<String>>,
}

impl OnTerminal {
    pub fn start(home: &Home, heron: &PretendBox, command: &str, arguments: &[&str]) -> Self {
        Self::start_on("xterm", 80, home, heron, command, arguments)
    }

    /// The same on a terminal of this kind and width.
    pub fn start_on(
        kind: &str,
        columns: u16,
        home: &Home,
        heron: &PretendBox,
        command: &str,
        arguments: &[&str],
    ) -> Self {
        let keyboard = openpt(OpenptFlags::RDWR | OpenptFlags::NOCTTY | OpenptFlags::CLOEXEC).unwrap();
        grantpt(&keyboard).unwrap();
        unlockpt(&keyboard).unwrap();
        let name = ptsname(&keyboard, Vec::new()).unwrap();
        let path = std::path::Path::new(std::ffi::OsStr::from_bytes(name.as_bytes())).to_owned();
        let screen: OwnedFd = OpenOptions::new().read(true).write(true).open(path).unwrap().into();
        tcsetwinsize(&screen, Winsize { ws_row: 24, ws_col: columns, ws_xpixel: 0, ws_ypixel: 0 }).unwrap();
        let mut command = home.command(traylight(), command);
        command
            .env("TERM", kind)
            .env_remove("NO_COLOR")
            .env("LC_ALL", "C.UTF-8")
            .args(arguments)
            .arg("--root")
            .arg(heron.root());
        command.stdin(screen.try_clone().unwrap()).stdout(screen.try_clone().unwrap()).stderr(Stdio::from(screen));
        // SAFETY: only two system calls, which allocate nothing, between fork and exec.
        unsafe {
            command.pre_exec(|| {
                setsid()?;
                ioctl_tiocsctty(io::stdin().as_fd())?;
                Ok(())
            });
        }
        let agent = command.spawn().unwrap();
        let (printed, mut output) = (Arc::new(Mutex::new(String::new())), File::from(keyboard.try_clone().unwrap()));
        let seen = Arc::clone(&printed);
        std::thread::spawn(move || {
            let mut piece = [0; 4096];
            while let Ok(length @ 1..) = output.read(&mut piece) {
                seen.lock().unwrap().push_str(&String::from_utf8_lossy(&piece[..length]));
            }
        });
        Self { agent, keyboard: File::from(keyboard), printed }
    }

    pub fn prints(&self, wanted: &str) {
        let look = || {
            let printed = self.printed.lock().unwrap();
            if printed.contains(wanted) { Ok(()) } else { Err(format!("{printed:?}")) }
        };
        wait_until(wanted, 60, look).unwrap_or_else(|error| panic!("{error}"));
    }

    /// Waits until this is printed, then answers. What was printed until then is not looked at again.
    pub fn answers(&mut self, question: &str, answer: &str) {
        self.prints(question);
        self.printed.lock().unwrap().clear();
        self.keyboard.write_all(answer.as_bytes()).unwrap();
    }

    /// What was printed since the last answer, without control sequences.
    pub fn text(&self) -> String {
        let printed = self.printed.lock().unwrap();
        printed.lines().map(|line| without_escapes(line) + "\n").collect()
    }

    pub fn ends(&mut self) -> Option<i32> {
        let ended = || self.agent.try_wait().unwrap().ok_or_else(|| "it still runs".to_owned());
        wait_until("its end", 60, ended).unwrap_or_else(|error| panic!("{error}")).code()
    }
}

#[test]
fn a_person_reads_what_was_found_and_ctrl_c_ends_it_although_a_channel_hangs() {
    let (heron, home) = (heron(), Home::new());
    home.configure("[[alerts.command]]\nname = 'bell'\nprogram = '/bin/sleep'\narguments = ['30']\n");
    let mut run = OnTerminal::start(&home, &heron, "run", &[]);
    run.prints("Found 4 drives, 1 pool, ");
    run.prints("Not configured: a panel, trays.");
    run.prints(&format!("edit {}", home.path("traylight.toml").display()));
    assert!(!run.printed.lock().unwrap().contains("message="), "the structured line is for pipes and the journal");
    let mut test = home.command(traylight(), "alerts").args(["--test", "bell"]).spawn().unwrap();
    let is_bell = |(_, name): &(String, String)| name == "sleep";
    let under_way = || children(run.agent.id()).into_iter().find(is_bell).ok_or("no message is under way");
    let (bell, _) = wait_until("a message under way", 60, under_way).unwrap();
    run.keyboard.write_all(b"\x03").unwrap();
    assert_eq!(run.ends(), Some(0));
    run.prints("\x1b[?25h");
    // Its program ends with it; what has ended and nobody has waited for has no command line.
    let lives = || std::fs::read(format!("/proc/{bell}/cmdline")).is_ok_and(|line| !line.is_empty());
    wait_until("the end of the program", 10, || if lives() { Err("it lives on") } else { Ok(()) }).unwrap();
    let _ = test.kill();
    let _ = test.wait();
}

/// The ids and names of the processes that this one has started.
fn children(parent: u32) -> Vec<(String, String)> {
    let tasks = std::fs::read_dir(format!("/proc/{parent}/task")).unwrap().map(|task| task.unwrap().path());
    let read = |path| std::fs::read_to_string(path).unwrap_or_default();
    let started: String = tasks.map(|task| read(task.join("children"))).collect();
    let name = |id: &str| read(format!("/proc/{id}/comm").into()).trim().to_owned();
    started.split_whitespace().map(|id| (id.to_owned(), name(id))).collect()
}

#[test]
fn an_agent_ends_with_its_terminal() {
    let (heron, home) = (heron(), Home::new());
    let mut run = OnTerminal::start(&home, &heron, "run", &[]);
    run.prints("Found 4 drives");
    signal("HUP", run.agent.id());
    assert_eq!(run.ends(), Some(0));
}

#[test]
fn a_look_that_watches_draws_in_place_and_gives_the_terminal_back() {
    let (heron, home) = (heron(), Home::new());
    let mut look = OnTerminal::start(&home, &heron, "look", &["--watch"]);
    look.prints("\x1b[?1049h\x1b[?25l\x1b[H");
    look.prints("md0");
    look.printed.lock().unwrap().clear();
    look.prints("\x1b[Hheron: ");
    look.keyboard.write_all(b"\x03").unwrap();
    assert_eq!(look.ends(), Some(0));
    look.prints("\x1b[?25h\x1b[?1049l");
}

#[test]
fn a_person_reads_one_line_of_a_change_in_colour_and_in_the_owners_language() {
    let (heron, home) = (heron(), Home::new());
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    home.configure("[box]\nlanguage = 'de'\n[grace]\npools = '1 ms'\n");
    let mut run = OnTerminal::start_on("xterm", 40, &home, &heron, "run", &[]);
    run.prints("Vorfall 1: ");
    run.keyboard.write_all(b"\x03").unwrap();
    assert_eq!(run.ends(), Some(0));
    run.prints(" auf Anforderung beendet\r\n");
    let printed = run.printed.lock().unwrap().clone();
    assert!(printed.contains("Warnung:") && printed.contains("\x1b[1m\x1b[33m"), "{printed}");
    assert_eq!(printed.matches("Vorfall 1: ").count(), 1, "{printed}");
    let lines = printed.lines().map(without_escapes);
    assert!(lines.clone().all(|line| line.chars().count() <= 40), "{printed}");
    assert_eq!(lines.filter(|line| line.contains("Warnung:")).count(), 1, "{printed}");
}

/// What a terminal shows of a line (ECMA-48, 5.4: control sequences end with a byte from `@` to `~`).
fn without_escapes(line: &str) -> String {
    let mut pieces = line.trim_end_matches('\r').split("\x1b[");
    let first = pieces.next().unwrap_or_default().to_owned();
    first
        + &pieces
            .map(|piece| piece.trim_start_matches(|c: char| !('@'..='~').contains(&c)).get(1..).unwrap_or_default())
            .collect::<String>()
}

#[test]
fn a_terminal_that_moves_no_cursor_gets_plain_lines() {
    let (heron, home) = (heron(), Home::new());
    let look = OnTerminal::start_on("dumb", 80, &home, &heron, "look", &["--watch"]);
    look.prints("md0");
    look.prints("\r\n\r\nheron: ");
    let run = OnTerminal::start_on("dumb", 80, &home, &heron, "run", &[]);
    run.prints("Found 4 drives");
    for mut program in [look, run] {
        program.keyboard.write_all(b"\x03").unwrap();
        assert_eq!(program.ends(), Some(0));
        let printed = program.printed.lock().unwrap().clone();
        assert!(!printed.contains('\x1b'), "{printed:?}");
    }
}

/// The drive hangs in its thermometer: a pipe that somebody has opened to write and writes nothing into (fifo(7)). An NVMe
/// disk is asked from the start.
#[test]
fn ctrl_c_ends_it_although_a_drive_hangs() {
    let (heron, home) = (heron(), Home::new());
    heron.nvme("nvme0n1", "WREN-0009", "Warbler N");
    let thermometer = heron.path(&heron.thermometer_of("nvme0n1"));
    std::fs::remove_file(&thermometer).unwrap();
    assert!(Command::new("mkfifo").arg(&thermometer).status().unwrap().success());
    let mut run = OnTerminal::start(&home, &heron, "run", &[]);
    let at_once = rustix::fs::OFlags::NONBLOCK.bits() as i32;
    let is_asked = || OpenOptions::new().write(true).custom_flags(at_once).open(&thermometer);
    let _never_answers = wait_until("a question to the drive", 60, is_asked).unwrap();
    run.prints("Found 5 drives");
    run.keyboard.write_all(b"\x03").unwrap();
    assert_eq!(run.ends(), Some(0));
}
