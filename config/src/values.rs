//! What keys take: how each kind of value is read, and what the schema says of it.
//!
//! Where the value stands and what was found is added by `reader.rs`.

use crate::duration::duration;
use crate::source::steers;
use crate::suggest::nearest;
use std::ops::RangeInclusive;
use std::time::Duration;
use toml::de::DeValue;

/// A typed value, or why not.
pub(crate) type Read<T> = Result<T, Refusal>;

/// Reads one value.
type Reader<T> = Box<dyn Fn(&DeValue) -> Read<T>>;

/// What was expected instead.
#[derive(Debug, PartialEq, Eq)]
pub(crate) struct Refusal {
    pub(crate) expected: String,
    pub(crate) hint: Option<String>,
}

/// What a key takes.
pub(crate) struct ValueKind<T> {
    pub(crate) read: Reader<T>,
    /// The schema's rules: members of a JSON object. What they refuse `read` refuses, too, but not always the other way round.
    pub(crate) rules: String,
    /// Takes the place of a value that was refused and has no default. Nobody sees it: the settings are refused.
    pub(crate) stand_in: T,
}

impl<T: 'static> ValueKind<T> {
    pub(crate) fn new(rules: impl Into<String>, stand_in: T, read: impl Fn(&DeValue) -> Read<T> + 'static) -> Self {
        ValueKind { read: Box::new(read), rules: rules.into(), stand_in }
    }

    /// The same, but an empty text means that there is none: so the default file shows it.
    pub(crate) fn or_empty(self) -> ValueKind<Option<T>> {
        let ValueKind { read, rules, .. } = self;
        let rules = format!(r#""anyOf": [{{ "const": "" }}, {{ {rules} }}]"#);
        ValueKind::new(
            rules,
            None,
            move |value| if value.as_str() == Some("") { Ok(None) } else { read(value).map(Some) },
        )
    }

    pub(crate) fn map<U: 'static>(self, make: fn(T) -> U) -> ValueKind<U> {
        let ValueKind { read, rules, stand_in } = self;
        ValueKind::new(rules, make(stand_in), move |value| read(value).map(make))
    }

    /// Reads what a declaration shows.
    pub(crate) fn declared(&self, shown: &str) -> Option<T> {
        DeValue::parse(shown).ok().and_then(|value| (self.read)(value.get_ref()).ok())
    }
}

/// A refusal without a hint.
pub(crate) fn refuse<T>(expected: impl Into<String>) -> Read<T> {
    Err(Refusal { expected: expected.into(), hint: None })
}

/// A number with or without a decimal point.
pub(crate) fn number(range: RangeInclusive<f64>) -> ValueKind<f64> {
    let (least, most) = range.clone().into_inner();
    let rules = format!(r#""type": "number", "minimum": {least}, "maximum": {most}"#);
    ValueKind::new(rules, least, move |value| {
        let written = match value {
            DeValue::Float(float) => float.as_str().parse().ok(),
            DeValue::Integer(_) => integer(value).map(|whole| whole as f64),
            _ => None,
        };
        match written {
            Some(number) if range.contains(&number) => Ok(number),
            _ => refuse(format!("a number from {least} to {most}")),
        }
    })
}

/// A number without a decimal point.
pub(crate) fn whole<T: TryFrom<i64> + Default + 'static>(range: RangeInclusive<i64>) -> ValueKind<T> {
    let (least, most) = range.clone().into_inner();
    let rules = format!(r#""type": "integer", "minimum": {least}, "maximum": {most}"#);
    ValueKind::new(rules, T::default(), move |value| {
        integer(value)
            .filter(|whole| range.contains(whole))
            .and_then(|whole| T::try_from(whole).ok())
            .map_or_else(|| refuse(format!("a whole number from {least} to {most}")), Ok)
    })
}

/// The whole number as it was written, in whatever base.
pub(crate) fn integer(value: &DeValue) -> Option<i64> {
    let DeValue::Integer(integer) = value else { return None };
    i64::from_str_radix(integer.as_str(), integer.radix()).ok()
}

/// Yes or no.
pub(crate) fn flag() -> ValueKind<bool> {
    ValueKind::new(r#""type": "boolean""#, false, |value| {
        value.as_bool().map_or_else(|| refuse("true or false, without quotes"), Ok)
    })
}

/// A length of time with its unit, such as "5 min", "90 s" or "1 h 30 min".
pub(crate) fn time(range: RangeInclusive<Duration>) -> ValueKind<Duration> {
    ValueKind::new(r##""$ref": "#/$defs/time""##, *range.start(), move |value| match value.as_str() {
        Some(text) => duration(text, &range).or_else(refuse),
        None => refuse("a time in quotes with its unit (h, min, s or ms), such as \"5 min\""),
    })
}

/// One of a few words.
pub(crate) fn one_of<T: Copy + 'static, const N: usize>(choices: [(&'static str, T); N]) -> ValueKind<T> {
    let words = choices.map(|(word, _)| word);
    let listed = words.map(|word| format!("\"{word}\"")).join(", ");
    ValueKind::new(format!(r#""enum": [{listed}]"#), choices[0].1, move |value| {
        let text = value.as_str();
        if let Some((_, choice)) = choices.iter().find(|(word, _)| Some(*word) == text) {
            return Ok(*choice);
        }
        let hint = text.and_then(|text| nearest(text, words)).map(|word| format!("did you mean \"{word}\"?"));
        Err(Refusal { expected: format!("one of {listed}"), hint })
    })
}

/// A text of one to `most` visible characters.
pub(crate) fn text(most: usize) -> ValueKind<String> {
    let rules = format!(r#""type": "string", "minLength": 1, "maxLength": {most}"#);
    ValueKind::new(rules, String::new(), move |value| match value.as_str() {
        Some(text) if (1..=most).contains(&text.chars().count()) && is_plain(text) => Ok(text.to_owned()),
        _ => refuse(format!("a text in quotes of 1 to {most} visible characters, without a space at either end")),
    })
}

/// A text of at most `most` visible characters that `is_valid`. `pattern` tells editors as much of that as it can.
pub(crate) fn text_that(
    most: usize,
    pattern: &str,
    expected: &'static str,
    is_valid: fn(&str) -> bool,
) -> ValueKind<String> {
    let ValueKind { read, rules, stand_in } = text(most);
    ValueKind::new(format!(r#"{rules}, "pattern": {pattern:?}"#), stand_in, move |value| match read(value) {
        Ok(text) if is_valid(&text) => Ok(text),
        _ => refuse(expected),
    })
}

fn is_plain(text: &str) -> bool {
    text.trim() == text && !text.contains(steers)
}

#[cfg(test)]
mod tests {
    use super::*;

    /// The value of `x = ...`.
    fn read<T>(written: &str, kind: ValueKind<T>) -> Result<T, String> {
        let value = DeValue::parse(written).unwrap();
        (kind.read)(value.get_ref()).map_err(|refusal| refusal.expected)
    }

    #[test]
    fn times_carry_their_unit() {
        let any = || time(Duration::from_secs(1)..=Duration::from_secs(7 * 24 * 3600));
        for (written, seconds) in
            [("'5 min'", 300), ("'90 s'", 90), ("'10m'", 600), ("'1 h 30 min'", 5400), ("'168 h'", 604_800)]
        {
            assert_eq!(read(written, any()), Ok(Duration::from_secs(seconds)), "{written}");
        }
        for written in ["5", "'5'", "''", "'-5 min'", "'5 min ago'", "'soon'"] {
            let expected = read(written, any()).unwrap_err();
            assert!(expected.ends_with("with its unit (h, min, s or ms), such as \"5 min\""), "{written}: {expected}");
        }
    }

    #[test]
    fn numbers_stay_in_their_range() {
        assert_eq!(read("50", number(20.0..=100.0)), Ok(50.0));
        assert_eq!(read("0x32", number(20.0..=100.0)), Ok(50.0));
        assert_eq!(read("5.05e1", number(20.0..=100.0)), Ok(50.5));
        for written in ["19.9", "101", "nan", "inf", "-inf", "'50'", "true", "[50]", "99999999999999999999"] {
            assert_eq!(read(written, number(20.0..=100.0)), Err("a number from 20 to 100".into()), "{written}");
        }
    }

    #[test]
    fn whole_numbers_stay_in_their_range() {
        for written in ["60", "0x3C", "6_0", "+60"] {
            assert_eq!(read(written, whole::<u32>(3..=60)), Ok(60), "{written}");
        }
        for written in ["2", "61", "6.0", "-6", "'6'", "9223372036854775808"] {
            assert_eq!(read(written, whole::<u32>(3..=60)), Err("a whole number from 3 to 60".into()), "{written}");
        }
    }

    #[test]
    fn texts_are_visible_and_not_too_long() {
        assert_eq!(read("'heron'", text(5)), Ok("heron".into()));
        for written in ["''", "' '", "' a'", "'a '", "'herons'", "\"a\\u001bb\"", "\"a\\u202Eb\"", "7"] {
            assert!(read(written, text(5)).is_err(), "{written}");
        }
    }
}
