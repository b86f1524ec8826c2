//! The channels against real receivers: mail to aiosmtpd, MQTT to mosquitto, web requests to a server that behaves as
//! badly as it can; and a program that is killed in the middle of a storm of alerts.

#![allow(clippy::unwrap_used, clippy::expect_used, clippy::panic, reason = "a failing step fails the test")]
#![allow(clippy::disallowed_methods, reason = "these stories make files, and wait for processes")]

mod delay;
mod hostile;
mod mail;
mod mqtt;
mod servers;
mod storm;
mod web_server;
mod webhook;

use std::sync::Arc;
use tokio::sync::watch;
use traylight::send::channels::command::StateFolder;
use traylight::send::channels::from_settings::channels;
use traylight::send::channels::{Channel, ChannelFault, Receipt, Reply};
use traylight::tell::batch::{Batch, Item};
use traylight::tell::box_state::BoxState;
use traylight::tell::message::{About, Message, MessageKind, Stamp, Topic};
use traylight::tell::words::phrases::Language;
use traylight::verdict::{Handling, Severity};

/// What the box would say of a lost drive.
fn message(incident: &str, sequence: u32, kind: MessageKind) -> Message {
    Message {
        id: format!("{incident}.{sequence}"),
        incident: incident.to_owned(),
        kind,
        severity: Severity::Critical,
        about: vec![About { topic: Topic::Drive, name: "HN24-LARK".to_owned() }],
        trays: vec!["3".to_owned()],
        title: "TRAY 3 GONE".to_owned(),
        sentence: "Tray 3 (serial ..LARK) is no longer seen; the pool \"Vögel\" needs it.".to_owned(),
        advice: "Leave 1 2 in. Check the plugs of this one with the box off.".to_owned(),
        warning: "Do not replace it for this alone.".to_owned(),
        news: Vec::new(),
        also: Vec::new(),
        part_of: None,
        tray_line: Some("LEAVE IN 1 2".to_owned()),
        leave_in: Handling::LeaveIn(vec!["1".to_owned(), "2".to_owned()]).leave_in(),
        evidence: vec!["its block device is gone".to_owned()],
        not_measured: Vec::new(),
        next_test: String::new(),
        since: "14:02".to_owned(),
        lasted: None,
        language: Language::ENGLISH,
        box_name: "heron".to_owned(),
        made_at: Stamp::default(),
        is_rehearsed: false,
        held: false,
        page: None,
        record: None,
    }
}

fn batch(message: Message) -> Batch {
    Batch::of(Item::new(message, 0, 1, &Stamp::default()))
}

/// What the other side replied.
fn reply(receipt: &Receipt) -> &str {
    match &receipt.reply {
        Reply::Quoted(reply) => reply,
        other => panic!("{other:?}"),
    }
}

/// A runtime for one story.
fn runtime() -> tokio::runtime::Runtime {
    tokio::runtime::Builder::new_current_thread().enable_all().build().unwrap()
}

/// The only way of this file; call it inside a runtime.
fn channel(file: &str) -> Arc<dyn Channel> {
    let alerts = traylight_config::settle(file, "f").unwrap_or_else(|problems| panic!("{problems}")).alerts;
    let (_, state) = watch::channel(BoxState::default());
    channels(&alerts, "heron", &state, &StateFolder::default()).0.remove(0).1
}

/// Sends this on the only way of this file.
fn send(file: &str, batch: &Batch) -> Result<Receipt, ChannelFault> {
    runtime().block_on(async { channel(file).send(batch).await })
}
