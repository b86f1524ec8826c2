//! Stories of boxes that are surveyed.

use super::*;
use crate::clock::Moment;
use crate::demo::{heron, story};
use crate::reading::{Bus, Drive, DriveKey, Missing, PoolKind, Power, Reason, Snapshot, WhyMissing};
use crate::serve::part::Reasons;
use crate::tell::words::phrases::{Language, Phrases as _};
use crate::units::{Bytes, Celsius, MegabitsPerSecond, Rpm, Volts};
use std::path::{Path, PathBuf};
use std::time::Duration;
use traylight_config::{Settings, settle};
use traylight_display::PanelFault;

/// A box with all that a maker wants, but for what a test changes.
struct Scene {
    snapshot: Snapshot,
    settings: Settings,
    around: Surroundings,
    checks: Vec<AddressCheck>,
}

impl Scene {
    fn new() -> Self {
        Self {
            snapshot: heron::snapshot(Moment::default(), &story::scene(Duration::ZERO)),
            settings: crate::demo::settings().expect("the pretend box has settings"),
            around: Surroundings {
                rights: Some(user(true)),
                drivetemp: KernelModule::Loaded,
                ..Surroundings::default()
            },
            checks: Vec::new(),
        }
    }

    fn survey(&self) -> Survey {
        survey(&SurveyInput {
            snapshot: &self.snapshot,
            settings: &self.settings,
            config: Path::new("/etc/traylight/traylight.toml"),
            surroundings: &self.around,
            address_checks: &self.checks,
        })
    }

    fn bus(&mut self, device: &str, adapter: &str, purpose: BusPurpose) {
        let (device, adapter) = (device.to_owned(), adapter.to_owned());
        self.around.buses.push(I2cBus { device, adapter, purpose, access: Ok(()), taken: Vec::new() });
    }

    fn first_drive(&mut self) -> &mut Drive {
        &mut self.snapshot.drives[0]
    }
}

fn user(may_ask: bool) -> Rights {
    Rights { user: "warden".to_owned(), asks_sata: may_ask, asks_nvme: may_ask }
}

fn remedy_of(survey: &Survey, is_it: impl Fn(&Limitation) -> bool) -> Option<Remedy> {
    survey.limited.iter().find(|item| is_it(&item.what)).expect("the limit is listed").remedy.clone()
}

fn absence(survey: &Survey, is_it: impl Fn(&Absence) -> bool) -> Option<&Item<Absence>> {
    survey.not_found.iter().find(|item| is_it(&item.what))
}

fn on_paper(survey: &Survey) -> String {
    let paper = crate::printout::Screen::of(None, &|_| None);
    printed(survey, Language::ENGLISH).on(&paper)
}

#[test]
fn a_board_with_i2c_off_gets_the_line_for_its_own_boot_file() {
    let mut scene = Scene::new();
    scene.around.boot_file = Some(PathBuf::from("/boot/firmware/config.txt"));
    let survey = scene.survey();
    let found = absence(&survey, |what| *what == Absence::PanelBus).expect("there is no bus");
    let remedy = found.remedy.as_ref().expect("it can be enabled");
    assert_eq!(
        remedy.to_enter(),
        ["printf '[all]\\ndtparam=i2c_arm=on\\n' | sudo tee -a /boot/firmware/config.txt", "sudo reboot"]
    );
    // With the interface on, only the module for programs is missing.
    scene.around.i2c_dev = KernelModule::Available;
    let survey = scene.survey();
    let found = absence(&survey, |what| *what == Absence::PanelBus).expect("there is no bus");
    assert_eq!(found.remedy, Some(Remedy::LoadModule { module: "i2c-dev" }));
}

/// The configuration file as it is installed.
const SHIPPED: &str = include_str!("../../../config/traylight.toml");

#[test]
fn a_panel_that_responds_gets_lines_that_the_shipped_configuration_takes() {
    let mut scene = Scene::new();
    scene.settings = settle(SHIPPED, "f").expect("the shipped file is valid");
    scene.bus("i2c-1", "bcm2835 (i2c@7e804000)", BusPurpose::Header);
    scene.checks = vec![
        AddressCheck { bus: "i2c-1".into(), address: 0x3C, result: CheckResult::Nothing },
        AddressCheck { bus: "i2c-1".into(), address: 0x3D, result: CheckResult::Acknowledged },
    ];
    let is_unused = |what: &Limitation| matches!(what, Limitation::UnusedPanel { .. });
    let text = on_paper(&scene.survey());
    assert!(text.contains("    Set this under [panel] in /etc/traylight/traylight.toml:\n"), "{text}");
    let lines = remedy_of(&scene.survey(), is_unused).expect("it can be configured").to_enter().join("\n");
    let first = SHIPPED.replace("\n[panel]\n", &format!("\n[panel]\n{lines}\n"));
    scene.settings = settle(&first, "f").expect("the file takes the lines");
    let survey = scene.survey();
    assert!(survey.found.iter().any(|item| matches!(item, FoundPart::Panel { address: 0x3D, .. })), "{survey:?}");
    assert!(absence(&survey, |what| matches!(what, Absence::Panel { .. })).is_none());
    // A second one needs a table of its own.
    scene.checks[0].result = CheckResult::Acknowledged;
    let lines = remedy_of(&scene.survey(), is_unused).expect("it can be configured").to_enter().join("\n");
    scene.settings = settle(&format!("{first}\n{lines}\n"), "f").expect("the file takes a second panel");
    assert!(!scene.survey().limited.iter().any(|item| is_unused(&item.what)), "{:?}", scene.survey().limited);
}

#[test]
fn what_was_tried_without_an_answer_is_listed_and_so_is_what_was_not_tried() {
    let mut scene = Scene::new();
    scene.bus("i2c-1", "bcm2835 (i2c@7e804000)", BusPurpose::Header);
    scene.bus("i2c-2", "i915 gmbus dpb", BusPurpose::Display);
    scene.bus("i2c-3", "SMBus I801 adapter at efa0", BusPurpose::Mainboard);
    scene.checks =
        [0x3C, 0x3D].map(|address| AddressCheck { bus: "i2c-1".into(), address, result: CheckResult::Nothing }).into();
    let survey = scene.survey();
    let text = on_paper(&survey);
    assert!(text.contains("no panel responds (tried i2c-1 0x3C, i2c-1 0x3D)"), "{text}");
    assert!(text.contains("traylight survey --bus i2c-3"), "{text}");
    assert!(!text.contains("i2c-2"), "a display's bus is nobody's business: {text}");
}

#[test]
fn only_safe_buses_are_tried_and_others_at_their_name_but_never_a_display() {
    let mut scene = Scene::new();
    for (device, purpose) in [
        ("i2c-1", BusPurpose::Header),
        ("i2c-2", BusPurpose::Display),
        ("i2c-3", BusPurpose::Mainboard),
        ("i2c-4", BusPurpose::Unknown),
    ] {
        scene.bus(device, "an adapter", purpose);
    }
    let tried = |named: &[&str]| {
        let named: Vec<String> = named.iter().map(|name| (*name).to_owned()).collect();
        let buses = scene.around.buses.iter().filter(|bus| is_tried(bus, &named));
        buses.map(|bus| bus.device.clone()).collect::<Vec<_>>()
    };
    assert_eq!(tried(&[]), ["i2c-1"]);
    assert_eq!(tried(&["i2c-2", "i2c-4"]), ["i2c-1", "i2c-4"]);
}

#[test]
fn a_header_without_rights_names_the_group_or_opens_itself_alone() {
    let mut scene = Scene::new();
    scene.bus("i2c-1", "bcm2835 (i2c@7e804000)", BusPurpose::Header);
    scene.bus("i2c-3", "SMBus I801 adapter at efa0", BusPurpose::Mainboard);
    scene.bus("i2c-5", "odd $(adapter)", BusPurpose::Header);
    scene.around.buses.iter_mut().for_each(|bus| bus.access = Err(Some("i2c".to_owned())));
    let text = on_paper(&scene.survey());
    assert_eq!(text.matches("sudo usermod -aG i2c warden").count(), 1, "{text}");
    assert!(text.contains("sudo traylight survey --bus i2c-3"), "{text}");
    scene.around.buses.iter_mut().for_each(|bus| bus.access = Err(None));
    let text = on_paper(&scene.survey());
    assert!(text.contains(r#"ATTR{name}=="bcm2835 (i2c@7e804000)", GROUP="i2c""#), "{text}");
    assert!(text.contains(r#"KERNEL=="i2c-5""#), "its name means something to a shell: {text}");
    assert!(!text.contains("efa0\", GROUP") && !text.contains(r#"KERNEL=="i2c-3""#), "{text}");
    assert_eq!(text.matches("sudo usermod -aG i2c warden").count(), 1, "{text}");
}

#[test]
fn a_bus_that_fails_says_how() {
    let mut scene = Scene::new();
    scene.bus("i2c-1", "bcm2835 (i2c@7e804000)", BusPurpose::Header);
    scene.checks =
        vec![AddressCheck { bus: "i2c-1".into(), address: 0x3C, result: CheckResult::Failed(PanelFault::BusStuck) }];
    let text = on_paper(&scene.survey());
    assert!(text.contains(&PanelFault::BusStuck.to_string()), "{text}");
}

#[test]
fn a_sata_drive_without_a_driver_needs_the_module_and_an_adapter_needs_a_port() {
    let mut scene = Scene::new();
    scene.around.drivetemp = KernelModule::Available;
    scene.first_drive().temperature.value = Err(Missing::of(Reason::NotAvailable));
    let no_temperature = |what: &Limitation| matches!(what, Limitation::NoTemperature { .. });
    assert_eq!(remedy_of(&scene.survey(), no_temperature), Some(Remedy::LoadModule { module: "drivetemp" }));
    scene.first_drive().bus = Bus::Usb;
    assert_eq!(remedy_of(&scene.survey(), no_temperature), Some(Remedy::SataPort));
    // Perhaps the adapter would pass it on to somebody with more rights.
    scene.around.rights = Some(user(false));
    assert_eq!(remedy_of(&scene.survey(), no_temperature), Some(Remedy::AsRoot));
    scene.around.service.is_installed = true;
    assert_eq!(remedy_of(&scene.survey(), no_temperature), Some(Remedy::AskDrives));
}

#[test]
fn a_drive_that_sleeps_lacks_nothing() {
    let mut scene = Scene::new();
    scene.first_drive().temperature.value = Err(Missing::of(Reason::Asleep));
    scene.first_drive().power.value = Ok(Power::Asleep);
    let survey = scene.survey();
    assert!(
        !survey.limited.iter().any(|item| matches!(item.what, Limitation::NoTemperature { .. })),
        "{:?}",
        survey.limited
    );
    assert!(on_paper(&survey).contains("asleep, not queried"));
}

#[test]
fn drives_that_share_a_serial_are_not_to_be_trusted() {
    let mut scene = Scene::new();
    let serial = scene.snapshot.drives[1].serial.clone().expect("the pretend drives have serials");
    scene.first_drive().serial = Some(serial.clone());
    scene.first_drive().wwn = None;
    scene.first_drive().key = DriveKey(format!("{serial} at ata-1"));
    let device = scene.snapshot.drives[0].device.clone();
    let weak = scene.survey().limited.into_iter().find_map(|item| match item.what {
        Limitation::WeakIdentity { drives } => Some(drives),
        _ => None,
    });
    assert_eq!(weak, Some(vec![device]));
}

#[test]
fn an_idle_drive_lacks_nothing_and_has_the_reason_on_its_line_and_in_the_document() {
    let mut scene = Scene::new();
    let idle = Missing::from(WhyMissing::Idle);
    scene.first_drive().temperature.value = Err(idle.clone());
    scene.first_drive().health.value = Err(idle);
    let survey = scene.survey();
    assert!(!survey.limited.iter().any(|item| matches!(item.what, Limitation::NoTemperature { .. })), "{survey:?}");
    let text = on_paper(&survey);
    let reason = Language::ENGLISH.missing(&WhyMissing::Idle.into());
    assert!(text.contains(&format!("temperature and health data not read ({reason})")), "{text}");
    let document = serde_json::to_value(&survey).expect("the lists are JSON");
    assert_eq!(document["found"][1]["missing"]["temperature_c"]["why"], "idle", "{document:#}");
}

#[test]
fn what_is_not_read_of_volumes_and_ports_is_limited() {
    let mut scene = Scene::new();
    scene.snapshot.volumes[0].room.value = Err(Missing::of(Reason::TimedOut));
    scene.snapshot.links[0].up.value = Ok(true);
    scene.snapshot.links[0].speed.value = Err(Missing::from(WhyMissing::NotReported));
    let text = on_paper(&scene.survey());
    let (found, limited) = text.split_once("Found, but limited").expect("there are two lists");
    for wanted in [": size not read (timed out)", ": link speed not read ("] {
        assert!(limited.contains(wanted) && !found.contains(wanted), "{wanted}: {text}");
    }
}

#[test]
fn zfs_without_zpool_gets_the_package_where_apt_installs_it() {
    let mut scene = Scene::new();
    let pool = &mut scene.snapshot.pools[0];
    pool.kind = PoolKind::Zfs;
    pool.size.value = Err(Missing::from(WhyMissing::NotInstalled).and_found("zpool"));
    let no_zpool = |what: &Limitation| *what == Limitation::NoZpool;
    assert_eq!(remedy_of(&scene.survey(), no_zpool), Some(Remedy::ZpoolPackage));
    scene.around.has_apt = true;
    assert_eq!(remedy_of(&scene.survey(), no_zpool), Some(Remedy::InstallZpool));
    assert!(!scene.survey().limited.iter().any(|item| matches!(item.what, Limitation::Pool { .. })));
}

#[test]
fn of_a_recorded_tree_nothing_is_listed_that_only_a_running_machine_can_have() {
    let mut scene = Scene::new();
    assert!(absence(&scene.survey(), |what| *what == Absence::Agent).is_some());
    scene.snapshot.board.is_recorded = true;
    let survey = scene.survey();
    assert!(absence(&survey, |what| matches!(what, Absence::Agent | Absence::PanelBus)).is_none(), "{survey:?}");
}

#[test]
fn every_item_has_words_in_both_languages_with_all_its_places() {
    let missing = || Missing::from(WhyMissing::NotReported);
    let (bus, adapter, names) = ("i2c-1".to_owned(), "an adapter".to_owned(), vec!["sda".to_owned()]);
    let reasons = || Reasons::from([("model".to_owned(), missing())]);
    let found = vec![
        FoundPart::Board { model: None, kernel: "6.12".into(), missing: reasons() },
        FoundPart::Pool { name: "md0".into(), kind: PoolKind::Md, level: None, members: 5, missing: reasons() },
        FoundPart::Pool {
            name: "md0".into(),
            kind: PoolKind::Md,
            level: Some("raid5".into()),
            members: 1,
            missing: Reasons::new(),
        },
        FoundPart::Volume { mount: "/".into(), size_bytes: Bytes(4_000_000_000_000) },
        FoundPart::Fan { name: "fan1".into(), speed_rpm: Rpm(800) },
        FoundPart::Temperature { name: "board".into(), temperature_c: Celsius(31.0) },
        FoundPart::Rail { name: "12 V".into(), potential_v: Volts(12.1) },
        FoundPart::Port {
            name: "eth0".into(),
            up: true,
            speed_mbit_per_s: Some(MegabitsPerSecond(2500)),
            missing: Reasons::new(),
        },
        FoundPart::Port { name: "eth1".into(), up: false, speed_mbit_per_s: None, missing: reasons() },
        FoundPart::Panel { bus: bus.clone(), adapter: adapter.clone(), address: 0x3C },
        FoundPart::Trays { count: 4 },
        FoundPart::Channels { count: 1 },
        FoundPart::Agent,
    ];
    let user = "warden".to_owned();
    let remedies = [
        Remedy::LoadModule { module: "drivetemp" },
        Remedy::JoinGroup { group: "i2c".into(), user: user.clone() },
        Remedy::OpenBuses { rules: names.clone(), user },
        Remedy::TryBus { bus: bus.clone(), as_root: true },
        Remedy::EnableI2c { file: "/boot/config.txt".into() },
        Remedy::AddPanel { file: "/etc/traylight/traylight.toml".into(), lines: names.clone() },
    ];
    let name = BusName { bus: bus.clone(), adapter: adapter.clone() };
    let limits = [
        Limitation::NoTemperature { drives: names.clone(), missing: missing() },
        Limitation::NoHealth { drives: names.clone(), missing: missing() },
        Limitation::WeakIdentity { drives: names.clone() },
        Limitation::UncountedFans { outputs: names.clone() },
        Limitation::UnlabelledVoltages { inputs: names },
        Limitation::Volume { mount: "/".into(), missing: missing() },
        Limitation::NoKernelLog { missing: missing() },
        Limitation::TakenAddress { bus: bus.clone(), address: 0x3D },
        Limitation::ClosedBuses { buses: vec![name] },
        Limitation::FailedBus { bus: bus.clone(), address: 0x3C, found: "a fault".into() },
        Limitation::UntriedBus { bus: bus.clone(), adapter },
    ];
    let items = limits.into_iter().zip(remedies.into_iter().map(Some).chain(std::iter::repeat(None)));
    let limited = items.map(|(what, remedy)| Item { what, remedy }).collect();
    let tried = vec![TriedAddress { bus, address: 0x3C }];
    let not_found = vec![Item { what: Absence::Panel { tried }, remedy: None }];
    let survey = Survey { schema: 1, found, limited, not_found };
    for language in [Language::ENGLISH, Language::GERMAN] {
        let text = printed(&survey, language).on(&crate::printout::Screen::of(None, &|_| None));
        assert!(!text.lines().any(|line| line.trim().is_empty() && line.starts_with(' ')), "a text is empty: {text}");
    }
    let text = on_paper(&survey);
    for wanted in [
        "  Linux 6.12\n",
        "  pool md0: raid5, 1 member\n",
        "  network port eth0: 2.5 Gb/s\n",
        "  network port eth1: no link\n",
        "  panel at 0x3C on i2c-1 (an adapter)\n",
        "  4 labelled trays\n  1 channel for alerts\n",
        "no permission to use I2C bus i2c-1 (an adapter)",
        "no panel responds (tried i2c-1 0x3C)",
    ] {
        assert!(text.contains(wanted), "{wanted} is not in:\n{text}");
    }
}
