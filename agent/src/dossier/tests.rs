//! A box with a canary in every place: none is in the dossier, and the same drive has the same pseudonym everywhere.

use super::*;
use crate::clock::Moment;
use crate::demo::{self, heron, story};
use crate::judge::{Memory, judge};
use crate::pseudonyms::{IdentityKind, Known};
use crate::reading::{Itself, MemberState, Snapshot, Unmounted};
use crate::serve::history_part::{Closed, History};
use crate::survey::{Surroundings, SurveyInput, survey};
use crate::verdict::{IncidentId, Severity};
use std::time::Duration;
use traylight_config::{settle, without_secrets};

const CONFIGURATION: &str = "\
[box]
name = 'canary-box'
language = 'de' # canary-comment
[[shelf]]
name = 'top'
[[shelf.tray]]
label = 'A1'
serial = 'QX77-CAN01'
[[shelf.tray]]
label = 'A2'
serial = 'QX77-CAN09'
[watch]
ignore_volumes = ['/srv/canary-ignored']
[alerts]
heartbeat_url = 'https://canary-beat.example.org/canary-beat-token'
[[alerts.mail]]
name = 'keeper'
server = 'canary-mail.example.org'
user = 'canary-login'
password_file = '/etc/canary-word'
from = 'canary-from@example.org'
to = ['canary-to@canary-domain.example']
[[alerts.mqtt]]
name = 'broker'
server = 'canary-broker'
user = 'canary-mqtt'
password_file = '/etc/canary-mqtt-word'
topic = 'canary-topic/x'
[[alerts.webhook]]
name = 'hook'
url = 'https://canary-hook.example.org/canary-path?token=canary-token'
headers = ['X-Key: canary-header']
token_credential = 'canary-credential'
";

/// What must not be in a dossier, in small letters; the last four of each serial are among them.
const CANARIES: [&str; 20] = [
    "canary", "qx77", "can01", "an01", "an02", "an09", "an0k", "cafe", "0c1f9b4e", "7c3e", "02:42", "192.0.2",
    "2001:db8", "hooks", "t0ken", "hunter2", "yvette", "quux", "quenya", "514558",
];

fn snapshot() -> Snapshot {
    let scene = story::scene(Duration::ZERO);
    let mut snapshot = heron::snapshot(Moment::after_boot(Duration::from_secs(86_400)), &scene);
    snapshot.board.name = "canary-host".to_owned();
    snapshot.board.address = Some("192.0.2.77".to_owned());
    for (drive, (serial, wwn)) in
        snapshot.drives.iter_mut().zip([("QX77-CAN01", "5000c500cafe0001"), ("QX77-CAN02", "5000c500cafe0002")])
    {
        drive.key.0 = serial.to_owned();
        drive.serial = Some(serial.to_owned());
        drive.wwn = Some(wwn.to_owned());
    }
    let pool = &mut snapshot.pools[0];
    pool.key = "0c1f9b4e:7a554c0e:9d3c6a1f:00aa11bb".to_owned();
    pool.name = "canary-pool".to_owned();
    pool.missing = Some(1);
    pool.members[1].state = MemberState::Faulty;
    snapshot.volumes[0].mount = "/srv/canary-share".to_owned();
    snapshot.volumes[0].source = "/dev/mapper/canaryvg-canarylv".to_owned();
    snapshot.unmounted = [("/mnt/canary mount", "canary-server:/quenya"), ("/mnt/x", "LABEL=canary-label")]
        .map(|(mount, source)| Unmounted { mount: mount.to_owned(), source: source.to_owned() })
        .to_vec();
    snapshot
}

fn kernel_lines() -> Vec<String> {
    [
        "usb 1-1: SerialNumber: QX77-CAN01",
        "usb 1-2: SerialNumber: QX77-CAN0K",
        "sd 2:0:0:0: [sda] wwid naa.5000C500CAFE0001, nvme.1b36-514558373731-5765-00000001",
        "BTRFS info (device sda): label canary-label of 0c1f9b4e7a554c0e9d3c6a1f00aa11bb, /dev/disk/by-uuid/7C3E-22F0",
        "eth0: 02:42:ac:11:00:02 at 192.0.2.78 and 2001:db8::17 of yvette@hooks.example.org",
        "md/raid:CANARY-POOL: /home/yvette/x of Yvette Quux: https://hooks.example.org/T0KEN, password=hunter2",
        "ata1.00: serial ..AN02",
    ]
    .map(str::to_owned)
    .to_vec()
}

fn contents() -> (Contents, Pseudonyms) {
    let settings = settle(CONFIGURATION, "traylight.toml").expect("it has no mistakes");
    let (snapshot, wall) = (snapshot(), demo::dawn().expect("there is a dawn"));
    let mut memory = Memory::for_a_single_look();
    judge(&settings, &mut memory, snapshot.taken, Some(&snapshot), &Itself::default());
    let (verdict, _) = judge(&settings, &mut memory, snapshot.taken, Some(&snapshot), &Itself::default());
    let mut document = Document::new(&settings, &verdict, &snapshot, &wall);
    let closed = Closed {
        id: IncidentId(3),
        severity: Severity::Warning,
        headline: "DRIVE ..AN01 GONE".to_owned(),
        owners_headline: Some("LW ..AN01 WEG".to_owned()),
        closed_at: Some("2026-06-01T10:00:00+00:00".to_owned()),
        lasted_s: Some(60),
        part_of: None,
    };
    document.history = Some(History { complete_since: None, incidents: vec![closed] });
    let surroundings = Surroundings::default();
    let config = std::path::Path::new("/etc/traylight/traylight.toml");
    let found = SurveyInput {
        snapshot: &snapshot,
        settings: &settings,
        config,
        surroundings: &surroundings,
        address_checks: &[],
    };
    let mut known = Known::default();
    known.add_settings(&settings);
    known.add_snapshot(&snapshot);
    known.add_document(&document);
    known.add(IdentityKind::User, "yvette");
    known.add(IdentityKind::User, "Yvette Quux");
    let contents = Contents {
        survey: Ok(survey(&found)),
        document: Ok(document),
        no_agent: None,
        kernel_lines: Ok(kernel_lines()),
        configuration: Ok(without_secrets(CONFIGURATION)),
        wall,
    };
    (contents, Pseudonyms::new(&known).expect("there are few values"))
}

fn written() -> String {
    let (contents, mut pseudonyms) = contents();
    dossier(contents, &mut pseudonyms)
}

/// The part under this title.
fn part<'a>(text: &'a str, title: &str) -> &'a str {
    let (_, part) = text.split_once(&format!("\n==== {title} ====\n")).expect("there is this part");
    part.split("\n==== ").next().unwrap_or_default()
}

#[test]
fn no_canary_is_in_it() {
    let text = written();
    let small = text.to_lowercase();
    for canary in CANARIES {
        let found: Vec<&str> = small.lines().filter(|line| line.contains(canary)).collect();
        assert_eq!(found, [""; 0], "{canary}");
    }
    assert!(text.starts_with("traylight dossier\n\nReplaced by pseudonyms: "), "{text}");
    assert!(text.len() > 3_000 && text.lines().count() > 100, "that is not the whole:\n{text}");
}

#[test]
fn a_drive_has_one_pseudonym_everywhere_and_two_drives_have_two() {
    let text = written();
    let of = |device: &str| {
        let row = part(&text, "State").lines().find(|line| line.ends_with(device)).expect("it has a row");
        row.split_whitespace().rev().nth(1).expect("it has a serial").to_owned()
    };
    let (first, second) = (of("sda"), of("sdb"));
    assert!(first.starts_with("serial-") && second.starts_with("serial-") && first != second, "{first}, {second}");
    for (title, wanted) in [
        ("Configuration", format!("serial = '{first}'")),
        ("Kernel log", format!("SerialNumber: {first}")),
        ("Kernel log", format!("serial {second}")),
        ("Closed incidents", format!("DRIVE {first} GONE")),
        ("Open incidents", second.clone()),
        ("Survey", first.clone()),
        ("Drives in full", second),
    ] {
        assert!(part(&text, title).contains(&wanted), "{wanted} in {title}:\n{}", part(&text, title));
    }
}

#[test]
fn it_is_in_english_and_what_could_not_be_had_has_its_reason() {
    let text = written();
    assert!(text.contains("Closed incidents") && !text.contains("WEG") && !text.contains("Laufwerk"), "{text}");
    let (mut contents, mut pseudonyms) = contents();
    contents.document = Err("no reading within 30 s from canary-host".to_owned());
    contents.kernel_lines = Err("no permission".to_owned());
    contents.configuration = Err("line 3 has a mistake".to_owned());
    let text = dossier(contents, &mut pseudonyms);
    for title in ["State", "Open incidents", "Closed incidents", "Controllers", "Drives in full"] {
        assert_eq!(part(&text, title), "not available: no reading within 30 s from host-1\n", "{title}");
    }
    assert_eq!(part(&text, "Kernel log"), "not available: no permission\n");
    assert_eq!(part(&text, "Configuration"), "not available: line 3 has a mistake\n");
}

#[test]
fn it_has_a_greatest_length_and_says_what_is_left_out() {
    let (mut contents, mut pseudonyms) = contents();
    contents.kernel_lines = Ok(vec!["ata1.00: failed command: READ FPDMA QUEUED".to_owned(); 20_000]);
    contents.configuration = Ok("page_seconds = 6\n".repeat(60_000));
    let text = dossier(contents, &mut pseudonyms);
    assert!(text.len() < 512 << 10, "{} bytes", text.len());
    let kernel = part(&text, "Kernel log");
    let kept = kernel.lines().filter(|line| line.starts_with("ata1.00")).count();
    assert!(kernel.contains(&format!("\n{} more lines are left out\n", 20_000 - kept)) && kept > 1_000, "{kept}");
}
