//! Whatever the text, the answer is settings or a report, and each place in the report exists.

use super::activated;
use crate::settle;
use proptest::prelude::*;

/// Settles a text and checks what holds for every report.
fn check(text: &str) -> Result<(), TestCaseError> {
    let Err(problems) = settle(text, "f") else { return Ok(()) };
    prop_assert!(!problems.as_slice().is_empty());
    let mut before = (1, 1);
    for problem in problems.as_slice() {
        let place = (problem.line, problem.column);
        prop_assert!(before <= place, "{} comes after {:?}", problem, before);
        before = place;
        prop_assert!(problem.line <= text.split('\n').count());
        prop_assert!(!problem.message.contains('\n') && !problem.message.ends_with('.'), "{}", problem);
        prop_assert!(!problem.to_string().contains(|c: char| c.is_control() && c != '\n'));
    }
    Ok(())
}

/// A piece that is likely to matter to the parser.
fn piece() -> impl Strategy<Value = String> {
    prop_oneof![
        prop::sample::select(vec![
            "[",
            "]",
            "[[shelf]]",
            "[[shelf.tray]]",
            "=",
            "\"",
            "'",
            "{",
            "}",
            "\n",
            "\r\n",
            ".",
            ",",
            "#",
            "\\u001b",
            "label = 'A1'",
            "serial = 'X'",
            "nan",
            "-inf",
            "1e999",
            "0x3C",
            "99999999999999999999",
            "'5 min'",
            "1979-05-27",
            "true",
            "\u{FEFF}",
            "\u{202e}",
            "棚",
        ])
        .prop_map(str::to_owned),
        any::<String>(),
    ]
}

proptest! {
    #![proptest_config(ProptestConfig { cases: 2_000, failure_persistence: None, ..ProptestConfig::default() })]

    #[test]
    fn any_text_at_all(text in any::<String>()) {
        check(&text)?;
    }

    #[test]
    fn pieces_of_a_file_in_any_order(pieces in prop::collection::vec(piece(), 0..20)) {
        check(&pieces.concat())?;
    }

    #[test]
    fn the_default_file_with_a_piece_replaced(at in any::<prop::sample::Index>(), length in 0_usize..12, piece in piece()) {
        let file: Vec<char> = activated().chars().collect();
        let start = at.index(file.len());
        let end = (start + length).min(file.len());
        let text: String = file[..start].iter().copied().chain(piece.chars()).chain(file[end..].iter().copied()).collect();
        check(&text)?;
    }

    #[test]
    fn any_value_for_any_key(line in any::<prop::sample::Index>(), value in "(-?[0-9]{1,20}(\\.[0-9]{1,3})?|'[ -&(-~]{0,8}'|true|\\[\\]|\\{\\}|\\[1\\])") {
        let file = activated();
        let keys: Vec<&str> = file.lines().filter(|line| line.contains(" = ") && !line.starts_with('#')).collect();
        let line = keys[line.index(keys.len())];
        let (key, _) = line.split_once(" = ").unwrap();
        check(&file.replace(line, &format!("{key} = {value}")))?;
    }
}
