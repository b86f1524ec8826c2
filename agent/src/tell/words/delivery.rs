//! What came of a delivery, in words. A place of a text, such as `{file}`, is filled with the fault's field of that name.

use super::fields::{by_fields, plainly};
use super::phrases::{Language, Phrases};
use crate::tell::delivery::{ChannelFault, RefusedRecipient, Reply};

/// A sentence without its end: what is wrong, and what helps where that is known.
pub fn fault(fault: &ChannelFault, language: Language) -> String {
    by_fields("channel-fault", fault.id(), fault, &|_, fact| Some(plainly(fact)), language)
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

/// The keys of the words of all faults.
#[cfg(test)]
pub(super) fn keys() -> impl Iterator<Item = String> {
    use strum::IntoEnumIterator as _;
    let own = ChannelFault::iter().map(|fault| format!("channel-fault.{}", fault.id()));
    let facts = |fault: &ChannelFault| serde_json::to_value(fault).unwrap_or_default();
    own.chain(ChannelFault::iter().map(move |fault| super::fields::key("channel-fault", fault.id(), &facts(&fault))))
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
