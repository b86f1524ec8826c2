//! Stories of boxes that are surveyed.

use super::*;
use crate::clock::Moment;
use crate::demo::{heron, story};
use crate::reading::{Bus, Drive, DriveKey, Missing, Power, Reason, Snapshot};
use crate::tell::words::phrases::Language;
use std::path::PathBuf;
use std::time::Duration;
use traylight_config::{Settings, settle};
use traylight_display::PanelFault;

/// A box with all that a maker wants, but for what a test changes.
struct Scene {
    snapshot: Snapshot,
    settings: Settings,
    around: Surroundings,
    trials: Vec<Trial>,
}

impl Scene {
    fn new() -> Self {
        Self {
            snapshot: heron::snapshot(Moment::default(), &story::scene(Duration::ZERO)),
            settings: crate::demo::settings().expect("the pretend box has settings"),
            around: Surroundings { rights: Some(user(true)), drivetemp: Module::Loaded, ..Surroundings::default() },
            trials: Vec::new(),
        }
    }

    fn survey(&self) -> Survey {
        survey(&Found {
            snapshot: &self.snapshot,
            settings: &self.settings,
            surroundings: &self.around,
            trials: &self.trials,
        })
    }

    fn bus(&mut self, device: &str, adapter: &str, leads_to: BusUse) {
        let (device, adapter) = (device.to_owned(), adapter.to_owned());
        self.around.buses.push(I2cBus { device, adapter, leads_to, access: Ok(()), taken: Vec::new() });
    }

    fn first_drive(&mut self) -> &mut Drive {
        &mut self.snapshot.drives[0]
    }
}

fn user(may_ask: bool) -> Rights {
    Rights { user: "warden".to_owned(), asks_sata: may_ask, asks_nvme: may_ask }
}

fn remedy_of(survey: &Survey, is_it: impl Fn(&Limit) -> bool) -> Option<Remedy> {
    survey.limited.iter().find(|item| is_it(&item.what)).expect("the limit is listed").remedy.clone()
}

fn absence(survey: &Survey, is_it: impl Fn(&Absence) -> bool) -> Option<&NotFound> {
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
    assert_eq!(
        found.commands,
        ["printf '[all]\\ndtparam=i2c_arm=on\\n' | sudo tee -a /boot/firmware/config.txt", "sudo reboot"]
    );
    // With the interface on, only the module for programs is missing.
    scene.around.i2c_dev = Module::Available;
    let survey = scene.survey();
    let found = absence(&survey, |what| *what == Absence::PanelBus).expect("there is no bus");
    assert_eq!(found.remedy, Some(Remedy::LoadModule { module: "i2c-dev" }));
}

#[test]
fn a_panel_that_answers_gets_lines_that_the_configuration_takes() {
    let mut scene = Scene::new();
    scene.settings = Settings::default();
    scene.bus("i2c-1", "bcm2835 (i2c@7e804000)", BusUse::Header);
    scene.trials = vec![
        Trial { bus: "i2c-1".into(), address: 0x3C, answer: Answer::Nothing },
        Trial { bus: "i2c-1".into(), address: 0x3D, answer: Answer::Acknowledged },
    ];
    let Some(Remedy::Configure { lines }) =
        remedy_of(&scene.survey(), |what| matches!(what, Limit::UnusedPanel { .. }))
    else {
        panic!("the panel has no lines: {:?}", scene.survey().limited)
    };
    scene.settings = settle(&lines, "f").expect("the configuration takes the lines");
    let survey = scene.survey();
    assert!(survey.works.iter().any(|item| matches!(item, Works::Panel { address: 0x3D, .. })), "{:?}", survey.works);
    assert!(absence(&survey, |what| matches!(what, Absence::Panel { .. })).is_none());
}

#[test]
fn what_was_tried_without_an_answer_is_listed_and_so_is_what_was_not_tried() {
    let mut scene = Scene::new();
    scene.bus("i2c-1", "bcm2835 (i2c@7e804000)", BusUse::Header);
    scene.bus("i2c-2", "i915 gmbus dpb", BusUse::Display);
    scene.bus("i2c-3", "SMBus I801 adapter at efa0", BusUse::Mainboard);
    scene.trials = [0x3C, 0x3D].map(|address| Trial { bus: "i2c-1".into(), address, answer: Answer::Nothing }).into();
    let survey = scene.survey();
    let text = on_paper(&survey);
    assert!(text.contains("no panel answers (tried i2c-1 0x3C, i2c-1 0x3D)"), "{text}");
    assert!(text.contains("traylight survey --bus i2c-3"), "{text}");
    assert!(!text.contains("i2c-2"), "a display's bus is nobody's business: {text}");
}

#[test]
fn only_safe_buses_are_tried_and_others_at_their_name_but_never_a_display() {
    let mut scene = Scene::new();
    for (device, leads_to) in [
        ("i2c-1", BusUse::Header),
        ("i2c-2", BusUse::Display),
        ("i2c-3", BusUse::Mainboard),
        ("i2c-4", BusUse::Unknown),
    ] {
        scene.bus(device, "an adapter", leads_to);
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
fn a_bus_without_rights_names_the_group_that_has_them() {
    let mut scene = Scene::new();
    scene.bus("i2c-1", "bcm2835 (i2c@7e804000)", BusUse::Header);
    scene.around.buses[0].access = Err(Some("i2c".to_owned()));
    let text = on_paper(&scene.survey());
    assert!(text.contains("sudo usermod -aG i2c warden"), "{text}");
    scene.around.buses[0].access = Err(None);
    let text = on_paper(&scene.survey());
    assert!(text.contains("61-traylight-i2c.rules"), "root alone may use it: {text}");
}

#[test]
fn a_bus_that_fails_says_how() {
    let mut scene = Scene::new();
    scene.bus("i2c-1", "bcm2835 (i2c@7e804000)", BusUse::Header);
    scene.trials = vec![Trial { bus: "i2c-1".into(), address: 0x3C, answer: Answer::Failed(PanelFault::BusStuck) }];
    let text = on_paper(&scene.survey());
    assert!(text.contains(&PanelFault::BusStuck.to_string()), "{text}");
}

#[test]
fn a_sata_drive_without_a_driver_needs_the_module_and_an_adapter_needs_a_port() {
    let mut scene = Scene::new();
    scene.around.drivetemp = Module::Available;
    scene.first_drive().temperature.value = Err(Missing::of(Reason::NotAvailable));
    let no_temperature = |what: &Limit| matches!(what, Limit::NoTemperature { .. });
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
        !survey.limited.iter().any(|item| matches!(item.what, Limit::NoTemperature { .. })),
        "{:?}",
        survey.limited
    );
    assert!(on_paper(&survey).contains("asleep, left alone"));
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
        Limit::WeakIdentity { drives } => Some(drives),
        _ => None,
    });
    assert_eq!(weak, Some(vec![device]));
}
