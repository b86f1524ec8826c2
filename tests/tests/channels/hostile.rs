//! Stories of other sides that want to do harm: who pours out bytes without end, before and after encryption begins, is
//! heard so far and no further. What counts is what the program took in, as far as the pouring side can tell.

use super::{batch, message, runtime, send};
use traylight::send::channels::reach::MOST_BYTES_OF_MAIL;
use traylight::send::channels::{ChannelFault, Receipt};
use traylight::tell::message::MessageKind;
use traylight_tests::authority::Authority;
use traylight_tests::stranger::Step::{Encrypt, Hear, HearRequest, Listen, Pour, Say};
use traylight_tests::stranger::{BEFORE_TLS, Step, Stranger};

/// So many may be under way in the buffers of both ends while nobody takes them in.
const UNDER_CHANNEL: usize = 16 << 20;

fn mail(authority: &Authority, port: u16, more: &str) -> String {
    format!(
        "[[alerts.mail]]\nname = 'keeper'\nserver = 'localhost'\nport = {port}\nfrom = 'heron@example.org'\n\
         to = ['keeper@example.org']\nca_file = '{}'\n{more}",
        authority.ca().display()
    )
}

fn ends(name: &str, stranger: &Stranger, sent: Result<Receipt, ChannelFault>) {
    let poured = stranger.poured();
    assert!(poured < UNDER_CHANNEL, "{name}: {poured} bytes were taken in");
    use ChannelFault::{ConnectionClosed, ConnectionFailed, InvalidReply, NotTls, ReplyTooLong, TlsBroken};
    assert!(
        matches!(
            &sent,
            Err(InvalidReply { .. }
                | ReplyTooLong { .. }
                | NotTls
                | TlsBroken
                | ConnectionClosed
                | ConnectionFailed { .. })
        ),
        "{name}: {sent:?}"
    );
}

#[test]
fn a_mail_server_that_never_ends_its_line_is_not_heard_for_long() {
    let authority = Authority::new();
    let after = |steps: &[Step]| BEFORE_TLS.iter().chain(steps).cloned().collect::<Vec<_>>();
    for (name, security, steps) in [
        ("instead of a greeting", "starttls", vec![Pour(b"a")]),
        ("after the greeting", "starttls", vec![Say(b"220 hut\r\n"), Hear, Pour(b"a")]),
        ("instead of encryption", "starttls", after(&[Pour(b"\x16\x03\x03\x40\x00")])),
        ("after encryption has begun", "starttls", after(&[Encrypt, Hear, Pour(b"a")])),
        ("encrypted from the beginning", "tls", vec![Encrypt, Pour(b"a")]),
        ("with lines that go on", "tls", vec![Encrypt, Pour(b"220-hut\r\n")]),
        ("with lines of nothing", "tls", vec![Encrypt, Pour(b"\r\n")]),
        (
            "when it has the mail",
            "tls",
            vec![
                Encrypt,
                Say(b"220 hut\r\n"),
                Hear,
                Say(b"250-8BITMIME\r\n250 hut\r\n"),
                Hear,
                Say(b"250 from\r\n"),
                Hear,
                Say(b"250 to\r\n"),
                Hear,
                Say(b"354 go on\r\n"),
                Pour(b"a"),
            ],
        ),
    ] {
        let stranger = Stranger::start(&authority, &steps);
        let file = mail(&authority, stranger.port, &format!("security = '{security}'\n"));
        let sent = send(&file, &batch(message("7", 1, MessageKind::Opened)));
        ends(name, &stranger, sent);
    }
}

#[test]
fn how_much_may_come_is_told() {
    let authority = Authority::new();
    let stranger = Stranger::start(&authority, &[Pour(b"a")]);
    let fault = send(&mail(&authority, stranger.port, ""), &batch(message("7", 1, MessageKind::Opened))).unwrap_err();
    assert_eq!(fault, ChannelFault::ReplyTooLong { most: MOST_BYTES_OF_MAIL });
}

/// What somebody on the way says before encryption begins is no word of the server's: it must not be taken for the
/// answers to what is sent encrypted, or a mail would pass for delivered that nobody has.
#[test]
fn answers_from_before_encryption_deliver_no_mail() {
    let authority = Authority::new();
    let injected = b"220 go on\r\n250 hut\r\n250 from\r\n250 to\r\n354 go on\r\n250 in the box\r\n221 bye\r\n";
    let steps: Vec<Step> = BEFORE_TLS[..4].iter().cloned().chain([Say(injected), Encrypt, Listen]).collect();
    let stranger = Stranger::start(&authority, &steps);
    let sent = send(&mail(&authority, stranger.port, ""), &batch(message("7", 1, MessageKind::Opened)));
    assert_eq!(sent, Err(ChannelFault::NotTls));
}

/// What another side says goes to the log; it has heard all secrets of the way.
#[test]
fn what_another_side_repeats_of_a_secret_is_not_told() {
    let authority = Authority::new();
    let word = authority.secret("word", "c4n4ry-word").display().to_string();
    let refuses = [
        &[Encrypt, Say(b"220 hut\r\n"), Hear, Say(b"250-AUTH PLAIN\r\n250 8BITMIME\r\n"), Hear][..],
        &[Say(b"535 no AGhlcm9uAGM0bjRyeS13b3Jk for c4n4ry-word YzRuNHJ5LXdvcmQ=\r\n"), Listen],
    ];
    let stranger = Stranger::start(&authority, &refuses.concat());
    let more = format!("security = 'tls'\nuser = 'heron'\npassword_file = '{word}'\n");
    let mail = send(&mail(&authority, stranger.port, &more), &batch(message("7", 1, MessageKind::Opened))).unwrap_err();
    assert!(matches!(&mail, ChannelFault::LoginRefused { reply } if reply.contains("535")), "{mail:?}");
    let answer = b"HTTP/1.1 404 Not Found\r\ncontent-length: 78\r\n\r\n\
                   no /hook/c4n4ry-path?key=c4n4ry-key: c4n4ry-path c4n4ry-key c4n4ry-word c4n4ry";
    let stranger = Stranger::start(&authority, &[HearRequest, Say(answer), Listen]);
    let file = format!(
        "[[alerts.webhook]]\nname = 'hook'\nurl = 'http://127.0.0.1:{}/hook/c4n4ry-path?key=c4n4ry-key'\n\
         headers = ['X-Key: c4n4ry']\ntoken_file = '{word}'\n",
        stranger.port
    );
    let hook = send(&file, &batch(message("7", 1, MessageKind::Opened))).unwrap_err();
    assert!(matches!(&hook, ChannelFault::Rejected { reply } if reply.contains("no ***")), "{hook:?}");
    for said in [format!("{mail:?}"), format!("{hook:?}")] {
        assert!(!said.contains("c4n4ry") && !said.contains("YzRuNHJ5") && !said.contains("AGhlcm9u"), "{said}");
    }
}

#[test]
fn a_web_server_without_end_is_not_heard_for_long() {
    let authority = Authority::new();
    for (name, first, poured) in [
        ("interim answers", &b""[..], &b"HTTP/1.1 100 Continue\r\n\r\n"[..]),
        ("early hints", b"", b"HTTP/1.1 103 Early Hints\r\nlink: </>\r\n\r\n"),
        ("a status line", b"HTTP/1.1 200 ", b"a"),
        ("header lines", b"HTTP/1.1 200 OK\r\n", b"a: b\r\n"),
        ("one header line", b"HTTP/1.1 200 OK\r\na: ", b"a"),
        ("a body", b"HTTP/1.1 200 OK\r\n\r\n", b"a"),
        ("chunks", b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n", b"1\r\na\r\n"),
        ("one chunk's extension", b"HTTP/1.1 200 OK\r\ntransfer-encoding: chunked\r\n\r\n1;", b"a"),
    ] {
        for scheme in ["http", "https"] {
            let begin = if scheme == "https" { vec![Encrypt] } else { Vec::new() };
            let steps = [begin, vec![HearRequest, Say(first), Pour(poured)]].concat();
            let stranger = Stranger::start(&authority, &steps);
            let file = format!(
                "[[alerts.webhook]]\nname = 'hook'\nurl = '{scheme}://127.0.0.1:{}/'\nca_file = '{}'\n",
                stranger.port,
                authority.ca().display()
            );
            ends(name, &stranger, send(&file, &batch(message("7", 1, MessageKind::Opened))));
        }
    }
}

#[test]
fn a_broker_without_end_is_not_heard_for_long() {
    let authority = Authority::new();
    let welcome = b"\x20\x02\x00\x00";
    for (name, first, poured) in [
        ("instead of a welcome", &b""[..], &b"\x00"[..]),
        ("a packet of 256 MiB", b"\x20\xFF\xFF\xFF\x7F", b"\x00"),
        ("that it is there", welcome, b"\xD0\x00"),
        ("confirmations", welcome, b"\x40\x02\x00\x01"),
        ("confirmations of subscriptions", welcome, b"\x90\x03\x00\x01\x00"),
        ("publications", welcome, b"\x30\x03\x00\x01a"),
    ] {
        let stranger = Stranger::start(&authority, &[Say(first), Pour(poured)]);
        let file =
            format!("[[alerts.mqtt]]\nname = 'broker'\nserver = '127.0.0.1'\nport = {}\ntls = false\n", stranger.port);
        runtime().block_on(async {
            let channel = super::channel(&file);
            // The first batch may be confirmed before the flood is noticed; then the session is over.
            while channel.send(&batch(message("7", 1, MessageKind::Opened))).await.is_ok() {}
        });
        let poured = stranger.poured();
        assert!(poured < UNDER_CHANNEL, "{name}: {poured} bytes were taken in");
    }
}
