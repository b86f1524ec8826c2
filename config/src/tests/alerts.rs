//! Alerts in the file: the channels of the shipped examples, and every mistake that is told of a channel.

use super::{DEFAULT_FILE, report, settled};
use crate::{
    AlertChannel, Alerts, CommandLine, Destination, Field, Heartbeat, Login, Mail, MailSecurity, MinSeverity, Mqtt,
    MqttVersion, QuietHours, SecretSource, Topic, Url, Webhook,
};
use std::time::Duration;

#[test]
fn the_examples_of_channels_in_the_shipped_file_work() {
    let example: Vec<&str> = DEFAULT_FILE.lines().filter_map(|line| line.strip_prefix("#     ")).collect();
    let channels = settled(&example.join("\n")).alerts.channels;
    let [mail, webhook, mqtt, command] = channels.as_slice() else { panic!("{channels:#?}") };
    let login = |file: &str| {
        Some(Login { user: "heron".into(), password: SecretSource::File(format!("/etc/traylight/{file}.password")) })
    };
    assert_eq!(
        *mail,
        AlertChannel {
            name: "keeper".into(),
            min_severity: MinSeverity::Warning,
            topics: Vec::new(),
            leads_to: Destination::Mail(Mail {
                server: "mail.example.org".into(),
                port: 587,
                security: MailSecurity::StartTls,
                login: login("mail"),
                from: "heron@example.org".into(),
                to: vec!["keeper@example.org".into()],
                ca_file: None,
            }),
        }
    );
    let Destination::Webhook(hook) = &webhook.leads_to else { panic!("{webhook:?}") };
    let Webhook { url, headers, content_type, body, token, signing_key, time_limit, .. } = hook;
    assert_eq!(*url, Url { tls: true, host: "hooks.example.org".into(), port: 443, path: "/heron".into() });
    let filled = |field| format!("{field:?}");
    assert_eq!((&*headers[0].0, headers[0].1.filled(filled).as_str()), ("Heron-Alert", "Title"));
    assert_eq!(body.as_ref().map(|body| body.filled(filled)), Some("Box: Title. Sentence Advice".into()));
    assert_eq!((content_type.as_str(), *time_limit), ("text/plain", Duration::from_secs(30)));
    assert_eq!(*token, Some(SecretSource::File("/etc/traylight/hook.token".into())));
    assert_eq!(*signing_key, Some(SecretSource::Credential("hook-key".into())));
    assert_eq!(webhook.min_severity, MinSeverity::Critical);
    assert_eq!(
        mqtt.leads_to,
        Destination::Mqtt(Mqtt {
            server: "broker.example.org".into(),
            port: 8883,
            version: MqttVersion::V5,
            tls: true,
            login: login("broker"),
            topic: Some("traylight/heron".into()),
            ca_file: None,
        })
    );
    assert_eq!(command.topics, [Topic::Drive, Topic::Pool]);
    let wanted = CommandLine {
        program: "/usr/local/bin/ring-the-bell".into(),
        arguments: vec!["--twice".into()],
        time_limit: Duration::from_secs(30),
    };
    assert_eq!(command.leads_to, Destination::Command(wanted));
}

#[test]
fn what_concerns_all_channels_is_understood() {
    let written = "[alerts]\nquiet_from = '22:00'\nquiet_until = '06:30'\nremind_every = '12 h'\nsummary_every_days = 7\n\
                   heartbeat_url = 'http://[::1]:81/beat'\nheartbeat_every = '1 h'\nheartbeat_ca_file = '/ca.pem'";
    let url = Url { tls: false, host: "::1".into(), port: 81, path: "/beat".into() };
    let wanted = Alerts {
        quiet: Some(QuietHours { from: 22 * 60, until: 6 * 60 + 30 }),
        remind_every: Duration::from_secs(12 * 3600),
        summary_every_days: 7,
        heartbeat: Some(Heartbeat { url, every: Duration::from_secs(3600), ca_file: Some("/ca.pem".into()) }),
        channels: Vec::new(),
    };
    assert_eq!(settled(written).alerts, wanted);
}

#[test]
fn ports_follow_the_security_unless_they_are_written() {
    let port = |lines: &str| match settled(lines).alerts.channels.remove(0).leads_to {
        Destination::Mail(mail) => mail.port,
        Destination::Mqtt(mqtt) => mqtt.port,
        other => panic!("{other:?}"),
    };
    let mail = "[[alerts.mail]]\nname = 'm'\nserver = 's'\nfrom = 'h@x.org'\nto = ['k@x.org']\n";
    let mqtt = "[[alerts.mqtt]]\nname = 'q'\nserver = 's'\n";
    // RFC 8314, 3.3 and 7: 465 for TLS, 587 for submission with STARTTLS.
    assert_eq!((port(mail), port(&format!("{mail}security = 'tls'"))), (587, 465));
    // RFC 5321, 4.5.4.2.
    let here = mail.replace("'s'", "'127.0.0.1'");
    assert_eq!(port(&format!("{here}security = 'unencrypted'")), 25);
    // The service names secure-mqtt and mqtt (MQTT 5.0, 4.2).
    assert_eq!((port(mqtt), port(&format!("{mqtt}tls = false"))), (8883, 1883));
    assert_eq!(port(&format!("{mail}port = 2525")), 2525);
}

#[test]
fn only_a_mail_server_on_this_machine_is_spoken_to_without_encryption() {
    let mail = |server: &str| {
        format!(
            "[[alerts.mail]]\nname = 'm'\nserver = '{server}'\nfrom = 'h@x.org'\nto = ['k@x.org']\nsecurity = 'unencrypted'\n"
        )
    };
    for server in ["localhost", "127.0.0.1", "127.8.9.1", "::1"] {
        assert_eq!(settled(&mail(server)).alerts.channels.len(), 1, "{server}");
    }
    for server in ["mail.example.org", "192.168.1.2", "localhost.example.org", "0.0.0.0", "::"] {
        let refused = report(&mail(server));
        let wanted =
            format!("expected localhost, 127.0.0.1 or ::1 with `security = \"unencrypted\"`, found \"{server}\"");
        assert!(refused.contains(&wanted), "{refused}");
    }
}

/// The report on a mail channel with these lines, without its excerpts.
fn said(lines: &str) -> String {
    let report = report(&format!("[[alerts.mail]]\n{lines}\n"));
    let first = report.lines().filter(|line| line.starts_with("traylight.toml")).collect::<Vec<_>>();
    first.join("\n").replace("traylight.toml:", "")
}

#[test]
fn a_channel_without_what_it_needs_is_told_what_that_is() {
    let report = report("[[alerts.mail]]\n[[alerts.webhook]]\n[[alerts.mqtt]]\n[[alerts.command]]\n");
    for wanted in [
        "1:1: expected `name` in [[alerts.mail]], found none; add one, such as name = \"owner\"",
        "1:1: expected `server` in [[alerts.mail]], found none; add one, such as server = \"mail.example.org\"",
        "1:1: expected `from` in [[alerts.mail]]",
        "1:1: expected `to` in [[alerts.mail]], found none; add one, such as to = [\"keeper@example.org\"]",
        "2:1: expected `url` in [[alerts.webhook]]",
        "3:1: expected `server` in [[alerts.mqtt]]",
        "4:1: expected `program` in [[alerts.command]]",
    ] {
        assert!(report.contains(wanted), "{wanted}\n{report}");
    }
}

/// A line break in an address would let whoever writes it add header lines to a mail (RFC 5322, 2.2).
#[test]
fn an_address_that_could_break_a_header_is_refused() {
    let rest = "name = 'm'\nserver = 's'\nto = ['k@x.org']";
    for address in [
        "h@x.org\\nBcc: all@x.org",
        "h@x.org\\r\\n",
        "h@x.org, b@x.org",
        "<h@x.org>",
        "H <h@x.org>",
        "h@",
        "@x.org",
        "h x@x.org",
        "h..h@x.org",
        "h@x@x.org",
        "h@x org",
        "h\\u0000@x.org",
        "\\u00fc@x.org",
        "h@-x.org",
    ] {
        let told = said(&format!("from = \"{address}\"\n{rest}"));
        assert!(told.contains("`from`: expected a mail address without name or brackets"), "{address}: {told}");
    }
    let told = said("name = 'm'\nserver = 's'\nfrom = 'h@x.org'\nto = ['k@x.org', 'b', 'K@x.org', 'k@x.org']");
    assert!(told.contains("5:18: `to`: expected a mail address without name or brackets"), "{told}");
    assert!(told.contains("`to`: expected a different value for each, found 'k@x.org' again"), "{told}");
}

#[test]
fn keys_that_need_each_other_or_exclude_each_other_are_told() {
    let rest = "name = 'm'\nserver = 's'\nfrom = 'h@x.org'\nto = ['k@x.org']";
    let user = said(&format!("{rest}\nuser = 'heron'"));
    assert!(
        user.contains("expected both `user` and `password_file` in [[alerts.mail]], or neither; found only `user`"),
        "{user}"
    );
    let password = said(&format!("{rest}\npassword_credential = 'mail'"));
    assert!(password.contains("expected both `password_file` and `user` in [[alerts.mail]]"), "{password}");
    let both = said(&format!("{rest}\nuser = 'h'\npassword_file = '/p'\npassword_credential = 'p'"));
    assert!(
        both.contains("expected `password_credential` or `password_file` in [[alerts.mail]], found both"),
        "{both}"
    );
    let quiet = report("[alerts]\nquiet_until = '07:00'");
    assert!(
        quiet
            .contains("expected both `quiet_until` and `quiet_from` in [alerts], or neither; found only `quiet_until`"),
        "{quiet}"
    );
    let same = report("[alerts]\nquiet_from = '07:00'\nquiet_until = '07:00'");
    assert!(same.contains("expected `quiet_until` to differ from `quiet_from`"), "{same}");
    let names = report(&format!("[[alerts.mail]]\n{rest}\n[[alerts.command]]\nname = 'M'\nprogram = '/p'"));
    assert!(
        names.contains("7:8: `name`: expected a different value for each, found 'M' again; it is already on line 2"),
        "{names}"
    );
}

#[test]
fn a_template_with_a_mistake_is_told_with_its_place() {
    let hook = |line: &str| report(&format!("[[alerts.webhook]]\nname = 'w'\nurl = 'http://h'\n{line}"));
    let body = hook("body = '{{titel}} on {{box}}'");
    assert!(
        body.starts_with("traylight.toml:4:8: `body`: ") && body.contains("found a value that is not shown"),
        "{body}"
    );
    assert!(body.contains("did you mean {{title}}?"), "{body}");
    let open = hook("headers = ['Heron-Alert: {{title']");
    assert!(open.contains("expected a template in which every {{ has its }}"), "{open}");
    for (line, wanted) in [
        ("headers = ['X Title: a']", "expected a header line, such as"),
        ("headers = [\"Heron-Alert: a\\nHeron-More: b\"]", "expected a header line, such as"),
        ("headers = ['Authorization: Bearer x']", "(a secret has `token_file`)"),
        ("content_type = 'json'", "expected a media type"),
        ("time_limit = '0 s'", "expected at least 1 s"),
    ] {
        let told = hook(line);
        assert!(told.contains(wanted), "{line}: {told}");
    }
    let settled =
        settled("[[alerts.webhook]]\nname = 'w'\nurl = 'http://h'\nbody = '{{json}}'").alerts.channels.remove(0);
    let Destination::Webhook(Webhook { body: Some(body), .. }) = settled.leads_to else { panic!("a body") };
    assert_eq!(body.filled(|field| (if field == Field::Json { "{}" } else { "?" }).into()), "{}");
}
