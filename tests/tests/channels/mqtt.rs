//! Stories of MQTT, with mosquitto as the broker and its own client as the judge of what was published, in both
//! versions, encrypted and not.

use super::servers::{Broker, LONG};
use super::web_server::{Manner, WebServer, closed_port};
use super::{batch, message, runtime};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use traylight::send::channels::command::StateFolder;
use traylight::send::channels::from_settings::channels;
use traylight::send::channels::{Channel, ChannelFault, Receipt, Reply};
use traylight::tell::box_state::{BoxState, PartState};
use traylight::tell::message::MessageKind;
use traylight_tests::authority::Authority;

fn file(authority: &Authority, port: u16, tls: bool, version: &str, word: &str) -> String {
    let word = authority.secret(&format!("word-{word}"), word);
    let ca = if tls { format!("ca_file = '{}'\n", authority.ca().display()) } else { String::new() };
    format!(
        "[[alerts.mqtt]]\nname = 'broker'\nserver = '127.0.0.1'\nport = {port}\ntls = {tls}\nversion = '{version}'\n\
         user = 'heron'\npassword_file = '{}'\n{ca}",
        word.display()
    )
}

fn start(file: &str, state: &watch::Receiver<BoxState>) -> Arc<dyn Channel> {
    let alerts = traylight_config::settle(file, "f").unwrap_or_else(|problems| panic!("{problems}")).alerts;
    channels(&alerts, "heron", state, &StateFolder::default()).0.remove(0).1
}

fn standing(whole: &str, trays: &[(&str, &str)]) -> BoxState {
    let part =
        |(label, tray): &(&str, &str)| PartState { kind: "tray", name: (*label).to_owned(), state: (*tray).to_owned() };
    BoxState { whole: whole.to_owned(), parts: trays.iter().map(part).collect(), ..BoxState::default() }
}

/// Lets the runtime go on until the broker was heard with this.
async fn hears(broker: &Broker, wanted: &str) {
    hears_times(broker, wanted, 1).await;
}

/// The same, so many times.
async fn hears_times(broker: &Broker, wanted: &str, times: usize) {
    for _ in 0..LONG * 50 {
        if broker.heard().iter().filter(|line| line.contains(wanted)).count() >= times {
            return;
        }
        tokio::time::sleep(Duration::from_millis(20)).await;
    }
    panic!("{wanted:?} was not heard:\n{}", broker.heard().join("\n"));
}

#[test]
fn events_are_confirmed_and_the_state_is_kept_in_both_versions() {
    let authority = Authority::new();
    for (version, tls) in [("3.1.1", false), ("3.1.1", true), ("5", false), ("5", true)] {
        let broker = Broker::start(&authority, &format!("v{version}-{tls}"), tls);
        let file = file(&authority, broker.port, tls, version, "reed");
        runtime().block_on(async {
            let (state, seen) =
                watch::channel(standing("{\"standing\":\"warning\"}", &[("A1", "{\"a\":1}"), ("B/2", "{\"b\":2}")]));
            let channel = start(&file, &seen);
            hears(&broker, "0 traylight/heron/agent online").await;
            hears(&broker, "0 traylight/heron/state {\"standing\":\"warning\"}").await;
            hears(&broker, "0 traylight/heron/tray/B_2 {\"b\":2}").await;
            let sent = channel.send(&batch(message("7", 1, MessageKind::Opened))).await;
            assert_eq!(sent, Ok(Receipt::of(Reply::Acknowledged)));
            hears(&broker, "0 traylight/heron/alert {").await;
            state.send_replace(standing("{\"standing\":\"fine\"}", &[("A1", "{\"a\":1}")]));
            hears(&broker, "0 traylight/heron/state {\"standing\":\"fine\"}").await;
            channel.finish().await;
            hears(&broker, "0 traylight/heron/agent stopped").await;
            drop(state);
        });
        let heard = broker.heard();
        let alert = heard.iter().find_map(|line| line.strip_prefix("0 traylight/heron/alert ")).unwrap();
        let alert: serde_json::Value = serde_json::from_str(alert).unwrap();
        assert_eq!(alert["messages"][0]["id"], "7.1");
        let a1 = heard.iter().filter(|line| line.contains("/tray/A1")).count();
        assert_eq!(a1, 1, "what has not changed is not said again: {heard:#?}");
        // Whoever comes later hears what is kept and no event. The tray that is no more is not kept.
        let kept = late(&authority, &broker, tls);
        assert!(kept.contains(&"1 traylight/heron/state {\"standing\":\"fine\"}".to_owned()), "{kept:?}");
        assert!(kept.contains(&"1 traylight/heron/agent stopped".to_owned()), "{kept:?}");
        assert!(!kept.iter().any(|line| line.contains("B_2") || line.contains("/alert")), "{kept:?}");
    }
}

/// What somebody hears who comes now.
fn late(authority: &Authority, broker: &Broker, tls: bool) -> Vec<String> {
    let mut command = std::process::Command::new("mosquitto_sub");
    let port = broker.port.to_string();
    command.args([
        "-h",
        "127.0.0.1",
        "-p",
        &port,
        "-u",
        "heron",
        "-P",
        "reed",
        "-t",
        "traylight/#",
        "-F",
        "%r %t %p",
        "-W",
        "2",
    ]);
    if tls {
        command.arg("--cafile").arg(authority.ca());
    }
    let output = command.output().unwrap();
    String::from_utf8(output.stdout).unwrap().lines().map(str::to_owned).collect()
}

#[test]
fn an_agent_that_dies_is_said_to_be_gone() {
    let authority = Authority::new();
    for version in ["3.1.1", "5"] {
        let broker = Broker::start(&authority, &format!("will-{version}"), false);
        let file = file(&authority, broker.port, false, version, "reed");
        runtime().block_on(async {
            let (_state, seen) = watch::channel(BoxState::default());
            let _channel = start(&file, &seen);
            hears(&broker, "0 traylight/heron/agent online").await;
        });
        // The runtime is gone, and the connection with it, without a goodbye.
        broker.hears("0 traylight/heron/agent offline");
        let kept = late(&authority, &broker, false);
        assert!(kept.contains(&"1 traylight/heron/agent offline".to_owned()), "{kept:?}");
    }
}

#[test]
fn a_broker_that_was_away_is_told_how_things_stand() {
    let authority = Authority::new();
    let mut broker = Broker::start(&authority, "away", false);
    let file = file(&authority, broker.port, false, "3.1.1", "reed");
    runtime().block_on(async {
        let (_state, seen) = watch::channel(standing("{}", &[]));
        let channel = start(&file, &seen);
        let lost = batch(message("7", 1, MessageKind::Opened));
        assert!(channel.send(&lost).await.is_ok());
        // The broker has it before whoever listens has.
        hears(&broker, "\"id\":\"7.1\"").await;
        broker.down();
        // Whether it is noticed while sending or before: it has not arrived.
        assert!(matches!(
            channel.send(&lost).await,
            Err(ChannelFault::ConnectionClosed | ChannelFault::ConnectionRefused)
        ));
        broker.up(&authority);
        assert!(channel.send(&lost).await.is_ok(), "an order does not wait for the pause to end");
        hears_times(&broker, "\"id\":\"7.1\"", 2).await;
        channel.finish().await;
    });
    let heard = broker.heard();
    assert_eq!(heard.iter().filter(|line| line.contains("agent online")).count(), 2, "{heard:?}");
    assert_eq!(heard.iter().filter(|line| line.contains("\"id\":\"7.1\"")).count(), 2, "{heard:?}");
}

fn refused(file: &str) -> ChannelFault {
    runtime().block_on(async {
        let (_state, seen) = watch::channel(BoxState::default());
        start(file, &seen).send(&batch(message("7", 1, MessageKind::Opened))).await.unwrap_err()
    })
}

#[test]
fn a_broker_that_does_not_let_us_in_or_is_none_is_told() {
    let authority = Authority::new();
    let broker = Broker::start(&authority, "door", true);
    // What mosquitto answers to a wrong password: 5 in 3.1.1, 0x87 in 5.
    for version in ["3.1.1", "5"] {
        let fault = refused(&file(&authority, broker.port, true, version, "sedge"));
        assert_eq!(fault, ChannelFault::LoginRefused { reply: "not authorised".into() }, "{version}");
    }
    let stranger = file(&authority, broker.port, true, "5", "reed").replace("ca_file", "# ca_file");
    assert!(matches!(refused(&stranger), ChannelFault::CertificateIssuer { issuer: Some(issuer) } if issuer == "ca"));
    assert_eq!(refused(&file(&authority, closed_port(), false, "5", "reed")), ChannelFault::ConnectionRefused);
    let web = WebServer::start(Manner::Closes, None);
    assert_eq!(refused(&file(&authority, web.port, false, "5", "reed")), ChannelFault::ConnectionClosed);
}

/// Answers that are no MQTT, or no welcome, from somebody who listens on the port.
#[test]
fn nonsense_is_told_and_nobody_is_let_in_by_it() {
    let authority = Authority::new();
    for (said, version) in [
        (&b"HTTP/1.1 400 Bad Request\r\n\r\n"[..], "5"),
        (b"\x20\x02\x00", "3.1.1"),
        (b"\x20\xFF\xFF\xFF\xFF\x7F", "5"),
        (b"\x90\x03\x00\x01\x00", "3.1.1"),
        (b"\xD0\x00", "5"),
        (b"\x20\x05\x00\x00\x02\x7E\x00", "5"),
    ] {
        let listener = std::net::TcpListener::bind("127.0.0.1:0").unwrap();
        let port = listener.local_addr().unwrap().port();
        std::thread::spawn(move || {
            use std::io::{Read, Write};
            while let Ok((mut visitor, _)) = listener.accept() {
                let _ = visitor.read(&mut [0; 256]);
                let _ = visitor.write_all(said);
            }
        });
        let fault = refused(&file(&authority, port, false, version, "reed"));
        assert!(
            matches!(fault, ChannelFault::InvalidReply { .. } | ChannelFault::ConnectionClosed),
            "{said:?}: {fault:?}"
        );
    }
}
