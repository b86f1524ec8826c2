//! Every kind of mistake, and what is said about it.

use super::report;
use crate::settle;

/// The report on `text`, of one problem, without its excerpt: place and sentence, then the hint if there is one.
fn said(text: &str) -> String {
    let problems = settle(text, "f").expect_err(text);
    let [problem] = problems.as_slice() else { panic!("expected one problem, found:\n{problems}") };
    let hint = problem.hint.as_ref().map(|hint| format!(" ({hint})")).unwrap_or_default();
    format!("{}:{} {}{hint}", problem.line, problem.column, problem.message)
}

/// As `said`, with what must be said behind each text.
fn check(cases: &[(&str, &str)]) {
    for (text, wanted) in cases {
        assert_eq!(said(text), *wanted, "in {text:?}");
    }
}

#[test]
fn unknown_keys_wherever_they_are() {
    check(&[
        (
            "[panle]",
            "1:2 unknown key `panle` at the top level, expected one of box, shelf, panel, button, watch, limits, \
             grace, self_test, alerts (did you mean `panel`?)",
        ),
        (
            "colour = 1",
            "1:1 unknown key `colour` at the top level, expected one of box, shelf, panel, button, watch, limits, \
             grace, self_test, alerts",
        ),
        (
            "[limits]\ngone_hold = '1 s'",
            "2:1 unknown key `gone_hold` in [limits], expected one of drive, volume, fan, link, processor, supply, pool \
             (it belongs in [limits.drive])",
        ),
        // Several sections have this key, so none of them is named.
        (
            "[limits]\nclear_hold = '1 s'",
            "2:1 unknown key `clear_hold` in [limits], expected one of drive, volume, fan, link, processor, supply, pool",
        ),
        (
            "[[shelf]]\nname = 'top'\nport = 'P'\n[[shelf.tray]]\nlabel = 'A1'",
            "3:1 unknown key `port` in [[shelf]], expected one of name, tray (it belongs in [[shelf.tray]])",
        ),
        (
            "[limits.grace]\npools = '1 s'",
            "1:9 unknown key `grace` in [limits], expected one of drive, volume, fan, link, processor, supply, pool (it belongs at the top level)",
        ),
        (
            "shelf = [{ name = 'top', tray = [{ label = 'A1', colour = 1 }] }]",
            "1:50 unknown key `colour` in [[shelf.tray]], expected one of label, serial, port",
        ),
    ]);
}

#[test]
fn all_unknown_keys_are_told_at_once() {
    let report = report("x1 = 1\n[panel]\nx2 = 1\n[limits.fan]\nx3 = 1\nx4 = 1\n");
    for key in ["x1", "x2", "x3", "x4"] {
        assert!(report.contains(&format!("unknown key `{key}`")), "{report}");
    }
}

#[test]
fn values_of_the_wrong_kind() {
    let addresses = "expected 0x3C or 0x3D without quotes, the two addresses such a panel can have \
                     (printed as 0x78 or 0x7A on many)";
    check(&[
        ("box.hot_swap = 'yes'", "1:16 `hot_swap`: expected true or false, without quotes, found 'yes'"),
        (
            "panel.rotation = 45",
            "1:18 `rotation`: expected 0, 90, 180 or 270, without quotes: how far the panel is turned \
             clockwise, in degrees, found 45",
        ),
        (
            "panel.dim_from = 'dusk'",
            "1:18 `dim_from`: expected \"sunset\", \"sunrise\", or a time of day in quotes, from \"00:00\" \
             to \"23:59\", found 'dusk'",
        ),
        (
            "panel.position = '53.5 N'",
            "1:18 `position`: expected degrees north and east in quotes, such as \"53.5, 8.1\"; south \
             and west are below zero, found '53.5 N'",
        ),
        ("panel.address = '0x3C'", &format!("1:17 `address`: {addresses}, found '0x3C'")),
        ("panel.address = 0x27", &format!("1:17 `address`: {addresses}, found 0x27")),
        (
            "panel.bus = 1",
            "1:13 `bus`: expected \"none\", a device file such as \"/dev/i2c-1\", or the name of an I2C adapter, found 1",
        ),
        (
            "grace.pools = 120",
            "1:15 `pools`: expected a time in quotes with its unit (h, min, s or ms), such as \"5 min\", \
             found 120",
        ),
        ("limits.link.flap_window = '59 s'", "1:27 `flap_window`: expected at least 60 s, found '59 s'"),
        (
            "limits.fan.turning_again_rpm = -1",
            "1:32 `turning_again_rpm`: expected a whole number from 1 to 20000, found -1",
        ),
        ("limits.drive.clear_below_c = 0", "1:30 `clear_below_c`: expected a number from 0.5 to 20, found 0"),
        ("limits.volume.clear_percent = 0", "1:31 `clear_percent`: expected a number from 0.1 to 9, found 0"),
        ("box.language = 'fr'", "1:16 `language`: expected one of \"en\", \"de\", found 'fr'"),
        ("[box]\nname = 'heron'\nlanguage = 'ed'", "3:12 `language`: expected one of \"en\", \"de\", found 'ed'"),
        (
            "box.name = ' heron'",
            "1:12 `name`: expected a text in quotes of 1 to 64 visible characters, \
             without a space at either end, found ' heron'",
        ),
    ]);
}

#[test]
fn sections_of_the_wrong_kind() {
    check(&[
        ("panel = 3", "1:9 `panel`: expected a section that starts with [panel], found 3"),
        ("[[panel]]", "1:1 `panel`: expected a section that starts with [panel], found [[panel]]"),
        ("[limits]\nfan = 300", "2:7 `fan`: expected a section that starts with [limits.fan], found 300"),
        ("[shelf]", "1:1 `shelf`: expected a section that starts with [[shelf]], in double brackets, found [shelf]"),
        ("shelf = [7]", "1:10 `shelf`: expected a section that starts with [[shelf]], in double brackets, found 7"),
    ]);
}

#[test]
fn panels_that_cannot_be() {
    check(&[
        (
            "[panel]\nbus = '/dev/i2c-1'\ncontroller = 'sh1106'\nsize = '72x40'",
            "4:8 expected ssd1306 with 128x64, 128x32, 72x40, 64x48; ssd1309 with 128x64; sh1106 with 128x64; found sh1106 \
             with 72x40",
        ),
        (
            "[panel]\nbus = '/dev/i2c-1'\n[[panel.more]]\nbus = '/dev/i2c-1'\naddress = 0x78",
            "4:7 expected each panel at an address of its own, found two at 0x3C of this bus",
        ),
        (
            "[[panel.more]]\naddress = 0x3D",
            "1:1 expected `bus` in [[panel.more]], found none; add one, such as bus = \"/dev/i2c-1\"",
        ),
        (
            "[panel]\ndark_from = '23:00'",
            "2:13 expected both `dark_from` and `dark_until` in [panel], or neither; found only `dark_from`",
        ),
        (
            "[panel]\ndim_from = 'sunset'\ndim_until = '06:00'",
            "2:12 `dim_from`: expected `position` with sunset or sunrise, found none",
        ),
        (
            "[panel]\nposition = 'here'\ndim_from = 'sunset'\ndim_until = 'sunrise'",
            "2:12 `position`: expected degrees north and east in quotes, such as \"53.5, 8.1\"; south and west \
             are below zero, found 'here'",
        ),
        (
            "[panel]\ndim_from = '22:00'\ndim_until = '25:00'",
            "3:13 `dim_until`: expected \"sunset\", \"sunrise\", or a time of day in quotes, from \
             \"00:00\" to \"23:59\", found '25:00'",
        ),
        (
            "[panel]\ndim_from = '06:00'\ndim_until = '06:00'",
            "3:13 expected `dim_until` to differ from `dim_from`, found the same time",
        ),
    ]);
}

#[test]
fn buttons_that_cannot_be() {
    check(&[
        ("[[button]]\nchip = 'c'", "1:1 expected `line` in [[button]], found none; add one, such as line = 17"),
        (
            "[[button]]\nchip = 'c'\nline = 17\n[[button]]\nchip = 'c'\nline = 17",
            "6:8 expected each button on a line of its own, found two on line 17 of this chip",
        ),
    ]);
}

#[test]
fn lists() {
    check(&[
        ("watch.links = 'eth0'", "1:15 `links`: expected a list in brackets of 0 to 64 texts, found 'eth0'"),
        ("panel.pages = []", "1:15 `pages`: expected a list in brackets of 1 to 11 texts, found []"),
        ("panel.seconds.space = 2", "1:23 `space`: expected a whole number from 3 to 60, found 2"),
        (
            "panel.pages = ['spac']",
            "1:16 `pages`: expected one of \"state\", \"shelf\", \"pools\", \"space\", \"traffic\", \
             \"cooling\", \"drives\", \"power\", \"network\", \"alerts\", \"box\", found 'spac' (did you mean \"space\"?)",
        ),
        (
            "panel.pages = [\n'box',\n'state',\n'box']",
            "4:1 `pages`: expected a different value for each, found 'box' again; it is already on line 2",
        ),
        (
            "watch.links = ['eth0', 'eth0:1']",
            "1:24 `links`: expected the name of a network port, such as \"eth0\", found 'eth0:1'",
        ),
        (
            "watch.ignore_volumes = ['srv']",
            "1:25 `ignore_volumes`: expected a mount point that starts with a slash, such as \"/srv\", found 'srv'",
        ),
        (
            "watch.ignore_volumes = ['/srv/']",
            "1:25 `ignore_volumes`: expected a mount point without a slash at its end, found '/srv/' \
             (did you mean \"/srv\"?)",
        ),
        (
            "watch.always_on_fans = ['fan1']",
            "1:25 `always_on_fans`: expected a chip and its fan, such as \"adt7475/fan1\", found 'fan1'",
        ),
    ]);
    let many = format!("watch.links = {:?}", (0..65).map(|n| format!("eth{n}")).collect::<Vec<_>>());
    assert_eq!(
        said(&many),
        "1:15 `links`: expected a list in brackets of 0 to 64 texts, \
         found [\"eth0\", \"eth1\", \"eth2\", \"eth3\", \"eth4\",…"
    );
}

#[test]
fn a_warning_comes_before_its_critical_limit() {
    check(&[
        // Both written: both lines are named.
        (
            "[limits.drive]\nssd_warning_c = 70\nssd_critical_c = 70",
            "2:17 `ssd_warning_c`: expected less than `ssd_critical_c`, which is 70 on line 3, found 70",
        ),
        // One written: the other is a default.
        (
            "limits.drive.hdd_warning_c = 58.5",
            "1:30 `hdd_warning_c`: expected less than `hdd_critical_c`, which is 58 by default, found 58.5",
        ),
        (
            "limits.drive.hdd_critical_c = 45",
            "1:31 `hdd_critical_c`: expected more than `hdd_warning_c`, which is 50 by default, found 45",
        ),
        (
            "limits.volume.data_warning_percent = 2",
            "1:38 `data_warning_percent`: expected more than `data_critical_percent`, which is 3 by default, found 2",
        ),
        (
            "limits.volume.data_critical_below_gib = 100",
            "1:41 `data_critical_below_gib`: expected less than `data_warning_below_gib`, \
             which is 100 by default, found 100",
        ),
        (
            "limits.volume.data_floor_gib = 200",
            "1:32 `data_floor_gib`: expected less than `data_warning_below_gib`, which is 100 by default, found 200",
        ),
        (
            "limits.volume.root_critical_percent = 15.5",
            "1:39 `root_critical_percent`: expected less than `root_warning_percent`, which is 15 by default, found 15.5",
        ),
    ]);
}

#[test]
fn a_refused_value_is_not_judged_a_second_time() {
    check(&[(
        "[limits.drive]\nhdd_warning_c = 57\nhdd_critical_c = 'hot'",
        "3:18 `hdd_critical_c`: expected a number from 20 to 100, found 'hot'",
    )]);
    check(&[(
        "[limits.drive]\nhdd_warning_c = 90\nhdd_critical_c = 'hot'",
        "3:18 `hdd_critical_c`: expected a number from 20 to 100, found 'hot'",
    )]);
}

#[test]
fn shelves_and_trays() {
    let label = "expected a text in quotes of 1 to 4 letters, digits or hyphens, such as \"A1\"";
    check(&[
        ("[[shelf]]\nname = 'top'", "1:1 expected at least 1 [[shelf.tray]] in [[shelf]], found 0"),
        (
            "[[shelf]]\n[[shelf.tray]]\nlabel = 'A1'",
            "1:1 expected `name` in [[shelf]], found none; add one, such as name = \"top\"",
        ),
        (
            "[[shelf]]\nname = 'top'\n[[shelf.tray]]",
            "3:1 expected `label` in [[shelf.tray]], found none; add one, such as label = \"A1\"",
        ),
        (&one_tray("label = 'five5'"), &format!("4:9 `label`: {label}, found 'five5'")),
        (&one_tray("label = ''"), &format!("4:9 `label`: {label}, found ''")),
        (&one_tray("label = '棚1'"), &format!("4:9 `label`: {label}, found '棚1'")),
        (
            &one_tray("label = 'A1'\nserial = 'X'\nport = 'Y'"),
            "6:8 expected `port` or `serial` in [[shelf.tray]], found both; `serial` is on line 5",
        ),
        (
            &one_tray("label = 'A1'\nserial = 1234"),
            "5:10 `serial`: expected a text in quotes of 1 to 128 visible characters, \
             without a space at either end, found 1234",
        ),
    ]);
    let umlaut = one_tray("label = 'Ü1'");
    assert!(settle(&umlaut, "f").is_ok());
}

#[test]
fn no_two_trays_can_be_mistaken_for_each_other() {
    let two_shelves = |one: &str, other: &str| {
        format!("[[shelf]]\nname = 'top'\ntray = [{{ {one} }}]\n[[shelf]]\nname = 'low'\ntray = [{{ {other} }}]")
    };
    check(&[
        (
            &two_shelves("label = 'A1'", "label = 'A1'"),
            "6:19 `label`: expected a different value for each, found 'A1' again; it is already on line 3",
        ),
        (
            &two_shelves("label = 'A1', serial = 'X'", "label = 'A2', serial = 'x'"),
            "6:34 `serial`: expected a different value for each, found 'x' again; it is already on line 3",
        ),
        (
            &two_shelves("label = 'A1', port = 'P'", "label = 'A2', port = 'P'"),
            "6:32 `port`: expected a different value for each, found 'P' again; it is already on line 3",
        ),
        (
            &two_shelves("label = 'A1'", "label = 'A2'").replace("low", "top"),
            "5:8 `name`: expected a different value for each, found 'top' again; it is already on line 2",
        ),
    ]);
    assert!(settle(&two_shelves("label = 'A1', serial = 'X'", "label = 'A2', port = 'X'"), "f").is_ok());
}

#[test]
fn there_are_at_most_sixteen_shelves_of_sixteen_trays() {
    let shelf = |shelf: usize, trays: usize| {
        let trays: String = (0..trays).map(|tray| format!("[[shelf.tray]]\nlabel = '{shelf:x}-{tray}'\n")).collect();
        format!("[[shelf]]\nname = '{shelf}'\n{trays}")
    };
    let most: String = (0..16).map(|n| shelf(n, 16)).collect();
    assert_eq!(settle(&most, "f").unwrap().shelves.len(), 16);
    assert_eq!(said(&format!("{most}{}", shelf(16, 1))), "545:1 expected at most 16 [[shelf]], found 17");
    assert_eq!(said(&shelf(0, 17)), "35:1 expected at most 16 [[shelf.tray]], found 17");
}

fn one_tray(keys: &str) -> String {
    format!("[[shelf]]\nname = 'top'\n[[shelf.tray]]\n{keys}")
}
