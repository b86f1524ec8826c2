//! The string literals of a source that are text, without those of its tests: nothing here is a parser of Rust.

/// A literal with at least two words of small letters, and the line on which it begins.
#[derive(Debug)]
pub struct Literal {
    /// The line, from 1.
    pub line: usize,
    /// Its text, with escaped line breaks taken out.
    pub text: String,
}

/// The texts in a source file, up to the tests at its end.
pub fn texts(source: &str) -> Vec<Literal> {
    let code = source.split("#[cfg(test)]\nmod tests {").next().unwrap_or_default();
    let (mut found, mut rest, mut line) = (Vec::new(), code, 1);
    while let Some(start) = rest.find(['"', '/', '\'', '#']) {
        line += rest[..start].matches('\n').count();
        let piece = &rest[start..];
        let length = match piece.as_bytes() {
            [b'"', ..] => quoted(piece),
            [b'/', b'/', ..] => piece.find('\n').unwrap_or(piece.len()),
            [b'\'', b'"', b'\'', ..] => 3,
            [b'#', b'[', ..] | [b'#', b'!', b'[', ..] => piece.find("]\n").map_or(piece.len(), |end| end + 1),
            _ => 1,
        };
        if piece.starts_with('"') {
            let text = joined(&piece[1..length.max(2) - 1]);
            if words(&text) >= 2 {
                found.push(Literal { line, text });
            }
        }
        line += piece[..length].matches('\n').count();
        rest = &piece[length..];
    }
    found
}

/// The length of a literal with its two quotes.
fn quoted(piece: &str) -> usize {
    let mut is_escaped = false;
    for (at, byte) in piece.bytes().enumerate().skip(1) {
        match byte {
            _ if is_escaped => is_escaped = false,
            b'\\' => is_escaped = true,
            b'"' => return at + 1,
            _ => {}
        }
    }
    piece.len()
}

/// A literal over several lines as one.
fn joined(text: &str) -> String {
    let mut lines = text.split("\\\n");
    let first = lines.next().unwrap_or_default().to_owned();
    lines.fold(first, |whole, line| whole + line.trim_start())
}

/// Words of at least two small letters, apart from places.
fn words(text: &str) -> usize {
    let is_word = |word: &&str| {
        let word = word.trim_matches([',', '.', ':', ';', '(', ')', '`', '!', '?']);
        word.len() >= 2 && word.bytes().all(|byte| byte.is_ascii_lowercase() || byte == b'\'' || byte == b'-')
    };
    text.split(' ').filter(is_word).count()
}

#[cfg(test)]
mod tests {
    use super::texts;

    #[test]
    fn texts_are_found_and_what_is_none_is_not() {
        let source = r#"
            // "a comment in quotes"
            #[arg(help = "an attribute in quotes")]
            let quote = '"'; say("the drive is gone"); key("drive.gone"); say("two \
                lines of text"); say("{tray} GONE");
            "#;
        let found: Vec<(usize, String)> = texts(source).into_iter().map(|text| (text.line, text.text)).collect();
        assert_eq!(found, [(4, "the drive is gone".to_owned()), (4, "two lines of text".to_owned())]);
    }
}
