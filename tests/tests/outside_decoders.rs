//! The decoders of what drives say, against general tools that decode the same bytes: `sg_decode_sense`, `sg_logs` and
//! `sg_vpd` of the package sg3-utils, and `hdparm`. No drive is touched: the tools read standard input.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a failing step fails the test")]

use std::io::Write;
use std::process::{Command, Stdio};
use traylight::sense::parse::ata::identify::{FormFactor, Identify, Rotation, SataSpeed, identify};
use traylight::sense::parse::counter::DecodedCounter;
use traylight::sense::parse::scsi;
use traylight::sense::parse::scsi::power::{ScsiPower, scsi_power};
use traylight::sense::parse::scsi::sense_data::{Answering, sense};
use traylight::units::Rpm;

/// How many sets of numbers each kind of page is compared with.
const ROUNDS: u64 = 16;

/// What a tool said about some bytes, and how often we agreed with it.
struct Judge {
    about: String,
    said: String,
    agreed: usize,
}

impl Judge {
    /// Asks a tool that reads hexadecimal from its standard input.
    fn ask(tool: &str, arguments: &[&str], input: &str) -> Self {
        let package = if tool == "hdparm" { "hdparm" } else { "sg3-utils" };
        let missing = |error| panic!("expected it from the package {package}: {error}, found no tool {tool}");
        let mut tool_running = Command::new(tool)
            .args(arguments)
            // hdparm lives where only the administrator's search path leads.
            .env("PATH", "/usr/local/sbin:/usr/local/bin:/usr/sbin:/usr/bin:/sbin:/bin")
            .stdin(Stdio::piped())
            .stdout(Stdio::piped())
            .stderr(Stdio::piped())
            .spawn()
            .unwrap_or_else(missing);
        tool_running.stdin.take().unwrap().write_all(input.as_bytes()).unwrap();
        let output = tool_running.wait_with_output().unwrap();
        let said = format!("{}{}", String::from_utf8_lossy(&output.stdout), String::from_utf8_lossy(&output.stderr));
        // Tools align with runs of white space.
        let said = said.lines().map(|line| line.split_whitespace().collect::<Vec<_>>().join(" ") + "\n").collect();
        Self { about: format!("{tool} {arguments:?} with {input}"), said, agreed: 0 }
    }

    /// Our value, put in the tool's words, must be among what it said.
    fn agrees(&mut self, words: impl AsRef<str>) {
        let words = words.as_ref();
        assert!(self.said.contains(words), "wanted `{words}` from {}, which said:\n{}", self.about, self.said);
        self.agreed += 1;
    }
}

/// Numbers that look random and are the same each time (Knuth's constants for a linear congruential generator).
struct Numbers(u64);

impl Numbers {
    fn next(&mut self, below: u64) -> u64 {
        self.0 = self.0.wrapping_mul(6_364_136_223_846_793_005).wrapping_add(1_442_695_040_888_963_407);
        (self.0 >> 33) % below
    }
}

fn hex(bytes: &[u8]) -> String {
    bytes.iter().map(|byte| format!("{byte:02x} ")).collect()
}

/// A log page with these parameters.
fn log_page(code: u8, parameters: &[(u16, Vec<u8>)]) -> Vec<u8> {
    let mut contents = Vec::new();
    for (number, value) in parameters {
        contents.extend(number.to_be_bytes());
        contents.extend([3, u8::try_from(value.len()).unwrap()]);
        contents.extend(value);
    }
    let [high, low] = u16::try_from(contents.len()).unwrap().to_be_bytes();
    [vec![code, 0, high, low], contents].concat()
}

fn value_of(counters: &[DecodedCounter], name: &str) -> i64 {
    counters.iter().find(|counter| counter.name == name).unwrap().value
}

fn ask_logs(page: &[u8]) -> Judge {
    Judge::ask("sg_logs", &["--in=-", "--pdt=0"], &hex(page))
}

#[test]
fn ata_registers_in_sense_data_agree() {
    let mut numbers = Numbers(1);
    for _ in 0..ROUNDS {
        let mut bytes = vec![0x72, 1, 0, 0x1D, 0, 0, 0, 14, 9, 12, 0];
        bytes.extend((0..11).map(|_| numbers.next(256) as u8));
        // The tool shows the upper halves of a 48-bit answer only.
        bytes[10] = numbers.next(2) as u8;
        let answer = sense(&bytes, Answering::Bridge).unwrap();
        let registers = answer.registers.unwrap();
        let mut judge = Judge::ask("sg_decode_sense", &["--file=-"], &hex(&bytes));
        judge.agrees("Sense key: Recovered Error");
        judge.agrees(format!("error=0x{:x}", registers.error.unwrap()));
        judge.agrees(format!("count=0x{:x}", registers.count.unwrap()));
        let digits = if bytes[10] == 1 { 12 } else { 6 };
        judge.agrees(format!("lba=0x{:0digits$x}", registers.lba.unwrap()));
        judge.agrees(format!("device=0x{:x}", registers.device.unwrap()));
        judge.agrees(format!("status=0x{:x}", registers.status.unwrap()));
        assert_eq!(judge.agreed, 6);
    }
}

#[test]
fn power_states_of_scsi_drives_agree() {
    for qualifier in 0..=0x0A_u8 {
        let bytes = [0x70, 0, 0, 0, 0, 0, 0, 10, 0, 0, 0, 0, 0x5E, qualifier, 0, 0, 0, 0];
        let state = scsi_power(&sense(&bytes, Answering::Scsi).unwrap()).unwrap();
        let mut judge = Judge::ask("sg_decode_sense", &["--file=-"], &hex(&bytes));
        judge.said = judge.said.to_lowercase();
        judge.agrees(match state {
            ScsiPower::Idle => "idle",
            ScsiPower::Standby if qualifier == 0 => "low power condition on",
            ScsiPower::Standby => "standby",
            ScsiPower::Active | ScsiPower::Stopped => panic!("found {state:?} for 5Eh/{qualifier:02X}h"),
        });
    }
}

#[test]
fn temperature_verdict_wear_and_starts_agree() {
    let mut numbers = Numbers(2);
    for _ in 0..ROUNDS {
        let warmth = [numbers.next(90) as u8 + 1, numbers.next(60) as u8 + 40];
        let page = log_page(0x0D, &[(0, vec![0, warmth[0]]), (1, vec![0, warmth[1]])]);
        let read = scsi::logs::temperature(&page).unwrap();
        let mut judge = ask_logs(&page);
        judge.agrees(format!("Current temperature = {} C", read.now.unwrap().0));
        judge.agrees(format!("Reference temperature = {} C", read.limit.unwrap().0));
        assert_eq!(judge.agreed, 2);

        let page = log_page(0x2F, &[(0, vec![0x5D, numbers.next(0x5C) as u8, warmth[0], 0])]);
        let read = scsi::logs::exceptions(&page).unwrap();
        let scsi::logs::ScsiAssessment::Failing(why) = read.verdict else { panic!("found {read:?}") };
        let mut judge = ask_logs(&page);
        judge.agrees(format!("IE asc = 0x5d, ascq = 0x{why:x}"));
        judge.agrees(format!("Current temperature = {} C", read.temperature.unwrap().0));
        assert_eq!(judge.agreed, 2);

        let page = log_page(0x11, &[(1, vec![0, 0, 0, numbers.next(256) as u8])]);
        let used = scsi::logs::wear(&page).unwrap().value;
        ask_logs(&page).agrees(format!("Percentage used endurance indicator: {used} %"));

        let cycles: Vec<_> = (3..=6).map(|n| (n, (numbers.next(1 << 31) as u32).to_be_bytes().to_vec())).collect();
        let page = log_page(0x0E, &cycles);
        let read = scsi::logs::start_stop(&page).unwrap();
        let mut judge = ask_logs(&page);
        for (name, words) in [
            ("rated_start_stop_cycles", "Specified cycle count over device lifetime"),
            ("start_stop_cycles", "Accumulated start-stop cycles"),
            ("rated_load_cycles", "Specified load-unload count over device lifetime"),
            ("load_cycles", "Accumulated load-unload cycles"),
        ] {
            judge.agrees(format!("{words} = {}\n", value_of(&read, name)));
        }
        assert_eq!(judge.agreed, 4);
    }
}

#[test]
fn error_counters_and_phys_agree() {
    let mut numbers = Numbers(3);
    for round in 0..ROUNDS {
        let (code, [corrected, processed, uncorrected]) = match round % 3 {
            0 => (0x02, ["write_corrected_errors", "written_bytes", "write_uncorrected_errors"]),
            1 => (0x03, ["read_corrected_errors", "read_bytes", "read_uncorrected_errors"]),
            _ => (0x05, ["verify_corrected_errors", "verified_bytes", "verify_uncorrected_errors"]),
        };
        // Counters have lengths of their own.
        let count = |length: usize, value: u64| value.to_be_bytes()[8 - length..].to_vec();
        let page = log_page(
            code,
            &[
                (3, count(2, numbers.next(1 << 16))),
                (5, count(8, numbers.next(1 << 31) << 30)),
                (6, count(4, numbers.next(1 << 31))),
            ],
        );
        let read = scsi::errors::error_counters(&page, code).unwrap();
        let mut judge = ask_logs(&page);
        judge.agrees(format!("Total errors corrected = {}\n", value_of(&read, corrected)));
        judge.agrees(format!("Total bytes processed = {} [", value_of(&read, processed)));
        judge.agrees(format!("Total uncorrected errors = {}\n", value_of(&read, uncorrected)));
        assert_eq!(judge.agreed, 3);

        let mut phy = vec![0; 52];
        (phy[0], phy[3], phy[7]) = (6, 1, 44);
        phy[36..].fill_with(|| numbers.next(128) as u8);
        let page = log_page(0x18, &[(1, phy)]);
        let read = scsi::errors::phy_errors(&page).unwrap();
        let mut judge = ask_logs(&page);
        judge.agrees(format!("Invalid DWORD count = {}\n", value_of(&read, "phy_invalid_words")));
        judge.agrees(format!("Running disparity error count = {}\n", value_of(&read, "phy_disparity_errors")));
        judge.agrees(format!(
            "Loss of DWORD synchronization count = {}\n",
            value_of(&read, "phy_synchronisation_losses")
        ));
        judge.agrees(format!("Phy reset problem count = {}\n", value_of(&read, "phy_reset_problems")));
        assert_eq!(judge.agreed, 4);
    }
}

#[test]
fn self_tests_and_scans_agree() {
    let mut numbers = Numbers(4);
    for _ in 0..ROUNDS {
        let mut tests: Vec<(u16, Vec<u8>)> = (1..=20).map(|number| (number, vec![0; 16])).collect();
        let result = 4 + numbers.next(4) as u8;
        tests[0].1[..2].copy_from_slice(&[0x20 | result, 1]);
        tests[0].1[2..4].copy_from_slice(&(numbers.next(65_000) as u16).to_be_bytes());
        tests[0].1[4..12].copy_from_slice(&numbers.next(1 << 31).to_be_bytes());
        let page = log_page(0x10, &tests);
        let read = scsi::errors::self_tests(&page).unwrap();
        assert_eq!(
            (read[0].kind, read[0].outcome),
            (scsi::errors::ScsiTestKind::Short, scsi::errors::ScsiTestOutcome::Failed)
        );
        let mut judge = ask_logs(&page);
        judge.agrees("self-test code: background short");
        judge.agrees("fail");
        judge.agrees(format!("accumulated power-on hours = {}\n", read[0].power_on_hours));
        judge.agrees(format!("address of first error = 0x{:x}\n", read[0].failed_at_lba.unwrap()));
        assert_eq!((judge.agreed, read.len()), (4, 1));

        let mut status = (numbers.next(1 << 31) as u32).to_be_bytes().to_vec();
        status.extend([0, 1, 0, 5, numbers.next(256) as u8, 0, 0, 5]);
        let mut spot = vec![0, 0, 1, 0, 0x53, 0x11, 0, 0, 0, 0, 0, 0];
        spot.extend(numbers.next(1 << 31).to_be_bytes());
        let page = log_page(0x15, &[(0, status), (1, spot)]);
        let read = scsi::errors::scan(&page).unwrap();
        let mut judge = ask_logs(&page);
        judge.agrees(format!("Accumulated power on minutes: {}", read.power_on_minutes));
        judge.agrees("Status: background medium scan is active");
        judge.agrees(format!("progress: {:.2} %", f64::from(read.progress) * 100.0 / 65_536.0));
        let [key, code, qualifier] = read.found[0].sense;
        judge.agrees(format!("[sk,asc,ascq: 0x{key:x},0x{code:x},0x{qualifier:x}]"));
        judge.agrees(format!("LBA (associated with medium error): 0x{:016x}", read.found[0].lba));
        judge.agrees("recovered by device server via rewrite");
        assert!(read.found[0].is_mended);
        assert_eq!((judge.agreed, read.status), (6, 1));
    }
}

/// IDENTIFY DEVICE of a drive, with the numbers of this round.
fn identity(numbers: &mut Numbers) -> Vec<u8> {
    let mut data = vec![0; 512];
    let swapped = |text: String, length: usize| -> Vec<u8> {
        format!("{text:length$}").as_bytes().chunks(2).flat_map(|pair| [pair[1], pair[0]]).collect()
    };
    data[20..40].copy_from_slice(&swapped(format!("HERON-{:05}", numbers.next(99_999)), 20));
    data[46..54].copy_from_slice(&swapped("HF2.07".to_owned(), 8));
    data[54..94].copy_from_slice(&swapped(format!("Songbird HB{}", numbers.next(9_999)), 40));
    let sectors = 1_000_000_000 + numbers.next(1 << 31);
    // Six optional abilities are there or not.
    let mut maybe = |bit: u16| if numbers.next(2) == 1 { 1 << bit } else { 0 };
    let generations = 0x0002 | maybe(2);
    let words = [
        (0, 0x0040),
        (49, 0x0F00),
        (60, 0xFFFF),
        (61, 0x0FFF),
        (75, 31),
        (76, 0x0100 | generations | maybe(10)),
        (77, 0x0002),
        (80, 0x07F0),
        (82, 0x0029),
        (83, 0x7400),
        (84, 0x4100 | maybe(0) | maybe(1) | 1 << 5),
        (85, 0x0009 | maybe(5)),
        (86, 0xB400),
        (87, 0x4120),
        (100, (sectors & 0xFFFF) as u16),
        (101, (sectors >> 16) as u16),
        (102, (sectors >> 32) as u16),
        (106, 0x6003),
        (108, 0x5000),
        (109, 0xC500),
        (110, 0xAABB),
        (111, 0xCCDD),
        (119, 0x4000),
        (120, 0x4000),
        (168, 0x0003),
        (206, 0x0001 | maybe(5)),
        (217, 7200),
        (222, 0x1020),
        (255, 0x00A5),
    ];
    for (index, word) in words {
        data[index * 2..index * 2 + 2].copy_from_slice(&u16::to_le_bytes(word));
    }
    data[511] = data[..511].iter().fold(0, |sum: u8, &byte| sum.wrapping_add(byte)).wrapping_neg();
    data
}

#[test]
fn identities_of_ata_drives_agree() {
    let mut numbers = Numbers(5);
    for _ in 0..ROUNDS {
        let data = identity(&mut numbers);
        let drive = identify(&data).unwrap();
        let words: String = data
            .chunks(16)
            .map(|row| row.chunks(2).map(|w| format!("{:02x}{:02x} ", w[1], w[0])).collect::<String>() + "\n")
            .collect();
        let mut judge = Judge::ask("hdparm", &["--Istdin"], &words);
        agrees_with_hdparm(&mut judge, &drive);
        assert_eq!(judge.agreed, 18);

        let mut page = vec![0; 60];
        page[1..4].copy_from_slice(&[0x89, 0x02, 0x38]);
        (page[36], page[56]) = (0x34, 0xEC);
        page.extend(&data);
        let behind = scsi::vpd::ata_drive(&page).unwrap();
        assert_eq!(behind, drive);
        let mut judge = Judge::ask("sg_vpd", &["--page=0x89", "--inhex=-"], &hex(&page));
        judge.agrees(format!("model: {}", behind.model.unwrap()));
        judge.agrees(format!("serial number: {}", behind.serial.unwrap()));
        judge.agrees(format!("firmware revision: {}", behind.firmware.unwrap()));
        assert_eq!(judge.agreed, 3);
    }
}

fn agrees_with_hdparm(judge: &mut Judge, drive: &Identify) {
    judge.agrees(format!("Model Number: {}\n", drive.model.as_ref().unwrap()));
    judge.agrees(format!("Serial Number: {}\n", drive.serial.as_ref().unwrap()));
    judge.agrees(format!("Firmware Revision: {}\n", drive.firmware.as_ref().unwrap()));
    judge.agrees(format!("LBA48 user addressable sectors: {}\n", drive.size.unwrap().0 / 512));
    judge.agrees(format!("Logical Sector size: {} bytes", drive.logical_sector.0));
    judge.agrees(format!("Physical Sector size: {} bytes", drive.physical_sector.0));
    judge.agrees(format!("Logical Unit WWN Device Identifier: {:016x}", drive.wwn.unwrap()));
    let Rotation::Disks(Rpm(rpm)) = drive.rotation else { panic!("found {:?}", drive.rotation) };
    judge.agrees(format!("Nominal Media Rotation Rate: {rpm}\n"));
    assert_eq!(drive.form_factor, Some(FormFactor::Inch2_5));
    judge.agrees("Form Factor: 2.5 inch");
    // What is there is listed; a star marks what is switched on.
    let can = drive.abilities;
    let is_fast = drive.fastest_link == Some(SataSpeed::Gen2);
    for (is_there, words) in [
        (can.smart_enabled, "* SMART feature set\n"),
        (can.write_cache_enabled, "* Write cache\n"),
        (can.error_log, "SMART error logging\n"),
        (can.self_test, "SMART self-test\n"),
        (can.general_logs, "General Purpose Logging feature set\n"),
        (can.queuing, "Native Command Queueing (NCQ)\n"),
        (can.phy_counters, "Phy event counters\n"),
        (can.sct_tables, "SCT Data Tables (AC5)\n"),
        (is_fast, "Gen2 signaling speed (3.0Gb/s)\n"),
    ] {
        assert_eq!(judge.said.contains(words), is_there, "{words} in {}", judge.said);
        judge.agreed += 1;
    }
}

#[test]
fn names_and_serials_of_scsi_drives_agree() {
    let mut numbers = Numbers(6);
    for _ in 0..ROUNDS {
        let name = 0x5000_C500_0000_0000 | numbers.next(1 << 31);
        let mut page = vec![0, 0x83, 0, 24, 0x61, 0x93, 0, 8];
        page.extend((name + 1).to_be_bytes());
        page.extend([1, 3, 0, 8]);
        page.extend(name.to_be_bytes());
        let read = scsi::vpd::world_wide_name(&page).unwrap().unwrap();
        let mut judge = Judge::ask("sg_vpd", &["--page=0x83", "--inhex=-"], &hex(&page));
        let of_the_drive = judge.said.find("Target port").map(|port| judge.said[..port].to_owned());
        judge.said = of_the_drive.unwrap_or(judge.said);
        judge.agrees(format!("0x{read:016x}"));

        let serial = format!("  HERON{:07}", numbers.next(9_999_999));
        let page = [&[0, 0x80, 0, 14], serial.as_bytes()].concat();
        let read = scsi::vpd::serial(&page).unwrap().unwrap();
        Judge::ask("sg_vpd", &["--page=0x80", "--inhex=-"], &hex(&page))
            .agrees(format!("Unit serial number: {read}\n"));
    }
}

#[test]
fn the_time_of_an_extended_self_test_agrees() {
    let mut numbers = Numbers(7);
    for _ in 0..ROUNDS {
        let minutes = 1 + numbers.next(0xFFFD);
        let page = [&[0, 0x86, 0, 0x3C][..], &[0; 6], &(minutes as u16).to_be_bytes(), &[0; 52]].concat();
        let read = scsi::vpd::extended_test_minutes(&page).unwrap().unwrap();
        Judge::ask("sg_vpd", &["--page=0x86", "--inhex=-", "--long"], &hex(&page))
            .agrees(format!("Extended self-test completion minutes={read}\n"));
    }
}
