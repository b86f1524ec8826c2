//! Alerts by mail: plain text, the same with a little HTML around the panel's picture, and a name that stays the same
//! at every attempt. The session with the server is encrypted and
//! its certificate checked, but for a server on this machine where the configuration says so.

use super::smtp::Server;
use super::{Channel, ChannelFault, Needs, PATIENCE, Receipt, Sending, not_sendable, within};
use crate::tell::batch::Batch;
use crate::tell::batch_html::html;
use crate::tell::batch_text::{subject, text};
use crate::tell::message::MessageKind;
use lettre::address::AddressError;
use lettre::message::header::{ContentType, Header, HeaderName, HeaderValue};
use lettre::message::{Attachment, Mailbox, MultiPart, SinglePart};
use lettre::{Address, Message};
use traylight_config::{MailSecurity, is_loopback};

/// The name by which the HTML refers to the picture (RFC 2392).
const PICTURE: &str = "panel@traylight";

/// A mail server that takes alerts.
pub struct MailChannel {
    settings: traylight_config::Mail,
}

impl MailChannel {
    /// The channel over this server.
    pub fn new(settings: traylight_config::Mail) -> Self {
        Self { settings }
    }

    async fn deliver(&self, batch: &Batch) -> Result<Receipt, ChannelFault> {
        let mail = self.mail(batch)?;
        let server = Server::new(&self.settings, plain_name(&batch.first.message.box_name))?;
        let (all, bytes) = (mail.envelope().clone(), mail.formatted());
        within(PATIENCE, async {
            match server.send(&all, &bytes).await {
                // One receiver that is refused must not cost the others theirs.
                Err(ChannelFault::Rejected { .. } | ChannelFault::RejectedForNow { .. }) if all.to().len() > 1 => {
                    server.send_each(&all, &bytes).await
                }
                outcome => outcome,
            }
        })
        .await
    }

    fn mail(&self, batch: &Batch) -> Result<Message, ChannelFault> {
        let name = plain_name(&batch.first.message.box_name);
        let mailbox = |address: &str| -> Result<Mailbox, ChannelFault> {
            let wrong = |error: AddressError| not_sendable(&format_args!("{address}: {error}"));
            Ok(Mailbox::new(None, address.parse::<Address>().map_err(wrong)?))
        };
        let mut mail = Message::builder()
            .from(mailbox(&self.settings.from)?)
            .subject(subject(batch))
            .message_id(Some(message_id(&batch.id(), &name)))
            .header(Names(batch.ids().join(" ")))
            .header(AutoSubmitted);
        for to in &self.settings.to {
            mail = mail.to(mailbox(to)?);
        }
        // Mail programs put together what refers to the same, also to what they have never seen (RFC 5322, 3.6.4).
        if batch.more.is_empty() && !matches!(batch.first.message.kind, MessageKind::AllWell | MessageKind::Test) {
            mail = mail.references(message_id(&format!("incident-{}", batch.first.message.incident_id()), &name));
        }
        let plain = SinglePart::plain(text(batch));
        let address = picture(batch).map(|_| format!("cid:{PICTURE}"));
        let page = SinglePart::html(html(batch, address.as_deref()));
        let parts = MultiPart::alternative().singlepart(plain);
        let parts = match picture(batch).zip(ContentType::parse("image/png").ok()) {
            Some((png, kind)) => {
                let picture = Attachment::new_inline(PICTURE.to_owned()).body(png.to_vec(), kind);
                parts.multipart(MultiPart::related().singlepart(page).singlepart(picture))
            }
            None => parts.singlepart(page),
        };
        mail.multipart(parts).map_err(|error| not_sendable(&error))
    }
}

impl Channel for MailChannel {
    fn send<'a>(&'a self, batch: &'a Batch) -> Sending<'a> {
        Box::pin(self.deliver(batch))
    }

    #[cfg(test)]
    fn made_from(&self) -> String {
        format!("{:?}", self.settings)
    }

    fn needs(&self) -> Needs {
        Needs { route: !is_loopback(&self.settings.server), clock: self.settings.security != MailSecurity::Unencrypted }
    }
}

/// The picture of the worst message that has one.
fn picture(batch: &Batch) -> Option<&[u8]> {
    batch.pictured()?.message.page.as_deref()
}

/// A name that can stand in a message's name and in a greeting: letters, digits and hyphens (RFC 5321, 2.3.5).
fn plain_name(name: &str) -> String {
    let plain: String = name.chars().filter(|c| c.is_ascii_alphanumeric() || *c == '-').take(63).collect();
    let plain = plain.trim_matches('-');
    if plain.is_empty() { "box".to_owned() } else { plain.to_owned() }
}

/// A message's name (RFC 5322, 3.6.4): the same at every attempt.
fn message_id(id: &str, box_name: &str) -> String {
    let in_atom = |c: &char| c.is_ascii_alphanumeric() || "-+_.".contains(*c);
    let id: String = id.chars().filter(in_atom).collect::<String>().replace("..", "--");
    format!("<{}@{box_name}.traylight.invalid>", id.trim_matches('.'))
}

/// The names of the messages in a mail.
#[derive(Clone)]
struct Names(String);

impl Header for Names {
    fn name() -> HeaderName {
        HeaderName::new_from_ascii_str("X-Traylight-Messages")
    }

    fn parse(text: &str) -> Result<Self, Box<dyn std::error::Error + Send + Sync>> {
        Ok(Self(text.to_owned()))
    }

    fn display(&self) -> HeaderValue {
        HeaderValue::new(Self::name(), self.0.clone())
    }
}

/// Nobody wants an answer from a robot on holiday (RFC 3834, 5).
#[derive(Clone)]
struct AutoSubmitted;

impl Header for AutoSubmitted {
    fn name() -> HeaderName {
        HeaderName::new_from_ascii_str("Auto-Submitted")
    }

    fn parse(_: &str) -> Result<Self, Box<dyn std::error::Error + Send + Sync>> {
        Ok(Self)
    }

    fn display(&self) -> HeaderValue {
        HeaderValue::new(Self::name(), "auto-generated".to_owned())
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::tell::batch::Item;
    use crate::tell::message::{Stamp, example};
    use crate::verdict::Severity;
    use proptest::prelude::*;

    fn made(change: impl FnOnce(&mut crate::tell::message::Message)) -> String {
        let mut message = example("7", 1, MessageKind::Opened, Severity::Critical);
        change(&mut message);
        let settings = traylight_config::Mail {
            server: "mail.example.org".into(),
            port: 587,
            security: MailSecurity::StartTls,
            login: None,
            from: "heron@example.org".into(),
            to: vec!["keeper@example.org".into(), "warden@example.org".into()],
            ca_file: None,
        };
        let batch = Batch::of(Item::new(message, 0, 1, &Stamp::default()));
        String::from_utf8(MailChannel::new(settings).mail(&batch).unwrap().formatted()).unwrap()
    }

    #[test]
    fn a_mail_is_to_all_receivers_and_has_a_name_of_its_own() {
        let mail = made(|_| {});
        for line in [
            "From: heron@example.org\r\n",
            "To: keeper@example.org, warden@example.org\r\n",
            "Subject: heron: critical: TRAY 3 GONE, LEAVE IN 1 2\r\n",
            "Message-ID: <7.1@heron.traylight.invalid>\r\n",
            "References: <incident-7@heron.traylight.invalid>\r\n",
            "X-Traylight-Messages: 7.1\r\n",
            "Auto-Submitted: auto-generated\r\n",
        ] {
            assert!(mail.contains(line), "{line}{mail}");
        }
        assert!(!mail.contains("image/png") && !mail.contains("cid:"), "no picture, no place for one");
    }

    /// RFC 5322, 3.6.4 and 3.2.3: atoms with single dots between them.
    #[test]
    fn a_name_is_one_that_mail_programs_take() {
        assert_eq!(message_id("7.opened.ab-1..9+3", "heron"), "<7.opened.ab-1--9+3@heron.traylight.invalid>");
        assert_eq!(message_id(".a b<c>\r\n@\u{e9}.", "heron"), "<abc@heron.traylight.invalid>");
        assert_eq!([plain_name("bird hut_1"), plain_name("-\u{e9}-")], ["birdhut1", "box"]);
    }

    #[test]
    fn the_panels_picture_is_part_of_the_page() {
        let mail = made(|message| message.page = Some(vec![0x89, b'P', b'N', b'G']));
        for part in [
            "multipart/related",
            "Content-ID: <panel@traylight>",
            "Content-Type: image/png",
            "iVBORw==",
            "cid:panel@traylight",
        ] {
            let flat = mail.replace("=\r\n", "").replace("=3D", "=");
            assert!(mail.contains(part) || flat.contains(part), "{part}\n{flat}");
        }
    }

    proptest! {
        /// Names and serials may hold anything; the head of a mail ends at the first empty line (RFC 5322, 2.1).
        #[test]
        fn text_from_a_device_adds_no_header(said in any::<String>()) {
            let mail = made(|message| {
                message.title = said.clone();
                message.box_name = said.clone();
                message.incident = said.clone();
                message.id = said;
            });
            let (head, _) = mail.split_once("\r\n\r\n").unwrap();
            let names: Vec<&str> = head
                .split("\r\n")
                .filter(|line| !line.starts_with([' ', '\t']))
                .map(|line| line.split_once(':').map_or(line, |(name, _)| name))
                .collect();
            let known = ["From", "Subject", "Message-ID", "X-Traylight-Messages", "Auto-Submitted", "To", "References",
                         "Date", "MIME-Version", "Content-Type"];
            prop_assert!(names.iter().all(|name| known.contains(name)), "{:?}", names);
            prop_assert!(head.bytes().all(|byte| byte == b'\r' || byte == b'\n' || (32..127).contains(&byte)));
        }
    }
}
