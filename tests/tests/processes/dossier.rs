//! `dossier` as its owner runs it: nothing that identifies the box gets out, and the file is written whole or not at all.

use crate::commands::NOBODY;
use crate::heron;
use crate::running::{Home, Running};
use rustix::fs::{Mode, OFlags, fcntl_setfl, open};
use std::fs::{self, File};
use std::io::Write;
use std::os::unix::fs::PermissionsExt;
use std::os::unix::process::CommandExt;
use std::path::Path;
use std::process::{Command, Output};
use traylight_tests::binary::traylight;
use traylight_tests::pretend_box::PretendBox;

fn said(output: &Output) -> String {
    [&output.stdout, &output.stderr].map(|said| String::from_utf8_lossy(said).into_owned()).concat()
}

/// Writes a dossier of the box to a file of the home.
fn dossier(home: &Home, heron: &PretendBox, file: &Path) -> Output {
    home.run("dossier", &["--root", heron.root().to_str().unwrap(), file.to_str().unwrap()])
}

/// Names that only files of the system have, values of drives and pools, and a log in which the kernel repeats them.
#[test]
fn no_canary_of_a_box_is_in_its_dossier() {
    let (heron, home) = (heron(), Home::new());
    heron
        .sata_drive("sde", 5, "QX77-CAN05", "Warbler 4T")
        .udev("sde", &["ID_WWN=0x5000c500cafe0005"])
        .partition("sde", "sde1")
        .btrfs("canary-label", "raid1", &["sde1"])
        .zfs("canary-pool", 17, "ONLINE")
        .write("/proc/sys/kernel/hostname", "canary-host\n")
        .write("/etc/passwd", "root:x:0:0::/root:/bin/sh\nyvette:x:1000:1000:Quenya Canary,,,:/home/yvette:/bin/sh\n")
        .write("/etc/hosts", "127.0.1.1 canary-host.canary-net.example\n192.0.2.9 canary-other\n")
        .write("/etc/machine-id", "0c1f9b4e7a554c0e9d3c6a1f00aa11bb\n")
        .write("/etc/fstab", "canary-server:/canary-export /mnt/canary-mount nfs4 defaults 0 0\n");
    fs::create_dir_all(heron.path("/dev")).unwrap();
    assert!(Command::new("mkfifo").arg(heron.path("/dev/kmsg")).status().unwrap().success());
    // Each write is one read (pipe(2), O_DIRECT), as of the kernel's log.
    let mut log = File::from(open(heron.path("/dev/kmsg"), OFlags::RDWR | OFlags::NONBLOCK, Mode::empty()).unwrap());
    fcntl_setfl(&log, OFlags::DIRECT | OFlags::NONBLOCK).unwrap();
    for (number, line) in [
        "ata5: SATA link down (SStatus 0 SControl 300) QX77-CAN05, ..AN05",
        "md/raid:md0: Disk failure on sde, disabling device. canary-host 02:42:ac:11:00:02 by yvette@canary-net.example",
    ]
    .iter()
    .enumerate()
    {
        log.write_all(format!("3,{number},1000000,-;{line}\n").as_bytes()).unwrap();
    }
    home.configure(
        "[box]\nname = 'canary-box'\n[[shelf]]\nname = 'top'\n[[shelf.tray]]\nlabel = 'E'\nserial = 'QX77-CAN05'\n\
         [[alerts.mqtt]]\nname = 'broker'\nserver = 'canary-broker'\nuser = 'canary-user'\npassword_file = '/canary-word'\n",
    );
    let file = home.path("heron.txt");
    let output = dossier(&home, &heron, &file);
    assert_eq!(output.status.code(), Some(0), "{}", said(&output));
    let text = fs::read_to_string(&file).unwrap();
    let small = text.to_lowercase();
    for canary in ["canary", "qx77", "an05", "wren-", "cafe", "yvette", "quenya", "0c1f9b4e", "02:42", "22bf3b64"] {
        let found: Vec<&str> = small.lines().filter(|line| line.contains(canary)).collect();
        assert_eq!(found, [""; 0], "{canary}");
    }
    for wanted in [
        "Disk failure on sde, disabling device. host-",
        "SATA link down (SStatus 0 SControl 300) serial-",
        "serial = 'serial-",
    ] {
        assert!(text.contains(wanted), "{wanted} in:\n{text}");
    }
    assert_eq!(fs::metadata(&file).unwrap().permissions().mode() & 0o777, 0o600);
}

#[test]
fn a_dossier_takes_the_place_of_nothing_and_of_an_earlier_one_only_after_a_question() {
    let (heron, home) = (heron(), Home::new());
    let (file, folder) = (home.path("heron.txt"), home.path("folder"));
    fs::create_dir(&folder).unwrap();
    for (place, there, wanted) in [
        (&file, "my notes\n", "found something that is no dossier; give another file name"),
        (&file, "traylight dossier\nearlier\n", "an earlier dossier is kept; give another file name"),
        (&file, "traylight dossiers of last year\n", "found something that is no dossier"),
    ] {
        fs::write(place, there).unwrap();
        let output = dossier(&home, &heron, place);
        assert_eq!(output.status.code(), Some(1));
        assert!(said(&output).contains(wanted), "{}", said(&output));
        assert_eq!(fs::read_to_string(place).unwrap(), there);
    }
    for (place, wanted) in [(folder, "found a folder"), (home.path("none/heron.txt"), "No such file")] {
        let output = dossier(&home, &heron, &place);
        assert_eq!(output.status.code(), Some(1));
        assert!(said(&output).contains(wanted) && said(&output).contains(place.to_str().unwrap()), "{}", said(&output));
    }
    let printed = home.run("dossier", &["-", "--root", heron.root().to_str().unwrap()]);
    assert!(String::from_utf8_lossy(&printed.stdout).starts_with("traylight dossier\n"), "{}", said(&printed));
    fs::remove_file(&file).unwrap();
    assert_eq!(fs::read_dir(home.path("")).unwrap().count(), 2, "only the folder and the configuration are left");
}

/// A small file system in memory where that may be mounted, else a limit on the size of files.
#[test]
fn a_dossier_that_does_not_fit_leaves_nothing_behind() {
    let (heron, home) = (heron(), Home::new());
    let small = home.path("small");
    fs::create_dir(&small).unwrap();
    let is_root = rustix::process::geteuid().is_root();
    let prepare = match is_root {
        true => "mount -t tmpfs -o size=4k small \"$0\"",
        false => "trap '' XFSZ; ulimit -f 1",
    };
    let mut command = Command::new(if is_root { "unshare" } else { "env" });
    command.args(if is_root { &["--mount"][..] } else { &[] });
    command.args(["sh", "-c", &format!("{prepare}; \"$@\"; echo \"code $?\"; ls -A \"$0\"; echo end")]);
    command.arg(&small).arg(traylight()).arg("dossier").arg(small.join("heron.txt"));
    command.args(["--root", heron.root().to_str().unwrap(), "--config"]).arg(home.path("traylight.toml"));
    let output = command.arg("--run-dir").arg(home.path("run")).output().unwrap();
    assert!(said(&output).starts_with("code 1\nend\n"), "{}", said(&output));
    assert!(said(&output).contains("small/heron.txt: "), "{}", said(&output));
}

#[test]
fn whoever_may_not_write_there_or_read_everything_gets_reasons() {
    let (heron, home) = (heron(), Home::new());
    home.configure("[box]\nnam = 'canary-box'\n");
    let as_nobody = |arguments: &[&str]| {
        let mut command = home.command(traylight(), "dossier");
        command.args(arguments).args(["--root", heron.root().to_str().unwrap()]);
        if rustix::process::geteuid().is_root() {
            command.uid(NOBODY).gid(NOBODY);
        }
        command.output().unwrap()
    };
    let printed = as_nobody(&["-"]);
    let text = said(&printed);
    assert_eq!(printed.status.code(), Some(0), "{text}");
    assert!(text.contains("traylight.toml has mistakes, so names in it cannot be recognised"), "{text}");
    assert!(text.contains("==== Closed incidents ====\nnot available: no agent is running"), "{text}");
    assert!(!text.contains("canary"), "{text}");
    let refused = as_nobody(&["/proc/heron.txt"]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(said(&refused).contains("/proc/heron.txt: "), "{}", said(&refused));
}

#[test]
fn an_agent_adds_what_is_over_and_the_reports_of_what_is_open() {
    let (heron, home) = (heron(), Home::new());
    home.configure("[grace]\npools = \"1 ms\"\n[limits.pool]\nhealthy_hold = \"1 ms\"\n");
    let mut agent = Running::start(&home, heron.root());
    home.state_with("a healthy pool", |state| state["pools"][0]["state"] == "healthy");
    let member = |degraded: &str, state: &str| {
        heron.write("/sys/block/md0/md/degraded", degraded).write("/sys/block/md0/md/dev-sdd/state", state);
    };
    member("1\n", "faulty\n");
    agent.hears("opened");
    member("0\n", "in_sync\n");
    agent.hears("closed");
    member("1\n", "faulty\n");
    agent.hears("opened");
    home.state_with("both", |state| {
        !state["incidents"].as_array().unwrap().is_empty()
            && !state["history"]["incidents"].as_array().unwrap().is_empty()
    });
    let text = said(&home.run("dossier", &["-"]));
    let part = |title: &str| text.split_once(&format!("==== {title} ====\n")).unwrap().1.split("====").next().unwrap();
    assert!(text.contains("The state is from the running agent."), "{text}");
    assert!(part("Closed incidents").contains("md0") && part("Open incidents").contains("Evidence"), "{text}");
    assert!(!text.contains("heron") && !text.contains("WREN-"), "{text}");
}
