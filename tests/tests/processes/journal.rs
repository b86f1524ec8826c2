//! The log in systemd's journal, with the real journald in a namespace of its own and `journalctl` as the judge of what
//! it understood.

use crate::commands::is_root;
use crate::heron;
use crate::running::Home;
use serde_json::Value;
use std::path::Path;
use std::process::Command;
use traylight_tests::binary::traylight;

const JOURNALD: &str = "/lib/systemd/systemd-journald";
/// The identifier of a pool that is degraded, to the letter: people search by it.
const POOL_DEGRADED: &str = "cd2fd2310b215dac8479554b833798b3";

/// Starts journald and the agent where nobody else sees either, and prints what `journalctl` finds by the fields given.
const PLAY: &str = r#"
set -e
mount -t tmpfs tmpfs /run
mkdir -p /run/systemd/journal /run/log/journal
"$1" 2>/dev/null &
journald=$!
until [ -S /run/systemd/journal/socket ]; do sleep 0.1; done
shift
found="journalctl --directory /run/log/journal/$(cat /etc/machine-id) --output json --quiet MESSAGE_ID=$1 TRAYLIGHT_EVENT=opened"
shift
"$@" &
agent=$!
tries=0
until [ -n "$($found)" ] || [ $tries -gt 300 ]; do tries=$((tries + 1)); sleep 0.2; done
$found
kill $agent
wait $agent || true
kill $journald
"#;

#[test]
fn a_condition_is_found_in_the_journal_by_its_message_id() {
    assert!(is_root() && Path::new(JOURNALD).exists(), "this story needs systemd's journald, and root to mount");
    let (heron, home) = (heron(), Home::new());
    home.configure("[grace]\npools = \"1 ms\"\n");
    heron.write("/sys/block/md0/md/degraded", "1\n").write("/sys/block/md0/md/dev-sdd/state", "faulty\n");
    let run = home.command(traylight(), "run");
    let mut played = Command::new("unshare");
    played.args(["--mount", "sh", "-c", PLAY, "sh", JOURNALD, POOL_DEGRADED]).arg(run.get_program());
    played.args(run.get_args()).arg("--root").arg(heron.root()).args(["--log", "journal"]);
    let output = played.output().unwrap();
    let said = String::from_utf8(output.stdout).unwrap();
    let entry: Value = serde_json::from_str(said.lines().next().unwrap_or_default())
        .unwrap_or_else(|error| panic!("{error}: {said:?} {}", String::from_utf8_lossy(&output.stderr)));
    for (field, wanted) in [
        ("PRIORITY", "4"),
        ("SYSLOG_IDENTIFIER", "traylight"),
        ("_TRANSPORT", "journal"),
        ("TRAYLIGHT_CONDITION", "pool-degraded"),
        ("TRAYLIGHT_SEVERITY", "warning"),
    ] {
        assert_eq!(entry[field], wanted, "{field}: {said}");
    }
    assert!(entry["MESSAGE"].as_str().unwrap().contains("md0"), "{said}");
}
