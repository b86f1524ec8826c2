//! What came of a delivery, in words. A place of a text, such as `{file}`, is filled with the fault's field of that name.

use super::phrases::{Language, Phrases, filled};
use crate::tell::delivery::{ChannelFault, RefusedRecipient, Reply};
use serde_json::Value;

/// A sentence without its end: what is wrong, and what helps where that is known.
pub fn fault(fault: &ChannelFault, language: Language) -> String {
    let (facts, key) = facts_and_key(fault);
    let fill = |place: &str| match facts.get(place)? {
        Value::String(text) => Some(text.clone()),
        number => Some(number.to_string()),
    };
    filled(language.plain(&key), &fill).unwrap_or_default()
}

/// What the other side replied, if anything.
pub fn reply(reply: &Reply, language: Language) -> Option<String> {
    match reply {
        Reply::None => None,
        Reply::Quoted(text) => Some(text.clone()),
        Reply::Acknowledged => Some(language.plain("channel-test.acknowledged").to_owned()),
        Reply::Published => Some(language.plain("channel-test.published").to_owned()),
    }
}

/// A recipient and why a batch was not taken for it.
pub fn refused_recipient(refused: &RefusedRecipient, language: Language) -> String {
    format!("{}: {}", refused.address, fault(&refused.fault, language))
}

/// What is known of the fault, and the key of its words: one of its own where a fact is not known.
fn facts_and_key(fault: &ChannelFault) -> (Value, String) {
    let facts = serde_json::to_value(fault).unwrap_or_default();
    let absent = facts.as_object().and_then(|facts| facts.iter().find(|(_, fact)| fact.is_null()));
    let key = match absent {
        Some((name, _)) => format!("channel-fault.{}-without-{name}", fault.id()),
        None => format!("channel-fault.{}", fault.id()),
    };
    (facts, key)
}

/// The keys of the words of all faults.
#[cfg(test)]
pub(super) fn keys() -> impl Iterator<Item = String> {
    use strum::IntoEnumIterator as _;
    let own = ChannelFault::iter().map(|fault| format!("channel-fault.{}", fault.id()));
    own.chain(ChannelFault::iter().map(|fault| facts_and_key(&fault).1))
}

#[cfg(test)]
mod tests {
    use super::*;
    use strum::IntoEnumIterator as _;

    /// An empty text would be one whose place has no field.
    #[test]
    fn every_fault_has_words_in_both_languages_and_each_place_a_field() {
        for language in [Language::ENGLISH, Language::GERMAN] {
            let worded: Vec<String> = ChannelFault::iter().map(|fault| super::fault(&fault, language)).collect();
            assert!(worded.iter().all(|words| !words.is_empty()), "{worded:#?}");
        }
        let known = [
            ChannelFault::CertificateIssuer { issuer: Some("Reed Bed CA".to_owned()) },
            ChannelFault::ProgramFailed { code: 3, reply: Some("no bell".to_owned()) },
            ChannelFault::ProgramKilled { signal: 9, reply: Some("no bell".to_owned()) },
        ];
        let worded = known.map(|fault| super::fault(&fault, Language::ENGLISH));
        assert_eq!(
            worded,
            [
                "certificate not trusted: issued by Reed Bed CA; if that is your own CA, add its certificate as ca_file",
                "exit status 3: no bell",
                "killed by signal 9: no bell",
            ]
        );
    }
}
