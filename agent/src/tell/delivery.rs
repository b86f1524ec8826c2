//! What came of a delivery on a channel, as facts: a receipt, or a fault. [`super::words::delivery`] has the words.

use super::batch_text::clean;
use serde::Serialize;

/// The longest text of another side that is repeated, in characters.
const LONGEST_REPLY: usize = 200;

/// Why a batch has not arrived, as far as is known. What the other side replied and what the system reports is quoted: cleaned
/// and cut. The name of a variant is its id in documents and tables of words, for good.
#[derive(Debug, Clone, PartialEq, Eq, Serialize, strum::IntoStaticStr)]
#[cfg_attr(test, derive(strum::EnumIter))]
#[serde(untagged)]
#[strum(serialize_all = "kebab-case")]
#[allow(missing_docs, reason = "the fields are the places of the texts, which explain them")]
pub enum ChannelFault {
    // ---- This box: nothing was sent.
    /// A file with a secret cannot be read.
    SecretFile {
        file: String,
        error: String,
    },
    /// The file with a secret is a folder, a pipe or the like.
    SecretNotRegular {
        file: String,
    },
    /// The file with a secret belongs to another user.
    SecretOwner {
        file: String,
        owner: u32,
        user: u32,
    },
    /// Other users may read the file with a secret.
    SecretMode {
        file: String,
        mode: String,
    },
    /// The file with a secret is empty, too long, has several lines, or is not text.
    SecretNoLine {
        file: String,
        most: u64,
    },
    /// systemd has not handed over this credential.
    CredentialMissing {
        name: String,
    },
    /// The file with the owner's authorities cannot be used.
    CaFile {
        file: String,
        error: String,
    },
    /// The file with the owner's authorities contains no certificate.
    CaFileEmpty {
        file: String,
    },
    /// Neither the system nor the configuration names an authority.
    NoAuthorities,
    /// The server's name is none that a certificate can have.
    ServerName {
        host: String,
    },
    /// The message cannot be written in the form of the channel.
    NotSendable {
        error: String,
    },
    /// The program cannot be started.
    ProgramNotStarted {
        program: String,
        error: String,
    },
    /// How the program ended is not known.
    ProgramLost {
        error: String,
    },
    /// There is no file descriptor left.
    NoDescriptors,
    /// There is no thread left that could look up a name.
    NoThreads {
        host: String,
    },
    /// Too many lookups of names hang.
    LookupsHang {
        count: usize,
    },
    /// The task that speaks to the broker has ended.
    SessionOver,
    /// This build of the program does not have the channel.
    NotBuiltIn,
    /// One test of a channel at a time.
    TestUnderWay,
    /// New settings cut the test off.
    Reloaded,
    /// The sending thread takes no more requests.
    SenderBlocked,

    // ---- The other side cannot be reached.
    LookupFailed {
        host: String,
        error: String,
    },
    NoAddress {
        host: String,
    },
    ConnectionRefused,
    NoRoute,
    NoAnswer,
    ConnectionClosed,
    ConnectionFailed {
        error: String,
    },

    // ---- It can be reached and is not to be trusted.
    /// `issuer` is the name in the certificate, where that could be read.
    CertificateIssuer {
        issuer: Option<String>,
    },
    CertificateExpired,
    CertificateNotYetValid,
    CertificateName,
    /// The certificate of an authority in the place of a server's.
    CertificateOfAuthority,
    CertificateRevoked,
    CertificateSignature,
    CertificatePurpose,
    CertificateMalformed,
    NoCertificate,
    /// It ended the handshake with an alert of this number (RFC 8446, 6).
    TlsAlert {
        alert: u8,
    },
    TlsIncompatible,
    NotTls,
    TlsBroken,
    /// It lacks what is needed, such as STARTTLS.
    NotSupported {
        error: String,
    },

    // ---- It has answered, or should have.
    /// It took too long. The batch may have arrived.
    TimedOut {
        seconds: u64,
    },
    LoginRefused {
        reply: String,
    },
    /// The other side rejected this batch for good.
    Rejected {
        reply: String,
    },
    /// The program ended with this code.
    ProgramFailed {
        code: i32,
        reply: Option<String>,
    },
    /// A signal ended it.
    ProgramKilled {
        signal: i32,
        reply: Option<String>,
    },
    Redirected {
        status: u16,
    },
    /// The other side may accept it later.
    RejectedForNow {
        reply: String,
    },
    /// It replied what its protocol does not allow there.
    InvalidReply {
        reply: String,
    },
    ReplyTooLong {
        most: usize,
    },
}

impl ChannelFault {
    /// Its id in documents and in tables of words.
    pub fn id(&self) -> &'static str {
        self.into()
    }

    /// Whether this batch was rejected, and another may be accepted.
    pub fn is_of_batch(&self) -> bool {
        matches!(
            self,
            Self::Rejected { .. } | Self::ProgramFailed { .. } | Self::ProgramKilled { .. } | Self::Redirected { .. }
        )
    }
}

/// What a channel reports of a batch that it accepted.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct Receipt {
    /// What it replied.
    pub reply: Reply,
    /// Recipients for whom it was rejected, each with the reason.
    pub refused: Vec<RefusedRecipient>,
}

/// The reply of a channel that accepted a batch.
#[derive(Debug, Clone, PartialEq, Eq)]
pub enum Reply {
    /// Nothing.
    None,
    /// This, cleaned and cut.
    Quoted(String),
    /// A broker acknowledged it.
    Acknowledged,
    /// It was sent to a broker that sends no acknowledgement.
    Published,
}

/// A recipient for whom a batch was rejected.
#[derive(Debug, Clone, PartialEq, Eq)]
pub struct RefusedRecipient {
    /// The address.
    pub address: String,
    /// Why.
    pub fault: ChannelFault,
}

impl Receipt {
    /// With the other side's reply, cleaned and cut.
    pub fn new(reply: &str) -> Self {
        let reply = short(reply);
        Self::of(if reply.is_empty() { Reply::None } else { Reply::Quoted(reply) })
    }

    /// With this reply.
    pub fn of(reply: Reply) -> Self {
        Self { reply, refused: Vec::new() }
    }
}

/// A text of another side or of the system, safe and short enough for a log line.
pub fn short(text: &str) -> String {
    let text = clean(text);
    let text = text.trim();
    let mut short: String = text.chars().take(LONGEST_REPLY).collect();
    if short.len() < text.len() {
        short.push('…');
    }
    short
}
