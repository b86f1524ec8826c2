//! Commands that look once and end: what they print, to whom, and their exit codes.

use crate::heron;
use crate::running::{Home, Running, is_gone};
use serde_json::Value;
use std::collections::BTreeSet;
use std::fs;
use std::io::{Read, Write};
use std::os::fd::OwnedFd;
use std::os::unix::net::UnixStream;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Command, Stdio};
use traylight::probe::order::ProbeOrder;
use traylight::probe::schedule::Schedule;
use traylight::probe::wire::{self, Decoder};
use traylight::reading::Snapshot;
use traylight_tests::binary::traylight;
use traylight_tests::pretend_box::PretendBox;

/// Who owns nothing and may do nothing, by custom `nobody`.
pub const NOBODY: u32 = 65534;

fn look(home: &Home, heron: &PretendBox) -> (Option<i32>, Value) {
    let output = home.run("look", &["--json", "--root", heron.root().to_str().unwrap()]);
    let said = String::from_utf8_lossy(&output.stderr).into_owned();
    let state = serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {said}"));
    (output.status.code(), state)
}

#[test]
fn the_exit_code_of_a_look_says_how_bad_it_is() {
    let (heron, home) = (heron(), Home::new());
    let (code, whole) = look(&home, &heron);
    assert_eq!((code, &whole["conditions"]), (Some(0), &Value::Array(Vec::new())), "{whole:#}");

    let lose = |device: &str, count: &str| {
        heron.write("/sys/block/md0/md/degraded", count);
        heron.write(&format!("/sys/block/md0/md/dev-{device}/state"), "faulty\n");
    };
    lose("sdd", "1\n");
    let (code, one_lost) = look(&home, &heron);
    assert_eq!((code, &one_lost["standing"]), (Some(10), &"warning".into()), "{one_lost:#}");

    lose("sdc", "2\n");
    let (code, two_lost) = look(&home, &heron);
    assert_eq!((code, &two_lost["standing"]), (Some(20), &"critical".into()), "{two_lost:#}");
}

#[test]
fn the_state_through_the_socket_has_the_keys_of_the_schema() {
    let (heron, home) = (heron(), Home::new());
    heron.nvme("nvme0n1", "FINCH-01", "Finch 500G").port("eth0", 2500).zone("x86_pkg_temp", 44.0);
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    home.configure("[grace]\npools = \"1 ms\"\n");
    let _agent = Running::start(&home, heron.root());
    home.state_with("a condition", |state| state["conditions"][0].is_object());
    let output = home.run("look", &["--json"]);
    let state: Value = serde_json::from_slice(&output.stdout).unwrap();
    assert_eq!(state["box"], "heron", "the agent's box, not this machine");
    assert_eq!(output.status.code(), Some(10));

    let file = Path::new(env!("CARGO_MANIFEST_DIR")).join("../agent/state.schema.json");
    let schema: Value = serde_json::from_str(&fs::read_to_string(file).unwrap()).unwrap();
    let mut compared = 0;
    compare_keys("state", &schema, &schema, &state, &mut compared);
    assert!(compared >= 20, "{compared} objects were compared, that is not the whole state");
}

/// Objects have the keys that their schema names, no more and no fewer; maps without named keys may have any.
fn compare_keys(at: &str, root: &Value, schema: &Value, value: &Value, compared: &mut usize) {
    let schema = match schema["$ref"].as_str() {
        Some(reference) => root.pointer(reference.trim_start_matches('#')).unwrap(),
        None => schema,
    };
    if let Some(choices) = schema["anyOf"].as_array().filter(|_| !value.is_null()) {
        let choice = choices.iter().find(|choice| choice["type"] != "null").unwrap();
        return compare_keys(at, root, choice, value, compared);
    }
    match (value, schema["properties"].as_object()) {
        (Value::Object(object), Some(properties)) => {
            let keys = |object: &serde_json::Map<String, Value>| object.keys().cloned().collect::<BTreeSet<_>>();
            assert_eq!(keys(object), keys(properties), "keys of {at}");
            *compared += 1;
            for (key, value) in object {
                compare_keys(&format!("{at}.{key}"), root, &properties[key], value, compared);
            }
        }
        (Value::Array(items), _) => {
            for (index, item) in items.iter().enumerate() {
                compare_keys(&format!("{at}[{index}]"), root, &schema["items"], item, compared);
            }
        }
        _ => {}
    }
}

#[test]
fn a_look_into_a_pipe_is_plain_text_in_the_characters_of_the_locale() {
    let (heron, home) = (heron(), Home::new());
    let printed = |locale: &str, arguments: &[&str]| {
        let mut command = home.command(traylight(), "look");
        command.args(arguments).args(["--root", heron.root().to_str().unwrap()]);
        let output = command.env("LC_ALL", locale).output().unwrap();
        (String::from_utf8(output.stdout).unwrap(), String::from_utf8(output.stderr).unwrap())
    };
    let (unicode, _) = printed("C.UTF-8", &[]);
    assert!(unicode.contains(" °C") && !unicode.contains('\x1b'), "{unicode}");
    let (ascii, _) = printed("C", &[]);
    assert!(ascii.is_ascii() && ascii.contains("41 C\n"), "{ascii}");
    let (one, _) = printed("C.UTF-8", &["sda"]);
    assert!(one.contains("\ntemperature\n  now: "), "{one}");
    assert!(printed("C", &["sdz"]).1.contains("found `sdz`"));
    assert!(printed("C", &["--watch"]).1.contains("expected a terminal for --watch, found a pipe"));
}

#[test]
fn a_look_needs_no_rights() {
    let (heron, home) = (heron(), Home::new());
    let as_nobody = |arguments: &[&str]| {
        let mut command = home.command(traylight(), "look");
        command.arg("--json").args(arguments);
        if is_root() {
            command.uid(NOBODY).gid(NOBODY);
        }
        let output = command.output().unwrap();
        let said = String::from_utf8_lossy(&output.stderr).into_owned();
        let state: Value = serde_json::from_slice(&output.stdout).unwrap_or_else(|error| panic!("{error}: {said}"));
        assert!(matches!(output.status.code(), Some(0 | 3 | 10 | 20)), "{:?}", output.status);
        state
    };
    // This machine, whatever it has; then a tree; then through the agent.
    assert_eq!(as_nobody(&[])["schema"], 1);
    let tree = as_nobody(&["--root", heron.root().to_str().unwrap()]);
    assert_eq!((&tree["box"], tree["drives"].as_array().unwrap().len()), (&"heron".into(), 4));
    let _agent = Running::start(&home, heron.root());
    home.state_with("the first reading", |_| true);
    assert_eq!(as_nobody(&[])["box"], "heron");
}

/// Whether the test itself may become somebody else.
pub fn is_root() -> bool {
    let me = fs::read_to_string("/proc/self/status").unwrap();
    me.lines().any(|line| line.starts_with("Uid:\t0\t0\t"))
}

#[test]
fn a_check_names_every_mistake_and_its_place() {
    let home = Home::new();
    let check = |bytes: &[u8]| {
        fs::write(home.path("traylight.toml"), bytes).unwrap();
        let output = home.run("check", &[]);
        let said = [output.stdout, output.stderr].concat();
        (output.status.code(), String::from_utf8(said).unwrap().replace(home.path("").to_str().unwrap(), ""))
    };
    assert_eq!(check(b""), (Some(0), "traylight.toml: no problems, 0 shelves, 0 trays\n".to_owned()));

    let (code, said) = check(b"[box]\nnam = \"heron\"\n\n[panel]\npage_seconds = 2\n");
    assert_eq!(code, Some(1));
    for wanted in ["traylight.toml:2:1", "`nam`", "traylight.toml:5:16", "page_seconds"] {
        assert!(said.contains(wanted), "{wanted} is not in:\n{said}");
    }
    let (code, said) = check(b"[box]\nname = \"\xff\"\n");
    assert_eq!(code, Some(1));
    assert_eq!(said, "traylight: traylight.toml: expected UTF-8 text, found other bytes at byte 14\n");
    let (code, said) = check(&vec![b'#'; 10 << 20]);
    assert_eq!(code, Some(1));
    assert_eq!(said, "traylight: traylight.toml: expected a configuration file, found more than 262144 bytes\n");
    let (code, said) = check(b"[box\n");
    assert_eq!(code, Some(1));
    assert!(said.contains("traylight.toml:1:"), "{said}");

    fs::remove_file(home.path("traylight.toml")).unwrap();
    let absent = home.run("check", &[]);
    assert_eq!(absent.status.code(), Some(1), "a file that was named and is not there is a mistake");
    fs::create_dir(home.path("traylight.toml")).unwrap();
    assert_eq!(home.run("check", &[]).status.code(), Some(1), "a folder is no configuration");
}

#[test]
fn an_agent_with_a_bad_configuration_does_not_start() {
    let (heron, home) = (heron(), Home::new());
    home.configure("[panel]\npage_seconds = 2\n");
    let output = home.run("run", &["--root", heron.root().to_str().unwrap()]);
    assert_eq!(output.status.code(), Some(1));
    assert!(String::from_utf8(output.stderr).unwrap().contains("page_seconds"));
    assert!(!home.path("run/state.sock").exists());
}

#[test]
fn a_probe_speaks_to_whoever_holds_its_socket_and_ends_when_nobody_does() {
    let heron = heron();
    let (mut ours, theirs) = UnixStream::pair().unwrap();
    let mut command = Command::new(traylight());
    command.args(["probe", "--root"]).arg(heron.root()).stdin(Stdio::from(OwnedFd::from(theirs)));
    let mut probe = command.spawn().unwrap();
    // The command holds the other end open too.
    drop(command);
    let mut decoder = Decoder::default();
    let mut piece = [0; 4096];
    let snapshot = loop {
        if let Some(snapshot) = decoder.next_message::<Snapshot>().unwrap() {
            break snapshot;
        }
        let length = ours.read(&mut piece).unwrap();
        assert_ne!(length, 0, "the probe ended");
        decoder.push(&piece[..length]);
    };
    assert_eq!(snapshot.board.name, "heron");
    let schedule = Schedule { short_every_days: 7, long_every_days: 90 };
    ours.write_all(&wire::encode(&ProbeOrder::Schedule(schedule)).unwrap()).unwrap();
    while decoder.next_message::<Snapshot>().unwrap().is_none() {
        let length = ours.read(&mut piece).unwrap();
        assert_ne!(length, 0, "the probe ended at an order");
        decoder.push(&piece[..length]);
    }
    drop(ours);
    is_gone(probe.id());
    assert_eq!(probe.wait().unwrap().code(), Some(0));
}

#[test]
fn a_probe_that_is_told_nonsense_ends() {
    let heron = heron();
    let (mut ours, theirs) = UnixStream::pair().unwrap();
    let mut command = Command::new(traylight());
    command.args(["probe", "--root"]).arg(heron.root()).stdin(Stdio::from(OwnedFd::from(theirs)));
    let probe = command.stderr(Stdio::piped()).spawn().unwrap();
    drop(command);
    ours.write_all(b"begin a self-test").unwrap();
    let output = probe.wait_with_output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.contains("expected a message that starts with `tray`"), "{said}");
}

#[test]
fn a_self_test_is_begun_by_nobody_who_did_not_mean_it() {
    let home = Home::new();
    let self_test = |arguments: &[&str]| {
        let output = home.run("self-test", arguments);
        (output.status.code(), String::from_utf8(output.stderr).unwrap())
    };
    let (code, said) = self_test(&["short", "A1"]);
    assert_eq!(code, Some(2), "no terminal, no --yes");
    assert!(said.contains("expected a terminal, or --yes, found neither"), "{said}");
    for wrong in [&["short"][..], &["A1"], &["--yes"], &["captive", "A1"]] {
        assert_eq!(self_test(wrong).0, Some(2), "{wrong:?}");
    }
    let (code, said) = self_test(&["stop", "no-such-tray"]);
    assert_eq!(code, Some(1));
    assert!(said.contains("found `no-such-tray`"), "{said}");
}

#[test]
fn a_probe_that_nobody_started_for_its_socket_says_so() {
    let output = Command::new(traylight()).arg("probe").stdin(Stdio::null()).output().unwrap();
    assert_eq!(output.status.code(), Some(1));
    let said = String::from_utf8(output.stderr).unwrap();
    assert!(said.starts_with("traylight: found a standard input that is no socket"), "{said}");
}

/// For a serial line, a display of Braille and a screen reader; where only ASCII can be shown, what has none is a question
/// mark.
#[test]
fn the_panel_in_words_has_the_letters_of_the_locale_and_what_matters_is_first() {
    let (heron, home) = (heron(), Home::new());
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    home.configure("[box]\nname = '鳥'\nlanguage = 'de'\n[grace]\npools = \"1 ms\"\n");
    let root = heron.root().to_str().unwrap();
    let words = |locale: &str| {
        let mut command = home.command(traylight(), "panel");
        let output = command.args(["--text", "--root", root]).env("LC_ALL", locale).output().unwrap();
        assert!(output.status.success());
        String::from_utf8(output.stdout).unwrap()
    };
    let (ascii, letters) = (words("C"), words("C.UTF-8"));
    for words in [&ascii, &letters] {
        let first = words.lines().next().unwrap();
        assert!(first.starts_with("WARNUNG. md0 ") && first.ends_with('.'), "{words}");
    }
    assert!(ascii.is_ascii() && ascii.contains("\nBOX: ? laeuft "), "{ascii}");
    assert!(letters.contains("\nBOX: 鳥 läuft "), "{letters}");
}

#[test]
fn the_panel_is_drawn_as_the_locale_allows_and_pictures_say_where_they_are() {
    let (heron, home) = (heron(), Home::new());
    let root = heron.root().to_str().unwrap();
    let drawn = |locale: &str| {
        let mut command = home.command(traylight(), "panel");
        let output = command.args(["--root", root]).env("LC_ALL", locale).output().unwrap();
        String::from_utf8(output.stdout).unwrap()
    };
    assert!(drawn("C").is_ascii() && drawn("C").contains("state\n"));
    assert!(drawn("C.UTF-8").contains("╭─"));
    let folder = home.path("pictures");
    let output = home.run("panel", &["--png", folder.to_str().unwrap(), "--root", root]);
    let words = String::from_utf8(output.stdout).unwrap();
    assert!(words.starts_with(&format!("wrote {}/state.png\n", folder.display())), "{words}");
    assert!(words.lines().all(|line| Path::new(line.strip_prefix("wrote ").unwrap()).is_file()), "{words}");
}
