//! Stories of boxes that are set up.

#![allow(clippy::disallowed_methods, reason = "what was written is read back")]

use super::*;
use crate::clock::Moment;
use crate::demo::{heron, story};
use crate::tell::words::phrases::Language;
use std::fs;
use std::os::unix::fs::PermissionsExt;
use std::time::Duration;
use traylight_config::{ExpectedDrive, Settings, default_file, settle};

fn drive(device: &str, serial: &str, port: &str) -> Candidate {
    Candidate {
        key: serial.to_owned(),
        device: device.to_owned(),
        model: Some("Warbler 4T".to_owned()),
        serial: Some(serial.to_owned()),
        port: Some(port.to_owned()),
        is_usb: false,
        pools: Vec::new(),
    }
}

/// Three drives on a controller.
fn three() -> Scene<'static> {
    let drives = vec![
        drive("sdb", "WREN-0001", "0000/1f.2/ata-1"),
        drive("sda", "WREN-0002", "0000/1f.2/ata-2"),
        drive("sdc", "LARK-0002", "0000/1f.2/ata-10"),
    ];
    Scene { drives, boot: Some("first".to_owned()), configured: &[], shelf_word: "shelf" }
}

fn text(text: &str) -> Answer {
    Answer::Text(text.to_owned())
}

/// The walk after all these answers, which all count.
fn after(scene: &Scene, answers: &[Answer]) -> Walk {
    answers.iter().fold(Walk::begin(), |walk, given| {
        answer(&walk, scene, given).unwrap_or_else(|why| panic!("{given:?} to {:?}: {why:?}", next(&walk, scene)))
    })
}

fn refused(walk: &Walk, scene: &Scene, given: &Answer) -> Wrong {
    answer(walk, scene, given).expect_err("it does not count")
}

/// What the configuration says of the trays, in their order.
fn held(settings: &Settings) -> Vec<(&str, Option<&ExpectedDrive>)> {
    let trays = settings.shelves.iter().flat_map(|shelf| &shelf.trays);
    trays.map(|tray| (tray.label.as_str(), tray.holds.as_ref())).collect()
}

#[test]
fn drives_are_listed_in_the_order_of_their_ports_and_a_shared_serial_is_none() {
    let mut snapshot = heron::snapshot(Moment::default(), &story::scene(Duration::ZERO));
    let ports = ["0000/1f.2/ata-10", "0000/1f.2/ata-9", "0000/1f.2/ata-2"];
    snapshot.drives.truncate(4);
    snapshot.drives.iter_mut().zip(ports).for_each(|(drive, port)| drive.port = Some(port.to_owned()));
    snapshot.drives[3].port = None;
    snapshot.drives[3].serial = snapshot.drives[0].serial.clone();
    let found = candidates(&snapshot);
    let order: Vec<Option<&str>> = found.iter().map(|drive| drive.port.as_deref()).collect();
    assert_eq!(order, [Some(ports[2]), Some(ports[1]), Some(ports[0]), None]);
    assert!(found[0].serial.is_some() && found[2].serial.is_none(), "{found:?}");
    assert_eq!(found[2].holds(), Some(Holds::Port(ports[0].to_owned())));
    assert_eq!(found[3].holds(), None);
}

#[test]
fn printed_serials_name_the_trays_and_wrong_answers_change_nothing() {
    let scene = three();
    let walk = Walk::begin();
    for number in ["", "0", "17", "two", "-1", "1.5"] {
        assert!(matches!(refused(&walk, &scene, &text(number)), Wrong::Number { .. }), "{number}");
    }
    let walk = after(&scene, &[text("1")]);
    assert_eq!(next(&walk, &scene), Step::Labels { shelf: 1, proposed: ["1", "2", "3"].map(str::to_owned).into() });
    assert_eq!(refused(&walk, &scene, &text("  ")), Wrong::LabelCount { found: 0 });
    assert_eq!(refused(&walk, &scene, &text(&"a ".repeat(17))), Wrong::LabelCount { found: 17 });
    for label in ["A1\u{1b}", "toolong", "-1", "\"", "鳥"] {
        assert_eq!(refused(&walk, &scene, &text(&format!("B1 {label}"))), Wrong::Label { found: label.to_owned() });
    }
    assert_eq!(refused(&walk, &scene, &text("A1 B1 A1")), Wrong::LabelTwice { label: "A1".to_owned() });

    let mut walk = after(&scene, &[text("1"), text("A1, A2 A3"), Answer::Way(Way::Serials)]);
    assert_eq!(refused(&walk, &scene, &text("002")), Wrong::TooShort { found: "002".to_owned() });
    assert!(matches!(refused(&walk, &scene, &text("0009")), Wrong::NoSerial { there, .. } if there.len() == 3));
    assert!(matches!(refused(&walk, &scene, &text("0002")), Wrong::Ambiguous { fitting, .. } if fitting.len() == 2));
    walk = answer(&walk, &scene, &text(" lark-0002 ")).expect("one drive ends so");
    let taken = Wrong::Taken { serial: "LARK-0002".to_owned(), tray: "A1".to_owned() };
    assert_eq!(refused(&walk, &scene, &text("LARK-0002")), taken);
    walk = answer(&walk, &scene, &text("")).expect("a tray may be empty");
    walk = answer(&walk, &scene, &text("0001")).expect("one drive ends so");
    assert_eq!(next(&walk, &scene), Step::Agree { absent: Vec::new() });
    assert_eq!(refused(&walk, &scene, &text("yes")), Wrong::NotYesOrNo);
    walk = answer(&walk, &scene, &Answer::Yes(true)).expect("it is agreed");
    assert_eq!(next(&walk, &scene), Step::Write);

    let written = with_shelves(&default_file(), &walk.shelves).expect("it is TOML");
    let settings = settle(&written, "f").expect("check accepts it");
    let serial = |serial: &str| ExpectedDrive::Serial(serial.to_owned());
    let expected = [("A1", Some(&serial("LARK-0002"))), ("A2", None), ("A3", Some(&serial("WREN-0001")))];
    assert_eq!(held(&settings), expected);
}

#[test]
fn a_label_of_another_shelf_is_taken_and_no_starts_the_naming_over() {
    let scene = three();
    let walk = after(&scene, &[text("2"), text("A1 A2")]);
    assert_eq!(next(&walk, &scene), Step::Labels { shelf: 2, proposed: vec!["3".to_owned()] });
    assert_eq!(refused(&walk, &scene, &text("A2")), Wrong::LabelTwice { label: "A2".to_owned() });
    let answers = [text("2"), text("A1 A2"), text("B1"), Answer::Way(Way::Ports), Answer::Yes(true)];
    let walk = after(&scene, &answers);
    let walk = answer(&walk, &scene, &Answer::Yes(false)).expect("it may be wrong");
    assert_eq!(next(&walk, &scene), Step::Way);
    assert!(walk.trays().all(|tray| tray.holds.is_none()) && walk.shelves.len() == 2);
}

#[test]
fn no_order_is_made_up() {
    let mut scene = three();
    let two = after(&scene, &[text("1"), text("1 2")]);
    let ports = Answer::Way(Way::Ports);
    assert_eq!(refused(&two, &scene, &ports), Wrong::NotAsMany { trays: 2, drives: 3 });
    let three = after(&scene, &[text("1"), text("1 2 3")]);
    let asked = answer(&three, &scene, &ports).expect("three drives have three ports");
    // A drive goes while the owner compares.
    let gone = scene.drives.pop();
    assert_eq!(refused(&asked, &scene, &Answer::Yes(true)), Wrong::NotAsMany { trays: 3, drives: 2 });
    scene.drives.extend(gone);
    scene.drives[1].is_usb = true;
    scene.drives[2].port = None;
    let without = Wrong::NoOrder { drives: vec!["sda".to_owned(), "sdc".to_owned()] };
    assert_eq!(refused(&three, &scene, &ports), without);
}

/// The box after the next power-off, with these of its three drives.
fn restarted(boot: &str, drives: &[usize]) -> Scene<'static> {
    let all = three().drives;
    Scene { boot: Some(boot.to_owned()), drives: drives.iter().map(|&at| all[at].clone()).collect(), ..three() }
}

#[test]
fn one_tray_at_a_time_is_remembered_over_each_power_off() {
    let yes = Answer::Yes(true);
    let walk = after(&three(), &[text("1"), text("A B C"), Answer::Way(Way::OneByOne)]);
    assert_eq!(next(&walk, &three()), Step::TakeOut);
    // The drive on the first port is the system's and stays.
    let walk = answer(&walk, &restarted("second", &[0]), &yes).expect("the trays are empty");
    let put_in = |tray: &str| Step::PutIn { tray: tray.to_owned() };
    assert_eq!(next(&walk, &restarted("second", &[0, 1])), put_in("A"), "it was not off");

    let third = restarted("third", &[0, 2]);
    assert!(matches!(next(&walk, &third), Step::Found { tray, drive } if tray == "A" && drive.device == "sdc"));
    // Kept as text in between.
    let walk = answer(&walk, &third, &yes).expect("it is that drive");
    let walk = Walk::from_text(&serde_json::to_string(&walk).expect("it is JSON")).expect("it is the same format");
    assert_eq!(next(&walk, &third), put_in("B"));

    let unclear = next(&walk, &restarted("fourth", &[0, 1]));
    let Step::Unclear { new, gone, .. } = unclear else { panic!("a drive has gone: {unclear:?}") };
    assert_eq!((new[0].device.as_str(), &gone[..]), ("sda", &["LARK-0002".to_owned()][..]));

    let fifth = restarted("fifth", &[0, 2]);
    assert_eq!(next(&walk, &fifth), Step::NoneNew { tray: "B".to_owned() });
    let again = answer(&walk, &fifth, &Answer::Yes(false)).expect("it was not put in");
    assert_eq!(next(&again, &fifth), put_in("B"));
    let walk = answer(&again, &restarted("sixth", &[0, 2]), &yes).expect("it is empty");
    let walk = answer(&walk, &restarted("seventh", &[0, 1, 2]), &yes).expect("the last drive");
    let held: Vec<Option<Holds>> = walk.trays().map(|tray| tray.holds.clone()).collect();
    let serial = |serial: &str| Some(Holds::Serial(serial.to_owned()));
    assert_eq!(held, [serial("LARK-0002"), Some(Holds::Nothing), serial("WREN-0002")]);
}

#[test]
fn two_new_drives_or_one_without_identity_are_not_guessed() {
    let yes = Answer::Yes(true);
    let walk = after(&three(), &[text("1"), text("A"), Answer::Way(Way::OneByOne)]);
    let walk = answer(&walk, &restarted("second", &[]), &yes).expect("the trays are empty");
    assert!(matches!(next(&walk, &restarted("third", &[0, 1])), Step::Unclear { new, .. } if new.len() == 2));
    let mut nameless = restarted("third", &[1]);
    (nameless.drives[0].serial, nameless.drives[0].port) = (None, None);
    assert!(matches!(next(&walk, &nameless), Step::Unclear { .. }));
    // A new drive that is in another place than the owner says is compared again.
    let third = restarted("third", &[1]);
    let walk = answer(&walk, &third, &Answer::Yes(false)).expect("it may be wrong");
    assert!(matches!(next(&walk, &restarted("fourth", &[1])), Step::Found { .. }));
    // Without a boot id nothing can be known of a restart.
    let unknown = Scene { boot: None, ..three() };
    let walk = after(&unknown, &[text("1"), text("A")]);
    assert_eq!(refused(&walk, &unknown, &Answer::Way(Way::OneByOne)), Wrong::NoBootId);
}

/// A file as an owner writes it.
const OWNED: &str = "\
# my box
[panel]
bus = \"none\" # still in its bag

# the upper shelf
[[shelf]]
name = \"attic\"   # as painted

[[shelf.tray]]
label = \"A1\" # sticky
# bought in spring
serial = \"OLD-0001\" # replaced once

[[shelf.tray]]
# a port for now
port = \"0000/14.0/usb-2.1:0\"
label = \"A2\"

[limits.drive]
gone_hold = \"20 s\" # slow backplane
# the end
";

fn planned(trays: &[(&str, Holds)]) -> Vec<PlannedShelf> {
    let trays =
        trays.iter().map(|(label, holds)| PlannedTray { label: (*label).to_owned(), holds: Some(holds.clone()) });
    vec![PlannedShelf { name: "attic".to_owned(), trays: trays.collect() }]
}

#[test]
fn the_owners_comments_and_order_stay() {
    let serial = |serial: &str| Holds::Serial(serial.to_owned());
    let port = |port: &str| Holds::Port(port.to_owned());
    let same = planned(&[("A1", serial("OLD-0001")), ("A2", port("0000/14.0/usb-2.1:0"))]);
    assert_eq!(with_shelves(OWNED, &same).as_deref(), Ok(OWNED));

    let other = with_shelves(OWNED, &planned(&[("A1", serial("NEW-0001")), ("A2", serial("NEW-0002"))])).expect("TOML");
    assert_eq!(
        difference(OWNED, &other).into_iter().filter(|line| !line.starts_with("  ")).collect::<Vec<_>>(),
        [
            "- serial = \"OLD-0001\" # replaced once",
            "+ serial = \"NEW-0001\" # replaced once",
            "- [[shelf.tray]]",
            "- port = \"0000/14.0/usb-2.1:0\"",
            "+ [[shelf.tray]]",
            "+ serial = \"NEW-0002\"",
        ]
    );
    // Another tray between them, and one less.
    let more = planned(&[("A1", serial("OLD-0001")), ("A3", Holds::Nothing), ("A2", port("0000/14.0/usb-2.1:0"))]);
    let more = with_shelves(OWNED, &more).expect("TOML");
    let labels: Vec<String> = held(&settle(&more, "f").expect("valid")).iter().map(|held| held.0.to_owned()).collect();
    assert_eq!(labels, ["A1", "A3", "A2"]);
    for comment in OWNED.split('#').skip(1).map(|comment| comment.lines().next().unwrap_or_default()) {
        assert!(more.contains(comment) && other.contains(comment), "{comment} is lost: {other}{more}");
    }
    let less = with_shelves(&more, &planned(&[("A1", Holds::Nothing)])).expect("TOML");
    assert_eq!(held(&settle(&less, "f").expect("valid")), [("A1", None)]);
}

#[test]
fn the_default_file_gets_shelves_behind_its_commented_keys() {
    let text =
        with_shelves(&default_file(), &planned(&[("A1", Holds::Serial("X\"\\-0001".to_owned()))])).expect("TOML");
    assert!(text.starts_with(default_file().trim_end()), "{text}");
    let settings = settle(&text, "f").expect("check accepts it");
    assert_eq!(held(&settings), [("A1", Some(&ExpectedDrive::Serial("X\"\\-0001".to_owned())))]);
    assert_eq!(with_shelves("", &planned(&[("A1", Holds::Nothing)])).expect("TOML").lines().count(), 5);
}

#[test]
fn the_difference_leads_from_one_text_to_the_other() {
    let cases = [("a\nb\nc\n", "a\nx\nc\nd\n"), ("", "a\nb\n"), ("a\nb\n", ""), ("a\nb\na\nc\n", "b\na\nd\na\n")];
    for (before, after) in cases {
        let lines = difference(before, after);
        let of = |mark: &str| -> Vec<String> {
            let own = lines.iter().filter(|line| line.starts_with(mark) || line.starts_with("  "));
            own.map(|line| line[2..].to_owned()).collect()
        };
        assert_eq!(of("- "), before.lines().collect::<Vec<_>>());
        assert_eq!(of("+ "), after.lines().collect::<Vec<_>>());
    }
    assert_eq!(difference("a\n", "a\n").iter().filter(|line| !line.starts_with("  ")).count(), 0);
}

#[test]
fn shelves_are_drawn_and_continue_below_where_there_is_no_room() {
    let trays =
        [("A1", Holds::Serial("WREN-0001".to_owned())), ("A2", Holds::Nothing), ("A3", Holds::Port("usb".into()))];
    let mut shelves = planned(&trays);
    shelves[0].trays[2].holds = None;
    let wide = "+------+------+------+\n|  A1  |  A2  |  A3  |\n| 0001 |  -   |  ?   |\n+------+------+------+\n";
    assert_eq!(drawing(&shelves, Some(80)), wide);
    let narrow = drawing(&shelves, Some(15));
    assert!(narrow.lines().count() == 8 && narrow.lines().all(|line| line.len() <= 15), "{narrow}");
}

#[test]
fn a_file_is_replaced_whole_or_stays() {
    let folder = tempfile::tempdir().expect("a folder");
    let file = folder.path().join("traylight.toml");
    let read = || fs::read_to_string(&file).expect("it is there");
    replace(&file, None, "a = 1\n").expect("it is new");
    assert_eq!(fs::metadata(&file).expect("it is there").permissions().mode() & 0o777, 0o644);
    fs::set_permissions(&file, fs::Permissions::from_mode(0o640)).expect("it is ours");
    replace(&file, Some("a = 1\n"), "a = 2\n").expect("it is as expected");
    assert_eq!((read(), fs::metadata(&file).expect("there").permissions().mode() & 0o777), ("a = 2\n".into(), 0o640));
    replace(&file, Some("a = 1\n"), "a = 3\n").expect_err("somebody has changed it");
    replace(&file, None, "a = 3\n").expect_err("somebody has made it");
    // Nothing can be written beside it.
    fs::create_dir(folder.path().join(".traylight.toml.new")).expect("a folder in the way");
    replace(&file, Some("a = 2\n"), "a = 3\n").expect_err("there is no room");
    assert_eq!(read(), "a = 2\n");
    // A link stays one.
    let link = folder.path().join("link.toml");
    fs::remove_dir(folder.path().join(".traylight.toml.new")).expect("it is empty");
    std::os::unix::fs::symlink(&file, &link).expect("a link");
    replace(&link, Some("a = 2\n"), "a = 4\n").expect("it leads to the file");
    assert!(link.is_symlink() && read() == "a = 4\n");
}

#[test]
fn answers_are_kept_for_their_owner_alone_in_the_first_place_that_can_be_written() {
    let folder = tempfile::tempdir().expect("a folder");
    let (state, config) = (folder.path().join("state"), folder.path().join("traylight.toml"));
    let kept = Kept::at(&state, &config);
    let walk = after(&three(), &[text("1")]);
    assert_eq!(kept.load(), Ok(None));
    kept.save(&walk).expect("beside the configuration");
    let beside = folder.path().join("traylight.setup-answers.json");
    assert_eq!(fs::metadata(&beside).expect("it is there").permissions().mode() & 0o777, 0o600);
    assert_eq!(kept.load(), Ok(Some(walk)));
    for damaged in ["", "{", "{\"version\":2}", "\u{0}"] {
        fs::write(&beside, damaged).expect("it is ours");
        assert_eq!(kept.load(), Err(beside.display().to_string()), "{damaged}");
    }
    kept.forget();
    assert_eq!(kept.load(), Ok(None));
    let nowhere = Kept::at(&state, &folder.path().join("none/traylight.toml"));
    nowhere.save(&Walk::begin()).expect_err("neither folder is there");
}

fn millimetres(node: &roxmltree::Node, name: &str) -> f32 {
    let text = node.attribute(name).unwrap_or("0");
    text.strip_suffix("mm").unwrap_or(text).parse().expect("a number")
}

#[test]
fn the_label_sheet_is_true_to_millimetres_and_fits_on_paper() {
    let hostile = "</text><script>&\u{1b}\u{202e}\"'";
    let many: Vec<SheetLabel> = (0..50)
        .map(|number| SheetLabel {
            tray: format!("W{number:03}"),
            serial_tail: Some("WM<&".to_owned()),
            port: Some(format!("0000/14.0/01.0/00.0/exp-0.0:{number}:0")),
            pools: vec![hostile.to_owned()],
            is_empty: false,
        })
        .collect();
    let sheets = sheets_svg(&many, Language::GERMAN);
    assert_eq!(sheets.len(), 2, "42 labels fit on a sheet");
    for sheet in &sheets {
        let document = roxmltree::Document::parse(sheet).expect("it is XML");
        let top = document.root_element();
        let (wide, high) = (millimetres(&top, "width"), millimetres(&top, "height"));
        assert!(top.attribute("width").is_some_and(|wide| wide.ends_with("mm")));
        assert_eq!(top.attribute("viewBox"), Some(&*format!("0 0 {wide} {high}")), "a unit is a millimetre");
        assert!(wide <= 190.0 && high <= 259.4, "it fits on A4 and Letter: {wide} × {high}");
        let named = |name: &'static str| {
            document.descendants().filter(move |node| node.has_tag_name(("http://www.w3.org/2000/svg", name)))
        };
        assert_eq!(named("script").count(), 0);
        let cuts: Vec<_> = named("rect").filter(|rect| rect.attribute("stroke").is_some()).collect();
        assert!(cuts.iter().all(|cut| (millimetres(cut, "width"), millimetres(cut, "height")) == (60.0, 18.0)));
        for text in named("text") {
            let (x, y, size) = (millimetres(&text, "x"), millimetres(&text, "y"), millimetres(&text, "font-size"));
            let end = x + 0.6 * size * text.text().unwrap_or_default().chars().count() as f32;
            let is_inside = |cut: &&roxmltree::Node| {
                let (left, top) = (millimetres(cut, "x"), millimetres(cut, "y"));
                x >= left + 1.0 && end <= left + 59.0 && y - size >= top && y <= top + 17.0
            };
            assert!(cuts.iter().any(|cut| is_inside(&cut)), "{text:?} leaves its label");
        }
    }
    let shown = roxmltree::Document::parse(&sheets[0]).expect("XML");
    assert!(shown.descendants().any(|node| node.text().is_some_and(|text| text.contains("WM<&"))));
}

#[test]
fn labels_have_what_is_known_of_a_tray() {
    let mut drives = three().drives;
    drives[0].pools = vec!["songs".to_owned()];
    let shelves = planned(&[
        ("A1", Holds::Serial("WREN-0001".to_owned())),
        ("A2", Holds::Port("0000/1f.2/ata-2".to_owned())),
        ("A3", Holds::Nothing),
        ("A4", Holds::Serial("GONE-0009".to_owned())),
    ]);
    let text = sheet_text(&labels(&shelves, &drives), Language::ENGLISH).to_string();
    let rows: Vec<Vec<&str>> = text.lines().skip(2).map(|line| line.split_whitespace().collect()).collect();
    let expected = [
        ["A1", "0001", "0000/1f.2/ata-1", "songs"],
        ["A2", "0002", "0000/1f.2/ata-2", "-"],
        ["A3", "-", "-", "-"],
        ["A4", "0009", "-", "-"],
    ];
    assert_eq!(rows, expected);
    let svg = &sheets_svg(&labels(&shelves, &drives), Language::ENGLISH)[0];
    assert!(svg.contains("no drive") && svg.contains("serial …0001"), "{svg}");
}
