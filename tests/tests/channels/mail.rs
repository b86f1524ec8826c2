//! Stories of mail, with aiosmtpd at the other end and Python's own parser of mails as the judge of what arrived.

use super::servers::{LONG, MailServer, Process};
use super::storm::by_mail;
use super::web_server::{Manner, WebServer, closed_port};
use super::{batch, message, reply, send};
use serde_json::Value;
use std::io::Write;
use std::process::{Command, Stdio};
use traylight::send::channels::ChannelFault;
use traylight::tell::batch::Batch;
use traylight::tell::message::{Message, MessageKind};
use traylight::tell::words::delivery::refused_recipient;
use traylight::tell::words::phrases::Language;
use traylight_tests::authority::Authority;
use traylight_tests::lab::wait::wait_until;

fn file(authority: &Authority, port: u16, more: &str) -> String {
    format!(
        "[[alerts.mail]]\nname = 'keeper'\nserver = 'localhost'\nport = {port}\nfrom = 'heron@example.org'\n\
         to = ['keeper@example.org', 'warden@example.org']\nca_file = '{}'\n{more}",
        authority.ca().display()
    )
}

fn login(authority: &Authority, word: &str) -> String {
    format!("user = 'heron'\npassword_file = '{}'\n", authority.secret(&format!("word-{word}"), word).display())
}

/// A mail as Python's standard library reads it: its headers, and the kind and content of each part.
fn parsed(mail: &str) -> Value {
    const PARSE: &str = "import email, email.policy, json, sys, base64\n\
        mail = email.message_from_bytes(sys.stdin.buffer.read(), policy=email.policy.default)\n\
        parts = [[part.get_content_type(), part['Content-ID'], part.get_content() if part.get_content_maintype() == 'text'\n\
                 else base64.b64encode(part.get_content()).decode()] for part in mail.walk() if not part.is_multipart()]\n\
        print(json.dumps({'headers': {k: str(v) for k, v in mail.items()}, 'parts': parts,\n\
                          'defects': [str(d) for d in mail.defects]}))";
    let mut python = Command::new("/usr/bin/python3");
    let mut child = python.args(["-c", PARSE]).stdin(Stdio::piped()).stdout(Stdio::piped()).spawn().unwrap();
    child.stdin.take().unwrap().write_all(mail.as_bytes()).unwrap();
    serde_json::from_slice(&child.wait_with_output().unwrap().stdout).unwrap()
}

fn lost() -> Batch {
    batch(message("7", 1, MessageKind::Opened))
}

#[test]
fn a_mail_arrives_encrypted_with_its_picture() {
    let authority = Authority::new();
    for (how, more) in [("starttls", ""), ("tls", "security = 'tls'\n")] {
        let server = MailServer::start(&authority, how, "here", Some(("heron", "reed")));
        let file = file(&authority, server.port, &format!("{more}{}", login(&authority, "reed")));
        let page = Some(b"\x89PNG\r\n\x1a\n".to_vec());
        let receipt = send(&file, &batch(Message { page, ..message("7", 1, MessageKind::Opened) })).unwrap();
        assert!(reply(&receipt).starts_with("250 2.0.0 in the box"), "{receipt:?}");
        let [mail] = server.mails().try_into().unwrap_or_else(|mails| panic!("{mails:?}"));
        assert_eq!(mail["to"], serde_json::json!(["keeper@example.org", "warden@example.org"]));
        assert_eq!(
            (&mail["from"], &mail["user"], &mail["hello"]),
            (&"heron@example.org".into(), &"heron".into(), &"heron".into())
        );
        assert_eq!(mail["encrypted"], true);
        let read = parsed(mail["mail"].as_str().unwrap());
        assert_eq!(read["defects"], serde_json::json!([]));
        let header = |name: &str| read["headers"][name].as_str().unwrap_or_default().to_owned();
        assert_eq!(header("Subject"), "heron: critical: TRAY 3 GONE, LEAVE IN 1 2");
        assert_eq!(header("Message-ID"), "<7.1@heron.traylight.invalid>");
        assert!(!header("Date").is_empty());
        let part = |nth: usize| read["parts"][nth].clone();
        assert_eq!(part(0)[0], "text/plain");
        assert!(part(0)[2].as_str().unwrap().contains("the pool \"Vögel\" needs it."), "{read}");
        assert_eq!(part(1)[0], "text/html");
        assert!(part(1)[2].as_str().unwrap().contains("<img src=\"cid:panel@traylight\""), "{read}");
        assert_eq!(part(2), serde_json::json!(["image/png", "<panel@traylight>", "iVBORw0KGgo="]));
    }
}

#[test]
fn a_second_attempt_has_the_same_name() {
    let authority = Authority::new();
    let server = MailServer::start(&authority, "starttls", "here", None);
    let file = file(&authority, server.port, "");
    let mut again = lost();
    again.first.attempt = 2;
    send(&file, &lost()).unwrap();
    send(&file, &again).unwrap();
    let names: Vec<Value> = server
        .mails()
        .iter()
        .map(|mail| parsed(mail["mail"].as_str().unwrap())["headers"]["Message-ID"].clone())
        .collect();
    assert_eq!(names[0], names[1]);
    let attempts: Vec<u64> = by_mail(&server).into_iter().map(|(_, attempt)| attempt).collect();
    assert_eq!(attempts, [1, 2], "the second one says that the first may have arrived");
}

#[test]
fn nobody_without_the_right_certificate_is_told_anything() {
    let authority = Authority::new();
    for certificate in ["untrusted", "elsewhere", "over"] {
        for (how, more) in [("starttls", ""), ("tls", "security = 'tls'\n")] {
            let server = MailServer::start(&authority, how, certificate, None);
            let fault = send(&file(&authority, server.port, more), &lost()).unwrap_err();
            // The mail library's own encryption does not report an issuer.
            let issuer = (how == "tls").then(|| "stranger".to_owned());
            let wanted = match certificate {
                "untrusted" => ChannelFault::CertificateIssuer { issuer },
                "elsewhere" => ChannelFault::CertificateName,
                _ => ChannelFault::CertificateExpired,
            };
            assert_eq!(fault, wanted, "{how} {certificate}");
            assert_eq!(server.mails(), [Value::Null; 0]);
        }
    }
}

#[test]
fn a_server_without_encryption_is_told_nothing() {
    let authority = Authority::new();
    let server = MailServer::start(&authority, "plain", "", None);
    let more = login(&authority, "reed");
    let fault = send(&file(&authority, server.port, &more), &lost()).unwrap_err();
    assert!(
        matches!(&fault, ChannelFault::NotSupported { error } if error.to_uppercase().contains("STARTTLS")),
        "{fault:?}"
    );
    assert_eq!(server.mails(), [Value::Null; 0]);
}

/// Only a server on this machine, and only where its owner says so (the configuration takes no other address).
#[test]
fn a_server_on_this_machine_can_do_without_encryption() {
    let authority = Authority::new();
    let server = MailServer::start(&authority, "plain", "", None);
    for host in ["localhost", "127.0.0.1"] {
        let file =
            file(&authority, server.port, "security = 'unencrypted'\n").replace("'localhost'", &format!("'{host}'"));
        let receipt = send(&file, &lost()).unwrap();
        assert!(reply(&receipt).starts_with("250 2.0.0 in the box"), "{receipt:?}");
    }
    assert_eq!(server.mails().iter().map(|mail| mail["encrypted"].clone()).collect::<Vec<_>>(), [false, false]);
}

#[test]
fn a_wrong_password_is_told_without_the_password() {
    let authority = Authority::new();
    let server = MailServer::start(&authority, "starttls", "here", Some(("heron", "reed")));
    let fault = send(&file(&authority, server.port, &login(&authority, "sedge")), &lost()).unwrap_err();
    assert!(matches!(&fault, ChannelFault::LoginRefused { reply } if reply.starts_with("535 ")), "{fault:?}");
    assert!(!format!("{fault:?}").contains("sedge"));
    // Without a login the server says that it wants one (RFC 4954, 6: 530).
    let fault = send(&file(&authority, server.port, ""), &lost()).unwrap_err();
    assert!(matches!(&fault, ChannelFault::LoginRefused { reply } if reply.starts_with("530 ")), "{fault:?}");
}

/// systemd.exec(5), LoadCredential=: the service finds its credentials as files in the folder that the variable names.
#[test]
fn a_password_from_systemd_lets_a_program_in() {
    let authority = Authority::new();
    let server = MailServer::start(&authority, "starttls", "here", Some(("heron", "reed")));
    let config = authority.folder().join("credential.toml");
    let login = "user = 'heron'\npassword_credential = 'mail-word'\n";
    std::fs::write(&config, file(&authority, server.port, login)).unwrap();
    let credentials = authority.folder().join("credentials");
    std::fs::create_dir(&credentials).unwrap();
    std::fs::write(credentials.join("mail-word"), "reed").unwrap();
    let mut program = Command::new(env!("CARGO_BIN_EXE_storm"));
    program.arg(authority.folder().join("state")).arg(&config).arg("1").env("CREDENTIALS_DIRECTORY", &credentials);
    let said = authority.folder().join("said");
    program.stdout(std::fs::File::create(&said).unwrap());
    let _running = Process::start(&mut program);
    let said = || std::fs::read_to_string(&said).unwrap();
    wait_until("a mail", LONG, || server.mails().pop().ok_or_else(said)).unwrap();
    assert_eq!(server.mails()[0]["user"], "heron");
    assert!(!said().contains("reed"), "never shown");
}

#[test]
fn what_a_server_says_of_a_receiver_is_told() {
    let authority = Authority::new();
    let server = MailServer::start(&authority, "starttls", "here", None);
    let to = |name: &str| {
        let file = file(&authority, server.port, "").replace("keeper@", &format!("{name}@"));
        file.replace(", 'warden@example.org'", "")
    };
    let full = send(&to("full"), &lost()).unwrap_err();
    assert!(matches!(&full, ChannelFault::RejectedForNow { reply } if reply.contains("mailbox full")), "{full:?}");
    let nobody = send(&to("nobody"), &lost()).unwrap_err();
    assert!(matches!(&nobody, ChannelFault::Rejected { reply } if reply.contains("no such mailbox")), "{nobody:?}");
}

#[test]
fn a_receiver_that_is_refused_does_not_cost_the_others_their_mail() {
    let authority = Authority::new();
    let server = MailServer::start(&authority, "starttls", "here", None);
    let to = |names: [&str; 3]| {
        let names = names.map(|name| format!("'{name}@example.org'")).join(", ");
        file(&authority, server.port, "").replace("'keeper@example.org', 'warden@example.org'", &names)
    };
    let receipt = send(&to(["nobody", "keeper", "full"]), &lost()).unwrap();
    let [mail] = server.mails().try_into().unwrap_or_else(|mails| panic!("{mails:?}"));
    assert_eq!(mail["to"], serde_json::json!(["keeper@example.org"]));
    assert!(reply(&receipt).starts_with("250 "), "{receipt:?}");
    let refused = receipt.refused.iter().map(|refused| refused_recipient(refused, Language::ENGLISH));
    let [nobody, full]: [String; 2] = refused.collect::<Vec<_>>().try_into().unwrap();
    assert!(
        nobody.starts_with("nobody@example.org: rejected: 550 ") && nobody.ends_with("no such mailbox"),
        "{nobody}"
    );
    assert!(full.starts_with("full@example.org: temporarily rejected: ") && full.contains("mailbox full"), "{full}");
    let fault = send(&to(["nobody", "nobody2", "nobody3"]), &lost()).unwrap_err();
    assert!(matches!(&fault, ChannelFault::Rejected { reply } if reply.contains("no such mailbox")), "{fault:?}");
    assert_eq!(server.mails().len(), 1);
}

#[test]
fn a_server_that_is_none_is_told() {
    let authority = Authority::new();
    let fault = |port| send(&file(&authority, port, ""), &lost()).unwrap_err();
    assert_eq!(fault(closed_port()), ChannelFault::ConnectionRefused);
    let closes = WebServer::start(Manner::Closes, None);
    assert!(matches!(fault(closes.port), ChannelFault::ConnectionClosed | ChannelFault::InvalidReply { .. }));
    let secret = file(&authority, 1, "user = 'heron'\npassword_file = '/no/such/word'\n");
    let missing = send(&secret, &lost()).unwrap_err();
    assert!(
        matches!(&missing, ChannelFault::SecretFile { file, error } if file == "/no/such/word" && error.starts_with("No such file")),
        "{missing:?}"
    );
}
