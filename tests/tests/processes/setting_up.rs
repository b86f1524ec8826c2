//! Setting up a box at a terminal: whole, stopped at each question and continued, with wrong answers, in a narrow window,
//! over power-offs, and where nothing can be written.

use super::heron;
use super::on_a_terminal::OnTerminal;
use super::running::Home;
use std::fs;
use std::process::Command;
use traylight_tests::binary::traylight;
use traylight_tests::pretend_box::PretendBox;

const ENTER: &str = "\r";
const DOWN: &str = "\x1b[B";
const CTRL_C: &str = "\x03";

/// Each question of the shortest way, and its answer.
const QUESTIONS: [(&str, &str); 8] = [
    ("How many shelves", "1\r"),
    ("Tray labels on shelf 1", "A1 A2\r"),
    ("How do you want to name", ENTER),
    ("in tray A1", "0003\r"),
    ("in tray A2", "wren-0000\r"),
    ("match the box?", "yes\r"),
    ("Write this to", "y\r"),
    ("Wrote ", ""),
];

fn setup(home: &Home, heron: &PretendBox) -> OnTerminal {
    OnTerminal::start_on("xterm", 100, home, heron, "setup", &[])
}

fn config(home: &Home) -> String {
    fs::read_to_string(home.path("traylight.toml")).unwrap()
}

/// `check` accepts the file, which has so many trays.
fn is_accepted(home: &Home, trays: &str) {
    let checked = Command::new(traylight()).arg("check").arg(home.path("traylight.toml")).output().unwrap();
    let said = String::from_utf8_lossy(&checked.stdout).into_owned();
    assert!(checked.status.success() && said.contains(trays), "{said}{}", String::from_utf8_lossy(&checked.stderr));
}

#[test]
fn a_box_gets_its_trays_named_and_the_owners_comments_stay() {
    let (heron, home) = (heron(), Home::new());
    home.configure("# mine\n[box]\nname = \"heron\" # its name\n");
    let mut setup = setup(&home, &heron);
    for (question, answer) in QUESTIONS {
        setup.answers(question, answer);
    }
    assert_eq!(setup.ends(), Some(0));
    is_accepted(&home, "1 shelf, 2 trays");
    let text = config(&home);
    assert!(text.starts_with("# mine\n[box]\nname = \"heron\" # its name\n\n[[shelf]]\n"), "{text}");
    let at = |piece: &str| text.find(piece).unwrap_or_else(|| panic!("no {piece}: {text}"));
    assert!(at("\"A1\"") < at("\"WREN-0003\"") && at("\"WREN-0003\"") < at("\"A2\""), "{text}");
    assert!(!home.path("traylight.setup-answers.json").exists(), "nothing is left to continue");
    // Labels for it, without a terminal.
    let sheet = home.path("labels.svg");
    let root = heron.root().to_str().unwrap();
    let made = home.run("setup", &["--root", root, "--labels", sheet.to_str().unwrap()]);
    assert!(made.status.success(), "{}", String::from_utf8_lossy(&made.stderr));
    let svg = fs::read_to_string(sheet).unwrap();
    assert!(svg.contains(">A1<") && svg.contains("0003") && svg.contains("md0"), "{svg}");
}

#[test]
fn it_is_stopped_at_each_question_and_continues_there() {
    let (heron, home) = (heron(), Home::new());
    let mut walk = setup(&home, &heron);
    for (index, (question, answer)) in QUESTIONS.into_iter().enumerate().take(7) {
        walk.answers(question, CTRL_C);
        walk.prints("Stopped. Continue with");
        assert_eq!(walk.ends(), Some(1));
        assert_eq!(config(&home), "", "nothing is written before the last answer");
        walk = setup(&home, &heron);
        if index > 0 {
            walk.answers("You have started this setup before", ENTER);
        }
        walk.answers(question, answer);
    }
    assert_eq!(walk.ends(), Some(0));
    is_accepted(&home, "1 shelf, 2 trays");
}

#[test]
fn wrong_answers_are_explained_and_asked_again_and_a_new_drive_is_noticed() {
    let (heron, home) = (heron(), Home::new());
    let mut walk = setup(&home, &heron);
    walk.answers("How many shelves", "many\r");
    walk.answers("expected a number of shelves from 1 to 16", "1\r");
    walk.answers("Tray labels", "A1 A1\r");
    walk.answers("found A1 twice", "toolong\r");
    walk.answers("found toolong", "A1 A2\r");
    walk.answers("How do you want to name", &format!("{DOWN}{ENTER}"));
    walk.answers("2 trays, but 4 drives", ENTER);
    walk.answers("in tray A1", "3\r");
    walk.answers("4 or more characters, found 3", "NONE\r");
    walk.answers("No drive has a serial that ends in NONE", "0001\r");
    walk.prints("in tray A2");
    heron.sata_drive("sde", 5, "WREN-0004", "Warbler 4T");
    walk.answers("in tray A2", "0001\r");
    walk.prints("is already in tray A1");
    walk.answers("connected: WREN-0004", "0004\r");
    walk.answers("match the box?", "maybe\r");
    walk.answers("expected yes or no", "no\r");
    walk.answers("How do you want to name", CTRL_C);
    assert_eq!(walk.ends(), Some(1));
    assert_eq!(config(&home), "");
}

#[test]
fn a_narrow_window_and_another_language_are_enough() {
    let (heron, home) = (heron(), Home::new());
    home.configure("[box]\nlanguage = 'de'\n");
    let mut walk = OnTerminal::start_on("xterm", 40, &home, &heron, "setup", &[]);
    walk.answers("Wie viele Ebenen", "1\r");
    walk.answers("Beschriftung", ENTER);
    walk.answers("Wie möchten Sie", &format!("{DOWN}{ENTER}"));
    walk.prints("ja oder nein");
    let drawn = walk.text();
    let shelf = drawn.lines().filter(|line| line.starts_with(['+', '|']));
    assert!(shelf.clone().count() >= 4 && shelf.clone().all(|line| line.chars().count() <= 40), "{drawn}");
    walk.answers("ja oder nein", "j\r");
    walk.answers("Stimmen Beschriftung", "ja\r");
    walk.prints("[[shelf]]");
    walk.answers("ja oder nein", "nein\r");
    walk.prints("Es wurde nichts geschrieben");
    assert_eq!(walk.ends(), Some(1));
    assert_eq!(config(&home), "[box]\nlanguage = 'de'\n");
}

#[test]
fn one_tray_at_a_time_is_remembered_over_power_offs() {
    let home = Home::new();
    let start = |boot: &str, serials: &[&str]| {
        let heron = PretendBox::new();
        heron.write("/proc/sys/kernel/random/boot_id", &format!("{boot}\n"));
        for (port, serial) in serials.iter().enumerate() {
            heron.sata_drive(
                &format!("sd{port}").replace('0', "a").replace('1', "b"),
                port as u64 + 1,
                serial,
                "Warbler",
            );
        }
        heron
    };
    let off = "Power off first";
    let both = start("one", &["WREN-0001", "WREN-0002"]);
    let mut walk = setup(&home, &both);
    walk.answers("How many shelves", ENTER);
    walk.answers("Tray labels", "L R\r");
    walk.answers("How do you want to name", &format!("{DOWN}{DOWN}{ENTER}"));
    walk.prints(off);
    walk.prints("out of all trays");
    assert_eq!(walk.ends(), Some(0));
    let stages: [(&[&str], &str, &str); 3] = [
        (&[], "Are all trays empty?", "Put the drive into tray L"),
        (&["WREN-0002"], "Is it in tray L?", "Put the drive into tray R"),
        (&["WREN-0002", "WREN-0001"], "Is it in tray R?", "match the box?"),
    ];
    for (stage, (serials, question, then)) in stages.into_iter().enumerate() {
        let heron = start(&format!("start {stage}"), serials);
        walk = setup(&home, &heron);
        walk.answers("You have started", ENTER);
        walk.answers(question, "yes\r");
        walk.prints(then);
        if stage < 2 {
            walk.prints(off);
            assert_eq!(walk.ends(), Some(0));
        } else {
            walk.answers(then, "yes\r");
            walk.answers("Write this to", "yes\r");
            assert_eq!(walk.ends(), Some(0));
        }
    }
    is_accepted(&home, "1 shelf, 2 trays");
    let text = config(&home);
    assert!(text.find("WREN-0002").unwrap() < text.find("\"R\"").unwrap(), "{text}");
}

#[test]
fn a_file_that_cannot_be_written_stays_and_its_lines_are_printed() {
    let (heron, home) = (heron(), Home::new());
    fs::create_dir(home.path(".traylight.toml.new")).unwrap();
    // Nor can the answers be kept.
    fs::create_dir(home.path(".traylight.setup-answers.json.new")).unwrap();
    let mut walk = setup(&home, &heron);
    walk.answers("How many shelves", "1\r");
    walk.prints("Your answers cannot be kept");
    for (question, answer) in &QUESTIONS[1..7] {
        walk.answers(question, answer);
    }
    walk.prints("could not be written");
    walk.prints("serial = \"WREN-0003\"");
    assert_eq!(walk.ends(), Some(1));
    assert_eq!(config(&home), "");
}

#[test]
fn without_a_terminal_it_says_that_it_needs_one() {
    let (heron, home) = (heron(), Home::new());
    let refused = home.run("setup", &["--root", heron.root().to_str().unwrap()]);
    assert_eq!(refused.status.code(), Some(1));
    assert!(String::from_utf8_lossy(&refused.stderr).contains("expected a terminal"), "{refused:?}");
    let mut dumb = OnTerminal::start_on("dumb", 80, &home, &heron, "setup", &[]);
    dumb.prints("expected a terminal");
    assert_eq!(dumb.ends(), Some(1));
}
