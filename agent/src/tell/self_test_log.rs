//! Log lines about drives' self-tests.

use super::words::drives::pointed_at;
use super::words::phrases::{Language, Phrases};
use super::words::self_test;
use crate::reading::{AskedBy, SelfTestStep};
use crate::verdict::{Place, TestNews};

/// What is new, as a line of the log.
pub fn line(drive: &Place, news: &TestNews, language: Language) -> String {
    let drive = pointed_at(drive, language);
    let what = match news {
        TestNews::Asked { step, by, refused } => {
            let by = language.plain(match by {
                AskedBy::Owner => "log.self-test.requested",
                AskedBy::Schedule => "log.self-test.scheduled",
            });
            match refused {
                None => language.say(begins(*step), &[("by", &by)]),
                Some(why) => language.say(fails(*step), &[("by", &by), ("why", &language.missing(why))]),
            }
        }
        TestNews::Runs { remaining_percent } => self_test::running(*remaining_percent, language),
        TestNews::Over { outcome, failed_at_lba } => self_test::over(*outcome, *failed_at_lba, language),
    };
    language.say("log.self-test.line", &[("drive", &drive), ("what", &what)])
}

fn begins(step: SelfTestStep) -> &'static str {
    match step {
        SelfTestStep::Short => "log.self-test.short",
        SelfTestStep::Extended => "log.self-test.long",
        SelfTestStep::Abort => "log.self-test.stop",
    }
}

fn fails(step: SelfTestStep) -> &'static str {
    match step {
        SelfTestStep::Short => "log.self-test.no-short",
        SelfTestStep::Extended => "log.self-test.no-long",
        SelfTestStep::Abort => "log.self-test.no-stop",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::{Missing, Reason, TestOutcome};

    #[test]
    fn lines_of_the_log_say_who_wanted_what_and_what_came_of_it() {
        let lark = Place { tray: Some("3".into()), serial: Some("HN24-LARK".into()), port: None };
        let said = |what| line(&lark, &what, Language::ENGLISH);
        let asked = |refused| TestNews::Asked { step: SelfTestStep::Extended, by: AskedBy::Schedule, refused };
        assert_eq!(
            said(asked(None)),
            "the drive in tray 3 (serial ..LARK): starting a long self-test now, as scheduled"
        );
        assert_eq!(
            said(asked(Some(Missing::of(Reason::Asleep)))),
            "the drive in tray 3 (serial ..LARK): could not start a long self-test, as scheduled: asleep"
        );
        let failed = TestNews::Over { outcome: TestOutcome::Failed, failed_at_lba: Some(305_419_896) };
        assert_eq!(said(failed), "the drive in tray 3 (serial ..LARK): self-test FAILED, first at sector 305419896");
    }
}
