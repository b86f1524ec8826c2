//! The words of the report, to the letter.

use super::report;

#[test]
fn five_mistakes_are_told_at_once() {
    let text = r#"[box]
name = "heron"

[panel]
adress = 0x3C
brightness = "brigth"
page_seconds = 90

[[shelf]]
name = "top"
tray = [{ label = "A1" }, { label = "a1" }]

[limits.drive]
hdd_critical_c = 55
hdd_warning_c = 60
"#;
    assert_eq!(
        report(text),
        r#"traylight.toml:5:1: unknown key `adress` in [panel], expected one of bus, address, bus_speed_khz, controller, size, rotation, brightness, more, dim_from, dim_until, dark_from, dark_until, position, page_seconds, pages, seconds
    5 | adress = 0x3C
      | ^^^^^^ did you mean `address`?
traylight.toml:6:14: `brightness`: expected one of "dim", "normal", "bright", found "brigth"
    6 | brightness = "brigth"
      |              ^^^^^^^^ did you mean "bright"?
traylight.toml:7:16: `page_seconds`: expected a whole number from 3 to 60, found 90
    7 | page_seconds = 90
      |                ^^
traylight.toml:11:37: `label`: expected a different value for each, found "a1" again; it is already on line 11
   11 | tray = [{ label = "A1" }, { label = "a1" }]
      |                                     ^^^^
   11 | tray = [{ label = "A1" }, { label = "a1" }]
      |                   ^^^^
traylight.toml:15:17: `hdd_warning_c`: expected less than `hdd_critical_c`, which is 55 on line 14, found 60
   15 | hdd_warning_c = 60
      |                 ^^
   14 | hdd_critical_c = 55
      |                  ^^
5 problems"#
    );
}

#[test]
fn a_file_that_is_not_toml_is_one_problem_with_its_place() {
    assert_eq!(
        report("[box]\nname = heron\ncolour = 3\n"),
        r#"traylight.toml:2:8: not valid TOML: string values must be quoted, expected literal string
    2 | name = heron
      |        ^^^^^
1 problem"#
    );
}

#[test]
fn a_file_too_large_is_not_read() {
    let text = "#".repeat(256 * 1024 + 1);
    assert_eq!(report(&text), "traylight.toml:1:1: expected at most 262144 bytes, found 262145\n1 problem");
    assert!(crate::settle(&text[1..], "traylight.toml").is_ok());
}

#[test]
fn a_text_full_of_mistakes_has_a_report_of_bounded_length() {
    let text: String = (0..30_000).map(|n| format!("x{n}=1\n")).collect();
    let report = report(&text);
    assert_eq!(report.matches("traylight.toml:").count(), 100);
    assert!(report.ends_with("\n30000 problems; the first 100 are shown"), "{}", &report[report.len() - 100..]);
}

#[test]
fn nothing_in_a_report_can_steer_a_terminal() {
    let text = "\"\\u001b[2J\" = 1\n[box]\nname = \"\u{202e}nogo\"\n";
    let report = crate::settle(text, "tray\u{1b}light.toml").unwrap_err().to_string();
    assert!(report.contains("tray\u{FFFD}light.toml:3:8"), "{report}");
    assert!(!report.contains(['\u{1b}', '\u{202e}']), "{report}");
}
