//! Stories of web requests: what is sent, what counts as delivered, and servers that behave badly. The signature is
//! judged by Python's own hmac.

use super::web_server::{Manner, WebServer, answer, closed_port};
use super::{batch, message, reply, send};
use std::process::Command;
use traylight::send::channels::ChannelFault;
use traylight::tell::message::MessageKind;
use traylight_tests::authority::Authority;

fn file(server: &WebServer, more: &str) -> String {
    format!("[[alerts.webhook]]\nname = 'hook'\nurl = 'http://127.0.0.1:{}/heron?a=1'\n{more}", server.port)
}

fn lost() -> traylight::tell::batch::Batch {
    batch(message("7", 1, MessageKind::Opened))
}

#[test]
fn the_message_is_posted_as_json() {
    let server = WebServer::start(answer("202 Accepted", "", "queued"), None);
    let receipt = send(&file(&server, ""), &lost()).unwrap();
    assert_eq!(reply(&receipt), "202 Accepted queued");
    let [request] = server.requests().try_into().unwrap_or_else(|found| panic!("{found:?}"));
    assert_eq!(request.head[0], "POST /heron?a=1 HTTP/1.1");
    assert_eq!(request.header("host"), Some(&*format!("127.0.0.1:{}", server.port)));
    assert_eq!(
        (request.header("content-type"), request.header("traylight-id")),
        (Some("application/json"), Some("7.1"))
    );
    let body: serde_json::Value = serde_json::from_str(&request.body).unwrap();
    assert_eq!(body, lost().document());
    assert_eq!(request.header("authorization"), None);
}

#[test]
fn templates_tokens_and_signatures_are_sent_as_configured() {
    let authority = Authority::new();
    let server = WebServer::start(answer("200 OK", "", ""), None);
    let more = format!(
        "headers = ['Heron-Alert: {{{{title}}}}', 'Heron-Urgency: now']\ncontent_type = 'text/plain'\n\
         body = '{{{{box}}}}: {{{{sentence}}}}'\ntoken_file = '{}'\nsigning_key_file = '{}'\n",
        authority.secret("token", "t0ken\n").display(),
        authority.secret("key", "reed bed\n").display()
    );
    send(&file(&server, &more), &lost()).unwrap();
    let request = server.requests().remove(0);
    assert_eq!((request.header("heron-alert"), request.header("heron-urgency")), (Some("TRAY 3 GONE"), Some("now")));
    assert_eq!(request.header("authorization"), Some("Bearer t0ken"));
    assert_eq!(request.body, "heron: Tray 3 (serial ..LARK) is no longer seen; the pool \"Vögel\" needs it.");
    let sign = "import hmac, sys; print('sha256=' + hmac.new(b'reed bed', sys.argv[1].encode(), 'sha256').hexdigest())";
    let python = Command::new("/usr/bin/python3").args(["-c", sign, &request.body]).output().unwrap();
    assert_eq!(request.header("traylight-signature"), Some(String::from_utf8(python.stdout).unwrap().trim()));
}

#[test]
fn only_a_2xx_is_delivered() {
    let server = WebServer::start(Manner::Hangs, None);
    let file = file(&server, "");
    let fault = |manner| {
        server.behave(manner);
        send(&file, &lost()).unwrap_err()
    };
    assert!(
        matches!(fault(answer("500 Internal Server Error", "", "oh")), ChannelFault::RejectedForNow { reply } if reply.ends_with("oh"))
    );
    assert!(matches!(fault(answer("503 Service Unavailable", "", "")), ChannelFault::RejectedForNow { .. }));
    assert!(matches!(fault(answer("429 Too Many Requests", "", "")), ChannelFault::RejectedForNow { .. }));
    assert!(matches!(fault(answer("401 Unauthorized", "", "")), ChannelFault::LoginRefused { .. }));
    assert!(
        matches!(fault(answer("404 Not Found", "", "\u{1b}[2Jgone")), ChannelFault::Rejected { reply } if reply.ends_with("[2Jgone"))
    );
    assert!(matches!(fault(answer("413 Content Too Large", "", "")), ChannelFault::Rejected { .. }));
}

#[test]
fn a_redirect_is_not_followed() {
    let elsewhere = WebServer::start(answer("200 OK", "", ""), None);
    let location = format!("location: http://127.0.0.1:{}/\r\n", elsewhere.port);
    for status in ["301 Moved Permanently", "302 Found", "307 Temporary Redirect", "308 Permanent Redirect"] {
        let server = WebServer::start(answer(status, &location, ""), None);
        let fault = send(&file(&server, ""), &lost()).unwrap_err();
        assert!(matches!(&fault, ChannelFault::Redirected { status: 301..=308 }), "{fault:?}");
    }
    assert_eq!(elsewhere.requests().len(), 0);
}

#[test]
fn servers_that_behave_badly_are_told_by_what_they_do() {
    let server = WebServer::start(Manner::Closes, None);
    let file = file(&server, "time_limit = '1 s'\n");
    let fault = |manner| {
        server.behave(manner);
        send(&file, &lost()).unwrap_err()
    };
    assert_eq!(fault(Manner::Closes), ChannelFault::ConnectionClosed);
    assert!(matches!(fault(Manner::Hangs), ChannelFault::TimedOut { .. }));
    assert!(matches!(fault(Manner::Dawdles), ChannelFault::TimedOut { .. }));
    assert!(matches!(fault(Manner::Says(b"220 mail.test ESMTP\r\n".to_vec())), ChannelFault::InvalidReply { .. }));
    assert!(matches!(fault(Manner::Says(vec![0xFF; 300])), ChannelFault::InvalidReply { .. }));
    let large = "x".repeat((64 << 10) + 1);
    assert_eq!(fault(answer("200 OK", "", &large)), ChannelFault::ReplyTooLong { most: 65_536 });
    let endless = b"HTTP/1.1 200 OK\r\n\r\n".iter().copied().chain(std::iter::repeat_n(b'x', 1 << 20)).collect();
    assert!(matches!(fault(Manner::Says(endless)), ChannelFault::ReplyTooLong { .. }));
    // A closed connection before the promised end of the answer is no delivery.
    assert!(matches!(
        fault(Manner::Says(b"HTTP/1.1 200 OK\r\ncontent-length: 9\r\n\r\nhi".to_vec())),
        ChannelFault::ConnectionClosed | ChannelFault::InvalidReply { .. }
    ));
    server.behave(answer("200 OK", "", &large[1..]));
    assert!(send(&file, &lost()).is_ok(), "64 KiB are not too much");
    let nobody = format!("[[alerts.webhook]]\nname = 'hook'\nurl = 'http://127.0.0.1:{}/'\n", closed_port());
    assert_eq!(send(&nobody, &lost()).unwrap_err(), ChannelFault::ConnectionRefused);
}

#[test]
fn nobody_without_the_right_certificate_is_told_anything() {
    let authority = Authority::new();
    let tls = |certificate: &str, ca: bool| {
        let server = WebServer::start(answer("200 OK", "", ""), Some(authority.pair(certificate)));
        let ca = if ca { format!("ca_file = '{}'\n", authority.ca().display()) } else { String::new() };
        let file = file(&server, &ca).replace("http://", "https://");
        (send(&file, &lost()), server.requests().len())
    };
    assert!(matches!(tls("here", true), (Ok(_), 1)));
    for (certificate, ca) in [("here", false), ("untrusted", true), ("elsewhere", true), ("over", true)] {
        let issued_by = |issuer: &str| ChannelFault::CertificateIssuer { issuer: Some(issuer.to_owned()) };
        let wanted = match certificate {
            "here" => issued_by("ca"),
            "untrusted" => issued_by("stranger"),
            "elsewhere" => ChannelFault::CertificateName,
            _ => ChannelFault::CertificateExpired,
        };
        assert_eq!(tls(certificate, ca), (Err(wanted), 0), "{certificate}");
    }
    // A server that speaks no TLS at all.
    let plain = WebServer::start(Manner::Says(b"hello\r\n".to_vec()), None);
    let fault = send(&file(&plain, "time_limit = '2 s'\n").replace("http://", "https://"), &lost()).unwrap_err();
    assert!(matches!(&fault, ChannelFault::NotTls | ChannelFault::TimedOut { .. }), "{fault:?}");
}
