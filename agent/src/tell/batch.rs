//! What leaves in one piece: one message, or several that came too fast, with what the outbox has to say about each.
//! And its form for machines, one JSON document.

use super::message::{Message, MessageKind, Stamp};
use crate::clock::spaced;
use crate::verdict::Severity;
use serde_json::{Value, json};
use std::time::Duration;

/// A message is late when it leaves so long after it was made.
pub const LATE: Duration = Duration::from_secs(15 * 60);

/// What leaves in one piece.
#[derive(Debug, Clone, PartialEq)]
pub struct Batch {
    /// The first message.
    pub first: Item,
    /// More of them, in order.
    pub more: Vec<Item>,
}

/// One message of a batch.
#[derive(Debug, Clone, PartialEq)]
pub struct Item {
    /// The message.
    pub message: Message,
    /// When it was made, local time (RFC 3339), where that is known.
    pub made: Option<String>,
    /// The same as people read it.
    pub made_local: Option<String>,
    /// How late it is, when it is [`LATE`].
    pub late: Option<Duration>,
    /// How many messages before it were left out for want of room.
    pub left_out: u32,
    /// Which attempt to deliver it this is, from 1. From the second on it may have arrived before.
    pub attempt: u32,
}

impl Item {
    /// A message as it leaves now.
    pub fn new(message: Message, left_out: u32, attempt: u32, now: &Stamp) -> Self {
        let late = message.made_at.age(now).filter(|age| *age >= LATE);
        let made = message.made_at.wall_text(now);
        let made_local = made.as_deref().map(spaced);
        Self { message, made, made_local, late, left_out, attempt }
    }
}

impl Batch {
    /// A batch of one message.
    pub fn of(first: Item) -> Self {
        Self { first, more: Vec::new() }
    }

    /// All of its messages, in order.
    pub fn items(&self) -> impl Iterator<Item = &Item> {
        std::iter::once(&self.first).chain(&self.more)
    }

    /// The names of its messages.
    pub fn ids(&self) -> Vec<String> {
        self.items().map(|item| item.message.id.clone()).collect()
    }

    /// The name of the batch: the same for the same messages.
    pub fn id(&self) -> String {
        match self.more.last() {
            None => self.first.message.id.clone(),
            Some(last) => format!("{}..{}+{}", self.first.message.id, last.message.id, self.more.len()),
        }
    }

    /// The worst message of what is not over, the first of equals; the first of all where all is over.
    pub fn leading(&self) -> &Item {
        let open = self.items().filter(|item| !item.message.kind.is_last());
        self.worst(open).unwrap_or(&self.first)
    }

    /// The worst message that has a picture, the first of equals.
    pub fn pictured(&self) -> Option<&Item> {
        self.worst(self.items().filter(|item| item.message.page.is_some()))
    }

    fn worst<'a>(&'a self, items: impl Iterator<Item = &'a Item>) -> Option<&'a Item> {
        items.reduce(|worst, item| if item.message.severity > worst.message.severity { item } else { worst })
    }

    /// How bad the worst of it is.
    pub fn severity(&self) -> Severity {
        self.items().map(|item| item.message.severity).max().unwrap_or(Severity::Notice)
    }

    /// The labels of the trays, each once.
    pub fn trays(&self) -> Vec<String> {
        let mut trays: Vec<String> = Vec::new();
        for tray in self.items().flat_map(|item| &item.message.trays) {
            if !trays.contains(tray) {
                trays.push(tray.clone());
            }
        }
        trays
    }

    /// The batch as one JSON document, `"schema": 1`.
    pub fn document(&self) -> Value {
        json!({
            "schema": 1,
            "id": self.id(),
            "box": self.first.message.box_name,
            "severity": self.severity(),
            "messages": self.items().map(part).collect::<Vec<_>>(),
        })
    }
}

fn part(item: &Item) -> Value {
    let message = &item.message;
    json!({
        "id": message.id,
        "incident": message.incident,
        "update": message.kind,
        "test": message.is_test(),
        "part_of": message.part_of,
        "is_over": message.kind == MessageKind::Closed,
        "severity": message.severity,
        "about": message.about,
        "trays": message.trays,
        "title": message.title,
        "sentence": message.sentence,
        "new": message.news,
        "also": message.also,
        "do": message.advice,
        "do_not": message.warning,
        "tray_line": message.tray_line,
        "leave_in": message.leave_in,
        "evidence": message.evidence,
        "not_measured": message.not_measured,
        "next_test": message.next_test,
        "since": message.since,
        "lasted_s": message.lasted.map(|lasted| lasted.as_secs()),
        "made_at": item.made,
        "late_s": item.late.map(|late| late.as_secs()),
        "left_out_before": item.left_out,
        "attempt": item.attempt,
    })
}

#[cfg(test)]
mod tests {
    use super::super::message::{WallStamp, example};
    use super::*;
    use crate::clock::Moment;

    fn now(second: u64) -> Stamp {
        let wall = WallStamp { epoch_s: 1_778_761_925, text: "2026-05-14T14:32:05+02:00".to_owned() };
        Stamp { boot_id: "spring".into(), moment: Moment::after_boot(Duration::from_secs(second)), wall: Some(wall) }
    }

    #[test]
    fn a_batch_has_the_same_name_for_the_same_messages() {
        let item =
            |sequence| Item::new(example("i-7", sequence, MessageKind::Opened, Severity::Warning), 0, 1, &now(0));
        let alone = Batch::of(item(1));
        let several = Batch { first: item(1), more: vec![item(2), item(3)] };
        assert_eq!((alone.id(), several.id()), ("i-7.1".into(), "i-7.1..i-7.3+2".into()));
        assert_eq!(several.ids(), ["i-7.1", "i-7.2", "i-7.3"]);
        assert_eq!(several.trays(), ["3"], "each once");
    }

    #[test]
    fn the_document_says_what_is_late_and_what_may_have_arrived_before() {
        let day = 31 * 3600;
        let message = example("i-7", 2, MessageKind::Closed, Severity::Critical);
        let batch = Batch::of(Item::new(message.clone(), 4, 3, &now(day)));
        let document = batch.document();
        let first = &document["messages"][0];
        assert_eq!(first["late_s"], day);
        assert_eq!(first["made_at"], "2026-05-13T07:32:05+02:00", "31 h before 14:32:05 of the 14th");
        assert_eq!((&first["attempt"], &first["left_out_before"]), (&3.into(), &4.into()));
        assert_eq!(
            (&first["update"], &first["is_over"], &first["lasted_s"]),
            (&"closed".into(), &true.into(), &90.into())
        );
        assert_eq!((&document["severity"], &document["box"]), (&"critical".into(), &"heron".into()));
        let soon = Batch::of(Item::new(message, 0, 1, &now(LATE.as_secs() - 1)));
        assert_eq!(soon.document()["messages"][0]["late_s"], Value::Null);
    }
}
