//! Text that came from outside, made fit to be shown: nothing in it steers a terminal or hides what is written.

use std::borrow::Cow;

/// The text with everything escaped, such as `\u{1b}`, that steers a terminal or changes what a reader sees.
pub fn one_line(text: &str) -> Cow<'_, str> {
    if !text.contains(misleads) {
        return Cow::Borrowed(text);
    }
    let mut line = String::with_capacity(text.len());
    for c in text.chars() {
        if misleads(c) {
            line.extend(c.escape_unicode());
        } else {
            line.push(c);
        }
    }
    Cow::Owned(line)
}

/// True for characters that are not shown as themselves: control characters (Unicode category Cc), line and paragraph
/// separators, and the format characters (Cf) that hide, join or turn text (Unicode Standard Annex 9 on the last).
pub fn misleads(c: char) -> bool {
    c.is_control()
        || matches!(c, '\u{AD}' | '\u{61C}' | '\u{180E}' | '\u{200B}'..='\u{200F}' | '\u{2028}'..='\u{202E}')
        || matches!(c, '\u{2060}'..='\u{206F}' | '\u{FEFF}' | '\u{FFF9}'..='\u{FFFB}' | '\u{E0000}'..='\u{E007F}')
}
