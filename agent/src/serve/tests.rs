//! The documents that tests print.

use super::document::Document;
use crate::clock::Moment;
use crate::demo::{self, heron, story};
use crate::judge::{Memory, judge};
use crate::reading::Itself;
use std::time::Duration;
use traylight_config::{Language, Settings};

/// The settings of the pretend box, with an owner who reads this language.
pub fn settings(language: Language) -> Settings {
    Settings { language, ..demo::settings().expect("the pretend box has settings") }
}

/// The pretend box after so many minutes of its story.
pub fn document(minutes: u64, language: Language) -> Document {
    let settings = settings(language);
    let (mut memory, mut last) = (Memory::default(), None);
    for second in (0..=60 * minutes).step_by(2) {
        let elapsed = Duration::from_secs(second);
        let now = Moment::after_boot(Duration::from_secs(86_400) + elapsed);
        let snapshot = heron::snapshot(now, &story::scene(elapsed));
        let (verdict, _) = judge(&settings, &mut memory, now, Some(&snapshot), &Itself::default());
        last = Some((verdict, snapshot));
    }
    let (verdict, snapshot) = last.expect("the story has a first second");
    Document::new(&settings, &verdict, &snapshot, &demo::dawn().expect("there is a dawn"))
}
