//! Real servers of others as receivers: aiosmtpd for mail, mosquitto for MQTT. Each is ended by its own process id.

use serde_json::Value;
use std::io::{BufRead, BufReader};
use std::path::{Path, PathBuf};
use std::process::{Child, Command, Stdio};
use traylight_tests::authority::Authority;
use traylight_tests::lab::wait::wait_until;

/// How long anything here is waited for, in seconds.
pub const LONG: u64 = 60;

/// A process that ends with its handle.
pub struct Process(Child);

impl Process {
    pub fn start(command: &mut Command) -> Self {
        Self(command.spawn().unwrap_or_else(|error| panic!("{command:?}: {error}")))
    }

    /// Kills it, as a cut of the power would, and waits until it is gone.
    pub fn kill(&mut self) {
        let _ = self.0.kill();
        let _ = self.0.wait();
    }

    /// Waits until it ends by itself.
    pub fn ends(mut self) -> std::process::ExitStatus {
        wait_until("its end", 10 * LONG, || match self.0.try_wait() {
            Ok(Some(status)) => Ok(status),
            Ok(None) => Err("it still runs".to_owned()),
            Err(error) => Err(error.to_string()),
        })
        .unwrap()
    }

    fn line(&mut self) -> String {
        let mut line = String::new();
        BufReader::new(self.0.stdout.as_mut().unwrap()).read_line(&mut line).unwrap();
        line.trim().to_owned()
    }
}

impl Drop for Process {
    fn drop(&mut self) {
        self.kill();
    }
}

/// A mail server.
pub struct MailServer {
    pub port: u16,
    mails: PathBuf,
    _process: Process,
}

impl MailServer {
    /// `how` is `starttls`, `tls` or `plain`; a certificate is named as [`Authority`] does.
    pub fn start(authority: &Authority, how: &str, certificate: &str, login: Option<(&str, &str)>) -> Self {
        let script = Path::new(env!("CARGO_MANIFEST_DIR")).join("outside/mail_server.py");
        let mails = authority.folder().join(format!("mails-{how}-{certificate}"));
        // Debian's own Python, for which the package python3-aiosmtpd is.
        let mut command = Command::new("/usr/bin/python3");
        command.arg(script).arg(how);
        if how != "plain" {
            let (certificate, key) = authority.pair(certificate);
            command.args([certificate, key]);
        }
        command.arg(&mails).args(login.map(|(user, word)| [user, word]).into_iter().flatten());
        // It tells every session that breaks off as an error of its own.
        command.stdout(Stdio::piped()).stderr(Stdio::null());
        let mut process = Process::start(&mut command);
        let port = process.line().parse().expect("the mail server says its port");
        Self { port, mails, _process: process }
    }

    /// Every mail so far.
    pub fn mails(&self) -> Vec<Value> {
        let text = std::fs::read_to_string(&self.mails).unwrap_or_default();
        text.lines().map(|line| serde_json::from_str(line).unwrap()).collect()
    }
}

/// A broker, with somebody who hears all that is published.
pub struct Broker {
    pub port: u16,
    folder: PathBuf,
    tls: bool,
    broker: Option<Process>,
    listener: Option<Process>,
}

impl Broker {
    /// A broker that lets in `heron` with the password `reed`, encrypted or not.
    pub fn start(authority: &Authority, name: &str, tls: bool) -> Self {
        let folder = authority.folder().join(name);
        std::fs::create_dir(&folder).unwrap();
        // A port that was free a moment ago.
        let port = std::net::TcpListener::bind("127.0.0.1:0").unwrap().local_addr().unwrap().port();
        let words = folder.join("words");
        let made = Command::new("mosquitto_passwd").arg("-c").arg("-b").arg(&words).args(["heron", "reed"]).output();
        assert!(made.expect("mosquitto_passwd can be run").status.success());
        let (certificate, key) = authority.pair("here");
        let mut lines = vec![
            "per_listener_settings false".to_owned(),
            "allow_anonymous false".to_owned(),
            format!("password_file {}", words.display()),
            "persistence false".to_owned(),
            format!("listener {port} 127.0.0.1"),
        ];
        if rustix::process::geteuid().is_root() {
            // As another user it could not read the certificates.
            lines.push("user root".to_owned());
        }
        if tls {
            lines.push(format!("certfile {}\nkeyfile {}", certificate.display(), key.display()));
        }
        std::fs::write(folder.join("conf"), lines.join("\n") + "\n").unwrap();
        let mut broker = Self { port, folder, tls, broker: None, listener: None };
        broker.up(authority);
        broker
    }

    /// Lets it run, and somebody listen.
    pub fn up(&mut self, authority: &Authority) {
        let program = if Path::new("/usr/sbin/mosquitto").exists() { "/usr/sbin/mosquitto" } else { "mosquitto" };
        let mut command = Command::new(program);
        command.arg("-c").arg(self.folder.join("conf")).stdout(Stdio::null()).stderr(Stdio::null());
        self.broker = Some(Process::start(&mut command));
        wait_until("the broker", LONG, || std::net::TcpStream::connect(("127.0.0.1", self.port))).unwrap();
        let heard = self.folder.join("heard");
        let out = std::fs::OpenOptions::new().append(true).create(true).open(&heard).unwrap();
        let mut command = Command::new("mosquitto_sub");
        let port = self.port.to_string();
        command.args(["-V", "mqttv5", "-h", "127.0.0.1", "-p", &port, "-u", "heron", "-P", "reed", "-q", "1"]);
        command.args(["-t", "#", "-F", "%r %t %p", "-i", "listener"]);
        if self.tls {
            command.arg("--cafile").arg(authority.ca());
        }
        self.listener = Some(Process::start(command.stdout(out)));
        // Only what is published after somebody listens is heard.
        self.has_heard_all(authority);
    }

    /// Waits until whoever listens has heard all that the broker has: a word of the test's own comes last.
    pub fn has_heard_all(&self, authority: &Authority) {
        let heard = self.folder.join("heard");
        let mark = format!("mark {}", heard.metadata().map_or(0, |file| file.len()));
        wait_until("the listener", LONG, || {
            self.publish(authority, "mark", &mark);
            if self.heard().iter().any(|line| line.ends_with(&mark)) { Ok(()) } else { Err("silence") }
        })
        .unwrap();
    }

    /// Ends the broker.
    pub fn down(&mut self) {
        (self.listener, self.broker) = (None, None);
    }

    fn publish(&self, authority: &Authority, topic: &str, payload: &str) {
        let mut command = Command::new("mosquitto_pub");
        let port = self.port.to_string();
        command.args(["-h", "127.0.0.1", "-p", &port, "-u", "heron", "-P", "reed", "-t", topic, "-m", payload]);
        if self.tls {
            command.arg("--cafile").arg(authority.ca());
        }
        let _ = command.output();
    }

    /// All that was heard: whether it was kept, the topic, the payload, a line each; without the test's own marks.
    pub fn heard(&self) -> Vec<String> {
        let text = std::fs::read_to_string(self.folder.join("heard")).unwrap_or_default();
        text.lines().map(str::to_owned).collect()
    }

    /// Waits until a line like this was heard; all lines then.
    pub fn hears(&self, wanted: &str) -> Vec<String> {
        wait_until(wanted, LONG, || {
            let heard = self.heard();
            if heard.iter().any(|line| line.contains(wanted)) { Ok(heard) } else { Err(heard.join("\n")) }
        })
        .unwrap()
    }
}
