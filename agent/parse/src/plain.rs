//! Single values and device text. What a device says of itself is untrusted: it may hold anything.

use traylight_data::text::misleads;

/// Longest text taken from a device; a serial has 20 characters, a model 40 (ACS-4, IDENTIFY DEVICE).
const LONGEST_TEXT: usize = 64;

/// A whole number, decimal.
pub fn whole(text: &str) -> Result<u64, String> {
    text.parse().map_err(|_| format!("expected a whole number, found {}", quoted(text)))
}

/// A whole number with an optional sign.
pub fn signed(text: &str) -> Result<i64, String> {
    text.parse().map_err(|_| format!("expected a whole number, found {}", quoted(text)))
}

/// A switch, `0` or `1`.
pub fn switch(text: &str) -> Result<bool, String> {
    match text {
        "0" => Ok(false),
        "1" => Ok(true),
        _ => Err(format!("expected 0 or 1, found {}", quoted(text))),
    }
}

/// A number by its name in a table of `name number` lines.
pub fn named_number(table: &str, name: &str) -> Result<u64, String> {
    let of_name = |line: &str| line.strip_prefix(name)?.strip_prefix(' ').map(whole);
    table
        .lines()
        .find_map(of_name)
        .unwrap_or_else(|| Err(format!("expected a line `{name}` with its number, found none")))
}

/// Text that a device gave: control characters and the marks that hide or turn text are dropped, runs of
/// white space become one space, and the length is bounded. `None` when nothing is left.
pub fn device_text(text: &str) -> Option<String> {
    Some(cleaned(text, LONGEST_TEXT)).filter(|text| !text.is_empty())
}

/// The same for any text, with its own bound in characters.
pub fn cleaned(text: &str, longest: usize) -> String {
    let shown: String = text.chars().map(|c| if c.is_control() { ' ' } else { c }).filter(|&c| !misleads(c)).collect();
    let words: Vec<&str> = shown.split_whitespace().collect();
    words.join(" ").chars().take(longest).collect()
}

/// The first characters of odd text between quotes, fit for a line of a log.
pub fn quoted(text: &str) -> String {
    const SHOWN: usize = 24;
    let mut shown: String = text.chars().take(SHOWN).flat_map(char::escape_debug).collect();
    if text.chars().nth(SHOWN).is_some() {
        shown.push('…');
    }
    if text.is_empty() { "nothing".to_owned() } else { format!("`{shown}`") }
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_say_what_was_found() {
        assert_eq!(whole("18446744073709551615"), Ok(u64::MAX));
        assert_eq!(whole("18446744073709551616"), Err("expected a whole number, found `18446744073709551616`".into()));
        assert_eq!(whole(""), Err("expected a whole number, found nothing".into()));
        assert_eq!(signed("-40000"), Ok(-40_000));
        assert_eq!(switch("yes"), Err("expected 0 or 1, found `yes`".into()));
        assert_eq!(whole(&"9".repeat(10_000)), Err(format!("expected a whole number, found `{}…`", "9".repeat(24))));
    }

    #[test]
    fn a_number_is_found_by_its_whole_name() {
        let table = "oom_kill_other 9\noom_kill 3\nswap_ra 0\n";
        assert_eq!(named_number(table, "oom_kill"), Ok(3));
        assert_eq!(named_number(table, "oom"), Err("expected a line `oom` with its number, found none".into()));
        assert!(named_number("oom_kill many\n", "oom_kill").is_err());
    }

    #[test]
    fn device_text_cannot_steer_a_terminal_or_a_log() {
        assert_eq!(device_text("  WD40\u{1b}[2J\r\n EFRX  "), Some("WD40 [2J EFRX".into()));
        assert_eq!(device_text("\0\0\0"), None);
        assert_eq!(device_text("tray\u{202e}4"), Some("tray4".into()));
        assert_eq!(device_text(&"x".repeat(1000)).map(|text| text.len()), Some(LONGEST_TEXT));
    }
}
