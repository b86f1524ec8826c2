//! Stories of web requests: what is sent, what counts as delivered, and servers that behave badly. The signature is
//! judged by Python's own hmac.

use super::web_server::{Manner, WebServer, answer, closed_port};
use super::{batch, message, send};
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
    assert_eq!(receipt.said, "202 Accepted queued");
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
        matches!(fault(answer("500 Internal Server Error", "", "oh")), ChannelFault::Later(why) if why.contains("oh"))
    );
    assert!(matches!(fault(answer("503 Service Unavailable", "", "")), ChannelFault::Later(_)));
    assert!(matches!(fault(answer("429 Too Many Requests", "", "")), ChannelFault::Later(_)));
    assert!(matches!(fault(answer("401 Unauthorized", "", "")), ChannelFault::LoginRefused(_)));
    assert!(
        matches!(fault(answer("404 Not Found", "", "\u{1b}[2Jgone")), ChannelFault::Refused(why) if why.ends_with("[2Jgone"))
    );
    assert!(matches!(fault(answer("413 Content Too Large", "", "")), ChannelFault::Refused(_)));
}

#[test]
fn a_redirect_is_not_followed() {
    let elsewhere = WebServer::start(answer("200 OK", "", ""), None);
    let location = format!("location: http://127.0.0.1:{}/\r\n", elsewhere.port);
    for status in ["301 Moved Permanently", "302 Found", "307 Temporary Redirect", "308 Permanent Redirect"] {
        let server = WebServer::start(answer(status, &location, ""), None);
        let fault = send(&file(&server, ""), &lost()).unwrap_err();
        assert!(
            matches!(&fault, ChannelFault::Refused(why) if why.contains("redirects are not followed")),
            "{fault:?}"
        );
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
    assert!(matches!(fault(Manner::Closes), ChannelFault::Unreachable(_)));
    assert!(matches!(fault(Manner::Hangs), ChannelFault::TimedOut(_)));
    assert!(matches!(fault(Manner::Dawdles), ChannelFault::TimedOut(_)));
    assert!(matches!(fault(Manner::Says(b"220 mail.test ESMTP\r\n".to_vec())), ChannelFault::InvalidReply(_)));
    assert!(matches!(fault(Manner::Says(vec![0xFF; 300])), ChannelFault::InvalidReply(_)));
    let large = "x".repeat((64 << 10) + 1);
    assert!(
        matches!(fault(answer("200 OK", "", &large)), ChannelFault::InvalidReply(why) if why.contains("at most 65536 bytes"))
    );
    let endless = b"HTTP/1.1 200 OK\r\n\r\n".iter().copied().chain(std::iter::repeat_n(b'x', 1 << 20)).collect();
    assert!(matches!(fault(Manner::Says(endless)), ChannelFault::InvalidReply(_)));
    // A closed connection before the promised end of the answer is no delivery.
    assert!(matches!(
        fault(Manner::Says(b"HTTP/1.1 200 OK\r\ncontent-length: 9\r\n\r\nhi".to_vec())),
        ChannelFault::Unreachable(_) | ChannelFault::InvalidReply(_)
    ));
    server.behave(answer("200 OK", "", &large[1..]));
    assert!(send(&file, &lost()).is_ok(), "64 KiB are not too much");
    let nobody = format!("[[alerts.webhook]]\nname = 'hook'\nurl = 'http://127.0.0.1:{}/'\n", closed_port());
    assert!(matches!(send(&nobody, &lost()).unwrap_err(), ChannelFault::Unreachable(_)));
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
        let (outcome, asked) = tls(certificate, ca);
        assert!(
            matches!(&outcome, Err(ChannelFault::Untrusted(why)) if why.contains("certificate")),
            "{certificate}: {outcome:?}"
        );
        assert_eq!(asked, 0, "{certificate}");
    }
    // A server that speaks no TLS at all.
    let plain = WebServer::start(Manner::Says(b"hello\r\n".to_vec()), None);
    let fault = send(&file(&plain, "time_limit = '2 s'\n").replace("http://", "https://"), &lost()).unwrap_err();
    assert!(matches!(&fault, ChannelFault::Untrusted(_) | ChannelFault::TimedOut(_)), "{fault:?}");
}
