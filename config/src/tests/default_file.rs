//! The file that ships with the program says what the program does.

use super::{DEFAULT_FILE, activated, settled};
use crate::{
    Bus, Button, ButtonAction, DaySpan, DayTime, ExpectedDrive, PageName, PanelBrightness, PanelController, Position,
    Settings, Shelf, Tray,
};
use std::collections::BTreeSet;
use std::time::Duration;

#[test]
fn an_empty_file_the_shipped_file_and_the_defaults_are_one() {
    assert_eq!(settled(""), Settings::default());
    assert_eq!(settled(DEFAULT_FILE), Settings::default());
}

#[test]
fn what_the_shipped_file_shows_as_defaults_are_the_defaults() {
    let settings = settled(&activated());
    assert!(
        settings.written.contains("limits.fan.weak_percent"),
        "what is written is its owner's: {:?}",
        settings.written
    );
    assert_eq!(Settings { written: BTreeSet::new(), ..settings }, Settings::default());
    // Without this the test above could pass because nothing was activated.
    let keys = |text: &str| text.lines().filter(|line| line.contains(" = ") && !line.starts_with('#')).count();
    assert_eq!(keys(DEFAULT_FILE), 0);
    assert!(keys(&activated()) >= 73, "{}", keys(&activated()));
}

#[test]
fn a_changed_default_would_be_noticed() {
    let changed = activated().replace("hdd_warning_c = 50", "hdd_warning_c = 51");
    assert_ne!(settled(&changed).limits, Settings::default().limits);
}

/// Two times with the same default could be exchanged without any other test noticing.
#[test]
fn every_time_reaches_the_setting_of_its_name() {
    let file = activated();
    let is_time = |line: &str| !line.starts_with('#') && (line.ends_with(" s\"") || line.ends_with(" min\""));
    let (mut section, mut checked) = ("", 0);
    for line in file.lines() {
        if line.starts_with('[') {
            section = line;
        }
        // Those of alerts are told apart in the tests of alerts.
        let is_limit = is_time(line) && section != "[alerts]";
        let Some((key, _)) = line.split_once(" = ").filter(|_| is_limit) else { continue };
        let settings = format!("{:?}", settled(&format!("{section}\n{key} = '123 s'")).limits);
        assert!(settings.contains(&format!(" {key}: 123s")), "{section} {key}: {settings}");
        checked += 1;
    }
    assert!(checked >= 22, "{checked}");
}

#[test]
fn the_example_of_a_shelf_in_the_shipped_file_works() {
    let example = DEFAULT_FILE.lines().filter_map(|line| line.strip_prefix("#     "));
    let example: Vec<&str> = example.take_while(|line| !line.starts_with("[[panel")).collect();
    let tray = |label: &str, holds| Tray { label: label.into(), holds };
    assert_eq!(
        settled(&example.join("\n")).shelves,
        [Shelf {
            name: "top".into(),
            trays: vec![
                tray("A1", Some(ExpectedDrive::Serial("EXAMPLE-0001".into()))),
                tray("A2", Some(ExpectedDrive::Port("0000/14.0/usb-2.1:0".into()))),
                tray("A3", None),
            ]
        }]
    );
}

#[test]
fn the_example_of_a_page_with_its_own_time_works() {
    let example: Vec<&str> = DEFAULT_FILE.lines().filter_map(|line| line.strip_prefix("#     ")).collect();
    let panel = settled(&example.join("\n")).panel;
    let seconds = PageName::ALL.map(|page| panel.seconds_of(page));
    assert_eq!(seconds, [12, 6, 6, 6, 6, 6, 4, 6, 6, 6, 6]);
    let all = PageName::ALL.map(|page| format!("panel.seconds.{} = 33", page.word())).join("\n");
    assert_eq!(PageName::ALL.map(|page| settled(&all).panel.seconds_of(page)), [33; 11]);
}

#[test]
fn the_box_in_the_reserve_is_understood() {
    let settings = settled(
        r#"
        [box]
        name = "heron"

        [[shelf]]
        name = "top"
        tray = [{ label = "T1", serial = "WREN0001" }, { label = "T2", serial = "WREN0002" }]

        [[shelf]]
        name = "bottom"
        tray = [{ label = "B1", port = "0000/1f.2/ata-3" }, { label = "B2" }]

        [panel]
        bus = "bcm2835 (i2c@7e804000)"
        address = 0x7A
        rotation = 90
        dim_from = "sunset"
        dim_until = "06:30"
        position = "53.52, -8.1"
        pages = ["space", "state"]

        [watch]
        links = ["enp3s0"]
        ignore_volumes = ["/", "/srv/scratch"]
        always_on_fans = ["adt7475/fan1"]

        [limits.drive]
        hdd_warning_c = 48.5
        gone_hold = "1 min 30 s"

        [grace]
        pools = "5m"
        "#,
    );
    assert_eq!(settings.box_name.as_deref(), Some("heron"));
    let labels: Vec<_> = settings.shelves.iter().flat_map(|shelf| &shelf.trays).map(|tray| &*tray.label).collect();
    assert_eq!(labels, ["T1", "T2", "B1", "B2"]);
    assert_eq!(settings.shelves[1].trays[0].holds, Some(ExpectedDrive::Port("0000/1f.2/ata-3".into())));
    let [panel] = settings.panel.panels.as_slice() else { panic!("{:?}", settings.panel.panels) };
    assert_eq!(panel.bus, Bus::AdapterName("bcm2835 (i2c@7e804000)".into()));
    assert_eq!((panel.address, panel.bus_speed_khz, panel.rotation_degrees), (0x3D, 100, 90));
    let night = settings.panel.night;
    assert_eq!(night.dim, Some(DaySpan { from: DayTime::Sunset, until: DayTime::Clock(390) }));
    assert_eq!((night.dark, night.position), (None, Some(Position { north: 53_520, east: -8_100 })));
    assert_eq!(settings.panel.pages, [PageName::Space, PageName::State]);
    assert_eq!(settings.watch.links, ["enp3s0"]);
    assert_eq!(settings.watch.ignore_volumes, ["/", "/srv/scratch"]);
    assert_eq!(settings.watch.always_on_fans, ["adt7475/fan1"]);
    assert_eq!(settings.limits.drive.hdd_warning_c, 48.5);
    assert_eq!(settings.limits.drive.hdd_critical_c, 58.0);
    assert_eq!(settings.limits.drive.gone_hold, Duration::from_secs(90));
    assert_eq!(settings.limits.grace.pools, Duration::from_secs(300));
}

/// SSD1306 datasheet (Solomon Systech, rev 1.1), section 8.1.5, from memory: the address is 011110 and the level of
/// one pin; the bit for reading and writing follows.
#[test]
fn a_panel_answers_at_two_addresses_in_either_form() {
    for pin in [0b0, 0b1] {
        let seven_bits = (0b011110 << 1) | pin;
        for written in [seven_bits, seven_bits << 1] {
            assert_eq!(
                settled(&format!("panel = {{ bus = '/dev/i2c-1', address = {written} }}")).panel.panels[0].address,
                seven_bits
            );
        }
    }
}

#[test]
fn a_bus_is_none_a_path_or_a_name() {
    for (written, bus) in [
        ("none", None),
        ("None", None),
        ("/dev/i2c-1", Some(Bus::Path("/dev/i2c-1".into()))),
        ("SMBus I801 adapter at efa0", Some(Bus::AdapterName("SMBus I801 adapter at efa0".into()))),
    ] {
        let panels = settled(&format!("panel.bus = '{written}'")).panel.panels;
        assert_eq!(panels.into_iter().next().map(|panel| panel.bus), bus);
    }
}

#[test]
fn more_panels_each_have_their_own_wires_and_panel() {
    let settings = settled(
        "[panel]\nbus = '/dev/i2c-1'\ncontroller = 'sh1106'\n[[panel.more]]\nbus = '/dev/i2c-1'\naddress = 0x7A\n\
         size = '128x32'\nrotation = 270\nbus_speed_khz = 400\nbrightness = 'dim'\n",
    );
    let [front, back] = settings.panel.panels.as_slice() else { panic!("{:?}", settings.panel.panels) };
    assert_eq!((front.controller, front.size, front.rotation_degrees), (PanelController::Sh1106, (128, 64), 0));
    assert_eq!((back.controller, back.size, back.rotation_degrees), (PanelController::Ssd1306, (128, 32), 270));
    assert_eq!((back.address, back.bus_speed_khz, back.brightness), (0x3D, 400, PanelBrightness::Dim));
    let only_more = settled("[[panel.more]]\nbus = '/dev/i2c-2'\n").panel.panels;
    assert_eq!(only_more.len(), 1);
}

#[test]
fn the_examples_of_another_panel_and_of_a_button_in_the_shipped_file_work() {
    let example = DEFAULT_FILE.lines().filter_map(|line| line.strip_prefix("#     "));
    let example: Vec<&str> = example.skip_while(|line| !line.starts_with("[[panel")).collect();
    let end = example.iter().position(|line| line.starts_with("[[alerts")).unwrap_or(example.len());
    let settings = settled(&example[..end].join("\n"));
    assert_eq!(settings.panel.panels.len(), 1);
    let wanted = Button { chip: "/dev/gpiochip0".into(), line: 17, action: ButtonAction::Next, active_low: true };
    assert_eq!(settings.buttons, [wanted]);
}

#[test]
fn files_from_other_editors_are_read() {
    assert_eq!(settled("\u{FEFF}[box]\r\nname = \"heron\"\r\n").box_name.as_deref(), Some("heron"));
}
