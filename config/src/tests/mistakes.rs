//! Every kind of mistake, and what is said about it.

use super::report;
use crate::settle;

/// The report on `text`, of one problem, without its excerpt: place and sentence, then the hint if there is one.
fn said(text: &str) -> String {
    let problems = settle(text, "f").expect_err(text);
    let [problem] = problems.as_slice() else { panic!("wanted one problem, found:\n{problems}") };
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
            "1:2 found the unknown key `panle` at the top level, wanted one of box, shelf, panel, button, watch, limits, \
             grace, self_test, alerts (did you mean `panel`?)",
        ),
        (
            "colour = 1",
            "1:1 found the unknown key `colour` at the top level, wanted one of box, shelf, panel, button, watch, limits, \
             grace, self_test, alerts",
        ),
        (
            "[limits]\ngone_hold = '1 s'",
            "2:1 found the unknown key `gone_hold` in [limits], wanted one of drive, volume, fan, link, processor, supply, pool \
             (it belongs in [limits.drive])",
        ),
        // Several sections have this key, so none of them is named.
        (
            "[limits]\nclear_hold = '1 s'",
            "2:1 found the unknown key `clear_hold` in [limits], wanted one of drive, volume, fan, link, processor, supply, pool",
        ),
        (
            "[[shelf]]\nname = 'top'\nport = 'P'\n[[shelf.tray]]\nlabel = 'A1'",
            "3:1 found the unknown key `port` in [[shelf]], wanted one of name, tray (it belongs in [[shelf.tray]])",
        ),
        (
            "[limits.grace]\npools = '1 s'",
            "1:9 found the unknown key `grace` in [limits], wanted one of drive, volume, fan, link, processor, supply, pool (it belongs at the top level)",
        ),
        (
            "shelf = [{ name = 'top', tray = [{ label = 'A1', colour = 1 }] }]",
            "1:50 found the unknown key `colour` in [[shelf.tray]], wanted one of label, serial, port",
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
    let addresses = "wanted 0x3C or 0x3D without quotes, the two addresses such a panel can have \
                     (printed as 0x78 or 0x7A on many)";
    check(&[
        ("box.hot_swap = 'yes'", "1:16 found 'yes' for `hot_swap`, wanted true or false, without quotes"),
        (
            "panel.rotation = 45",
            "1:18 found 45 for `rotation`, wanted 0, 90, 180 or 270, without quotes: how far the panel is turned \
             clockwise, in degrees",
        ),
        (
            "panel.dim_from = 'dusk'",
            "1:18 found 'dusk' for `dim_from`, wanted \"sunset\", \"sunrise\", or a time of day in quotes, from \"00:00\" \
             to \"23:59\"",
        ),
        (
            "panel.position = '53.5 N'",
            "1:18 found '53.5 N' for `position`, wanted degrees north and east in quotes, such as \"53.5, 8.1\"; south \
             and west are below zero",
        ),
        ("panel.address = '0x3C'", &format!("1:17 found '0x3C' for `address`, {addresses}")),
        ("panel.address = 0x27", &format!("1:17 found 0x27 for `address`, {addresses}")),
        (
            "panel.bus = 1",
            "1:13 found 1 for `bus`, wanted \"none\", a device file such as \"/dev/i2c-1\", or the name of an I2C adapter",
        ),
        (
            "grace.pools = 120",
            "1:15 found 120 for `pools`, wanted a time in quotes with its unit (h, min, s or ms), such as \"5 min\", \
             from 1ms to 168h",
        ),
        (
            "limits.link.flap_window = '59 s'",
            "1:27 found '59 s' for `flap_window`, wanted a time in quotes with its unit (h, min, s or ms), \
             such as \"5 min\", from 1m to 168h",
        ),
        (
            "limits.fan.turning_again_rpm = -1",
            "1:32 found -1 for `turning_again_rpm`, wanted a whole number from 1 to 20000",
        ),
        ("limits.drive.clear_below_c = 0", "1:30 found 0 for `clear_below_c`, wanted a number from 0.5 to 20"),
        ("limits.volume.clear_percent = 0", "1:31 found 0 for `clear_percent`, wanted a number from 0.1 to 9"),
        ("box.language = 'fr'", "1:16 found 'fr' for `language`, wanted one of \"en\", \"de\""),
        (
            "[box]\nname = 'heron'\nlanguage = 'ed'",
            "3:12 found 'ed' for `language`, wanted one of \"en\", \"de\" (did you mean \"en\"?)",
        ),
        (
            "box.name = ' heron'",
            "1:12 found ' heron' for `name`, wanted a text in quotes of 1 to 64 visible characters, \
             without a space at either end",
        ),
    ]);
}

#[test]
fn sections_of_the_wrong_kind() {
    check(&[
        ("panel = 3", "1:9 found 3 for `panel`, wanted a section that starts with [panel]"),
        ("[[panel]]", "1:1 found [[panel]] for `panel`, wanted a section that starts with [panel]"),
        ("[limits]\nfan = 300", "2:7 found 300 for `fan`, wanted a section that starts with [limits.fan]"),
        ("[shelf]", "1:1 found [shelf] for `shelf`, wanted a section that starts with [[shelf]], in double brackets"),
        ("shelf = [7]", "1:10 found 7 for `shelf`, wanted a section that starts with [[shelf]], in double brackets"),
    ]);
}

#[test]
fn panels_that_cannot_be() {
    check(&[
        (
            "[panel]\nbus = '/dev/i2c-1'\ncontroller = 'sh1106'\nsize = '72x40'",
            "4:8 found 72x40 for a panel with sh1106, wanted one that there is: ssd1306 with 128x64, 128x32, 72x40, 64x48; \
             ssd1309 with 128x64; sh1106 with 128x64",
        ),
        (
            "[panel]\nbus = '/dev/i2c-1'\n[[panel.more]]\nbus = '/dev/i2c-1'\naddress = 0x78",
            "4:7 found two panels at 0x3C of this bus, wanted one of them elsewhere",
        ),
        (
            "[[panel.more]]\naddress = 0x3D",
            "1:1 found [[panel.more]] without `bus`, wanted one, such as bus = \"/dev/i2c-1\"",
        ),
        (
            "[panel]\ndark_from = '23:00'",
            "2:13 found `dark_from` in a [panel] without `dark_until`, wanted both or neither",
        ),
        (
            "[panel]\ndim_from = 'sunset'\ndim_until = '06:00'",
            "2:12 found the sun's time for `dim_from` without `position`, wanted both",
        ),
        (
            "[panel]\nposition = 'here'\ndim_from = 'sunset'\ndim_until = 'sunrise'",
            "2:12 found 'here' for `position`, wanted degrees north and east in quotes, such as \"53.5, 8.1\"; south and west \
             are below zero",
        ),
        (
            "[panel]\ndim_from = '22:00'\ndim_until = '25:00'",
            "3:13 found '25:00' for `dim_until`, wanted \"sunset\", \"sunrise\", or a time of day in quotes, from \
             \"00:00\" to \"23:59\"",
        ),
        (
            "[panel]\ndim_from = '06:00'\ndim_until = '06:00'",
            "3:13 found a time that ends when it begins, wanted two times that differ",
        ),
    ]);
}

#[test]
fn buttons_that_cannot_be() {
    check(&[
        ("[[button]]\nchip = 'c'", "1:1 found [[button]] without `line`, wanted one, such as line = 17"),
        (
            "[[button]]\nchip = 'c'\nline = 17\n[[button]]\nchip = 'c'\nline = 17",
            "6:8 found two buttons on line 17 of this chip, wanted one of them elsewhere",
        ),
    ]);
}

#[test]
fn lists() {
    check(&[
        ("watch.links = 'eth0'", "1:15 found 'eth0' for `links`, wanted a list in brackets of 0 to 64 texts"),
        ("panel.pages = []", "1:15 found [] for `pages`, wanted a list in brackets of 1 to 11 texts"),
        ("panel.seconds.room = 2", "1:22 found 2 for `room`, wanted a whole number from 3 to 60"),
        (
            "panel.pages = ['rom']",
            "1:16 found 'rom' for `pages`, wanted one of \"state\", \"shelf\", \"pools\", \"room\", \"throughput\", \
             \"cooling\", \"drives\", \"power\", \"network\", \"alerts\", \"box\" (did you mean \"room\"?)",
        ),
        (
            "panel.pages = [\n'box',\n'state',\n'box']",
            "4:1 found 'box' for `pages`, wanted a different one, as line 2 has it already",
        ),
        (
            "watch.links = ['eth0', 'eth0:1']",
            "1:24 found 'eth0:1' for `links`, wanted the name of a network port, such as \"eth0\"",
        ),
        (
            "watch.ignore_volumes = ['srv']",
            "1:25 found 'srv' for `ignore_volumes`, wanted a mount point that starts with a slash, such as \"/srv\"",
        ),
        (
            "watch.ignore_volumes = ['/srv/']",
            "1:25 found '/srv/' for `ignore_volumes`, wanted a mount point without a slash at its end \
             (did you mean \"/srv\"?)",
        ),
        (
            "watch.always_on_fans = ['fan1']",
            "1:25 found 'fan1' for `always_on_fans`, wanted a chip and its fan, such as \"adt7475/fan1\"",
        ),
    ]);
    let many = format!("watch.links = {:?}", (0..65).map(|n| format!("eth{n}")).collect::<Vec<_>>());
    assert_eq!(
        said(&many),
        "1:15 found [\"eth0\", \"eth1\", \"eth2\", \"eth3\", \"eth4\",… for `links`, \
         wanted a list in brackets of 0 to 64 texts"
    );
}

#[test]
fn a_warning_comes_before_its_critical_limit() {
    check(&[
        // Both written: both lines are named.
        (
            "[limits.drive]\nssd_warning_c = 70\nssd_critical_c = 70",
            "2:17 found 70 for `ssd_warning_c`, wanted less than `ssd_critical_c`, which is 70 on line 3",
        ),
        // One written: the other is a default.
        (
            "limits.drive.hdd_warning_c = 58.5",
            "1:30 found 58.5 for `hdd_warning_c`, wanted less than `hdd_critical_c`, which is 58 by default",
        ),
        (
            "limits.drive.hdd_critical_c = 45",
            "1:31 found 45 for `hdd_critical_c`, wanted more than `hdd_warning_c`, which is 50 by default",
        ),
        (
            "limits.volume.data_warning_percent = 2",
            "1:38 found 2 for `data_warning_percent`, wanted more than `data_critical_percent`, which is 3 by default",
        ),
        (
            "limits.volume.data_critical_below_gib = 100",
            "1:41 found 100 for `data_critical_below_gib`, wanted less than `data_warning_below_gib`, \
             which is 100 by default",
        ),
        (
            "limits.volume.data_floor_gib = 200",
            "1:32 found 200 for `data_floor_gib`, wanted less than `data_warning_below_gib`, which is 100 by default",
        ),
        (
            "limits.volume.root_critical_percent = 15.5",
            "1:39 found 15.5 for `root_critical_percent`, wanted less than `root_warning_percent`, which is 15 by default",
        ),
    ]);
}

#[test]
fn a_refused_value_is_not_judged_a_second_time() {
    check(&[(
        "[limits.drive]\nhdd_warning_c = 57\nhdd_critical_c = 'hot'",
        "3:18 found 'hot' for `hdd_critical_c`, wanted a number from 20 to 100",
    )]);
    check(&[(
        "[limits.drive]\nhdd_warning_c = 90\nhdd_critical_c = 'hot'",
        "3:18 found 'hot' for `hdd_critical_c`, wanted a number from 20 to 100",
    )]);
}

#[test]
fn shelves_and_trays() {
    let label = "wanted a text in quotes of 1 to 4 characters that the panel can show, such as \"A1\"";
    check(&[
        ("[[shelf]]\nname = 'top'", "1:1 found [[shelf]] without [[shelf.tray]], wanted at least 1"),
        (
            "[[shelf]]\n[[shelf.tray]]\nlabel = 'A1'",
            "1:1 found [[shelf]] without `name`, wanted one, such as name = \"top\"",
        ),
        (
            "[[shelf]]\nname = 'top'\n[[shelf.tray]]",
            "3:1 found [[shelf.tray]] without `label`, wanted one, such as label = \"A1\"",
        ),
        (&one_tray("label = 'five5'"), &format!("4:9 found 'five5' for `label`, {label}")),
        (&one_tray("label = ''"), &format!("4:9 found '' for `label`, {label}")),
        (&one_tray("label = '棚1'"), &format!("4:9 found '棚1' for `label`, {label}")),
        (
            &one_tray("label = 'A1'\nserial = 'X'\nport = 'Y'"),
            "6:8 found `port` in a [[shelf.tray]] that has `serial` on line 5, wanted only one of them",
        ),
        (
            &one_tray("label = 'A1'\nserial = 1234"),
            "5:10 found 1234 for `serial`, wanted a text in quotes of 1 to 128 visible characters, \
             without a space at either end",
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
            "6:19 found 'A1' for `label`, wanted a different one, as line 3 has it already",
        ),
        (
            &two_shelves("label = 'A1', serial = 'X'", "label = 'A2', serial = 'x'"),
            "6:34 found 'x' for `serial`, wanted a different one, as line 3 has it already",
        ),
        (
            &two_shelves("label = 'A1', port = 'P'", "label = 'A2', port = 'P'"),
            "6:32 found 'P' for `port`, wanted a different one, as line 3 has it already",
        ),
        (
            &two_shelves("label = 'A1'", "label = 'A2'").replace("low", "top"),
            "5:8 found 'top' for `name`, wanted a different one, as line 2 has it already",
        ),
    ]);
    assert!(settle(&two_shelves("label = 'A1', serial = 'X'", "label = 'A2', port = 'X'"), "f").is_ok());
}

#[test]
fn there_are_at_most_sixteen_shelves_of_sixteen_trays() {
    let shelf = |shelf: usize, trays: usize| {
        let trays: String = (0..trays).map(|tray| format!("[[shelf.tray]]\nlabel = '{shelf:x}.{tray}'\n")).collect();
        format!("[[shelf]]\nname = '{shelf}'\n{trays}")
    };
    let most: String = (0..16).map(|n| shelf(n, 16)).collect();
    assert_eq!(settle(&most, "f").unwrap().shelves.len(), 16);
    assert_eq!(said(&format!("{most}{}", shelf(16, 1))), "545:1 found 17 of [[shelf]] here, wanted at most 16");
    assert_eq!(said(&shelf(0, 17)), "35:1 found 17 of [[shelf.tray]] here, wanted at most 16");
}

fn one_tray(keys: &str) -> String {
    format!("[[shelf]]\nname = 'top'\n[[shelf.tray]]\n{keys}")
}
