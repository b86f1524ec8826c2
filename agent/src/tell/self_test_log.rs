//! Log lines about drives' self-tests.

use super::words::drives::pointed_at;
use super::words::phrases::Language;
use super::words::self_test;
use crate::reading::{AskedBy, SelfTestStep};
use crate::verdict::{Place, TestNews};

/// What is new, as a line of the log.
pub fn line(drive: &Place, news: &TestNews) -> String {
    let drive = pointed_at(drive, Language::ENGLISH);
    match news {
        TestNews::Asked { step, by, refused } => {
            let by = match by {
                AskedBy::Owner => "as requested",
                AskedBy::Schedule => "as scheduled",
            };
            match refused {
                None => format!("{drive}: {} now, {by}", does(*step)),
                Some(why) => format!("{drive}: could not {}, {by}: {why}", to(*step)),
            }
        }
        TestNews::Runs { remaining_percent } => {
            format!("{drive}: {}", self_test::running(*remaining_percent, Language::ENGLISH))
        }
        TestNews::Over { outcome, failed_at_lba } => {
            format!("{drive}: {}", self_test::over(*outcome, *failed_at_lba, Language::ENGLISH))
        }
    }
}

fn does(step: SelfTestStep) -> &'static str {
    match step {
        SelfTestStep::Short => "starting a short self-test",
        SelfTestStep::Extended => "starting a long self-test",
        SelfTestStep::Abort => "stopping its self-test",
    }
}

fn to(step: SelfTestStep) -> &'static str {
    match step {
        SelfTestStep::Short => "start a short self-test",
        SelfTestStep::Extended => "start a long self-test",
        SelfTestStep::Abort => "stop its self-test",
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::reading::TestOutcome;

    #[test]
    fn lines_of_the_log_say_who_wanted_what_and_what_came_of_it() {
        let lark = Place { tray: Some("3".into()), serial: Some("HN24-LARK".into()), port: None };
        let said = |what| line(&lark, &what);
        let asked = |refused: Option<&str>| TestNews::Asked {
            step: SelfTestStep::Extended,
            by: AskedBy::Schedule,
            refused: refused.map(str::to_owned),
        };
        assert_eq!(
            said(asked(None)),
            "the drive in tray 3 (serial ..LARK): starting a long self-test now, as scheduled"
        );
        assert_eq!(
            said(asked(Some("asleep"))),
            "the drive in tray 3 (serial ..LARK): could not start a long self-test, as scheduled: asleep"
        );
        let failed = TestNews::Over { outcome: TestOutcome::Failed, failed_at_lba: Some(305_419_896) };
        assert_eq!(said(failed), "the drive in tray 3 (serial ..LARK): self-test FAILED, first at sector 305419896");
    }
}
