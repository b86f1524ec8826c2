//! How much memory the program takes when everybody who can reach it wants to do harm at once: the unit's `MemoryMax=` is
//! chosen by this.

use crate::commands::{NOBODY, is_root};
use crate::running::{Home, Running};
use std::fs;
use std::os::unix::net::UnixStream;
use std::path::Path;
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use traylight_tests::authority::Authority;
use traylight_tests::pretend_box::PretendBox;
use traylight_tests::stranger::Step::{Encrypt, Hear, HearRequest, Pour, Say};
use traylight_tests::stranger::{BEFORE_TLS, Stranger};

/// More drives than any box of one's own has.
const DRIVES: u64 = 300;

/// The most memory that a process ever had for its own, in KiB (proc_pid_status(5), VmHWM).
fn peak(process: u32) -> u64 {
    let status = fs::read_to_string(format!("/proc/{process}/status")).unwrap();
    let line = status.lines().find_map(|line| line.strip_prefix("VmHWM:")).unwrap();
    line.trim().strip_suffix(" kB").unwrap().trim().parse().unwrap()
}

/// What the unit allows, in KiB.
fn allowed() -> u64 {
    let unit = Path::new(env!("CARGO_MANIFEST_DIR")).join("../systemd/traylight.service");
    let text = fs::read_to_string(unit).unwrap();
    let megabytes = text.lines().find_map(|line| line.strip_prefix("MemoryMax=")?.strip_suffix('M')).unwrap();
    megabytes.parse::<u64>().unwrap() << 10
}

#[test]
fn a_flood_from_all_sides_stays_far_below_what_the_unit_allows() {
    assert!(is_root(), "this story needs root, to become somebody else");
    let (rookery, home, authority) = (PretendBox::new(), Home::new(), Authority::new());
    for port in 1..=DRIVES {
        let batch = |place: u64| char::from(b'a' + (place % 26) as u8);
        let device = format!("sd{}{}", batch((port - 1) / 26), batch(port - 1));
        rookery.sata_drive(&device, port, &format!("ROOK-{port:04}"), "Warbler 4T");
    }
    let pour = |steps: &[_]| Stranger::start(&authority, steps);
    let mail = pour(&[&BEFORE_TLS[..], &[Encrypt, Hear, Pour(b"a")]].concat());
    let hook = pour(&[Encrypt, HearRequest, Say(b"HTTP/1.1 200 OK\r\n"), Pour(b"a: b\r\n")]);
    let broker = pour(&[Say(b"\x20\x02\x00\x00"), Pour(b"\x30\x03\x00\x01a")]);
    let beat = pour(&[Encrypt, HearRequest, Pour(b"HTTP/1.1 100 Continue\r\n\r\n")]);
    let ca = authority.ca().display().to_string();
    let ports = [mail.port, hook.port, broker.port, beat.port];
    home.configure(&format!(
        "[alerts]\nheartbeat_url = 'https://127.0.0.1:{}/'\nheartbeat_ca_file = '{ca}'\n\
         [[alerts.mail]]\nname = 'mail'\nserver = '127.0.0.1'\nport = {}\nca_file = '{ca}'\nfrom = 'heron@example.org'\n\
         to = ['keeper@example.org']\n\
         [[alerts.webhook]]\nname = 'hook'\nurl = 'https://127.0.0.1:{}/'\nca_file = '{ca}'\n\
         [[alerts.mqtt]]\nname = 'broker'\nserver = '127.0.0.1'\nport = {}\ntls = false\n",
        ports[3], ports[0], ports[1], ports[2]
    ));
    let mut agent = Running::start(&home, rookery.root());
    home.state_with("a reading of all drives", |state| {
        state["drives"].as_array().is_some_and(|drives| drives.len() as u64 == DRIVES)
    });
    let calm = peak(agent.core());
    // Those who want the state and never read it: strangers, and the agent's own user.
    let stop = Arc::new(AtomicBool::new(false));
    let floods = [NOBODY, NOBODY - 1, 0].map(|user| {
        let (path, stop) = (home.path("run/state.sock"), Arc::clone(&stop));
        std::thread::spawn(move || {
            // The rights of this thread only (setresuid(2) of the kernel, not of the C library).
            let user = rustix::process::Uid::from_raw(user);
            rustix::thread::set_thread_res_uid(user, user, user).unwrap();
            let mut held = Vec::new();
            while !stop.load(Ordering::Relaxed) {
                held.extend(UnixStream::connect(&path));
                if held.len() == 100 {
                    held.clear();
                }
            }
        })
    });
    for channel in ["mail", "hook", "broker"] {
        home.run("alerts", &["--test", channel]);
    }
    // The broker may confirm its message before its flood is noticed.
    let strangers = [&mail, &hook, &broker, &beat];
    let fails = ["mail", "hook", "heartbeat"].map(|_| agent.hears_any(&["channel-fails", "heartbeat-fails"]));
    let begun = || strangers.iter().all(|stranger| stranger.poured() > 0).then_some(()).ok_or("not all pour");
    traylight_tests::lab::wait::wait_until("that all pour", 60, begun).unwrap();
    stop.store(true, Ordering::Relaxed);
    floods.into_iter().for_each(|flood| flood.join().unwrap());
    let (core, probe, launcher) = (peak(agent.core()), peak(agent.probe()), peak(agent.launcher()));
    let poured = strangers.map(Stranger::poured);
    eprintln!(
        "{DRIVES} drives, KiB: core {calm}, flooded {core}; probe {probe}; launcher {launcher}; poured {poured:?}"
    );
    let whole = core + probe + launcher;
    assert!(4 * whole < 3 * allowed(), "{whole} KiB of {} allowed: {fails:?}", allowed());
    assert!(core < calm + (24 << 10), "the core had {calm} KiB, and {core} in the flood");
}
