//! From the settings of alerts to channels and the rules by which they are told.

use super::Channel;
use super::command::{CommandChannel, StateFolder};
use crate::tell::box_state::BoxState;
use crate::tell::outbox::{Policy, Rule};
use crate::verdict::Severity;
use std::fmt::Debug;
use std::hash::{Hash as _, Hasher as _};
use std::sync::Arc;
use std::time::Duration;
use tokio::sync::watch;
use traylight_config::{AlertChannel, Alerts, Destination, MinSeverity};

/// A channel that can be used, with its name.
pub type Named = (String, Arc<dyn Channel>);

/// The channels of these settings, and the names of those that this program was built without, each with its kind. Call it
/// inside the runtime that is to do the sending. In the folder it is kept which programs run.
pub fn channels(
    alerts: &Alerts,
    box_name: &str,
    state: &watch::Receiver<BoxState>,
    folder: &StateFolder,
) -> (Vec<Named>, Vec<String>) {
    let (mut channels, mut absent) = (Vec::new(), Vec::new());
    for AlertChannel { name, leads_to, .. } in &alerts.channels {
        match channel(name, leads_to, box_name, state, folder) {
            Ok(channel) => channels.push((name.clone(), channel)),
            Err(kind) => absent.push(format!("`{name}` needs {kind}, which this build of traylight does not have")),
        }
    }
    if cfg!(not(feature = "webhook")) && alerts.heartbeat.is_some() {
        absent.push("the heartbeat needs webhook, which this build of traylight does not have".to_owned());
    }
    (channels, absent)
}

#[cfg_attr(not(feature = "mqtt"), allow(unused_variables, reason = "only MQTT keeps a state"))]
fn channel(
    name: &str,
    to: &Destination,
    box_name: &str,
    state: &watch::Receiver<BoxState>,
    folder: &StateFolder,
) -> Result<Arc<dyn Channel>, &'static str> {
    match to {
        #[cfg(feature = "mail")]
        Destination::Mail(settings) => Ok(Arc::new(super::mail::MailChannel::new(settings.clone()))),
        #[cfg(not(feature = "mail"))]
        Destination::Mail(_) => Err("mail"),
        #[cfg(feature = "webhook")]
        Destination::Webhook(settings) => Ok(Arc::new(super::webhook::WebhookChannel::new(settings.clone()))),
        #[cfg(not(feature = "webhook"))]
        Destination::Webhook(_) => Err("webhook"),
        #[cfg(feature = "mqtt")]
        Destination::Mqtt(settings) => {
            Ok(Arc::new(super::mqtt::MqttChannel::start(settings.clone(), box_name, state.clone())))
        }
        #[cfg(not(feature = "mqtt"))]
        Destination::Mqtt(_) => Err("mqtt"),
        Destination::Command(settings) => Ok(Arc::new(CommandChannel::new(settings.clone(), name, Arc::clone(folder)))),
    }
}

/// What each channel is told of.
pub fn rules(alerts: &Alerts) -> Vec<Rule> {
    let rule = |channel: &AlertChannel| Rule {
        channel: channel.name.clone(),
        min_severity: match channel.min_severity {
            MinSeverity::Notice => Severity::Notice,
            MinSeverity::Warning => Severity::Warning,
            MinSeverity::Critical => Severity::Critical,
        },
        topics: channel.topics.clone(),
        shares_batches: !matches!(channel.leads_to, Destination::Mqtt(_)),
        target: number(&channel.leads_to),
    };
    alerts.channels.iter().map(rule).collect()
}

/// A number for where a channel leads and how it is let in, or for a heartbeat. Another version of the program may count
/// otherwise: then a pause is cut short.
pub fn number(leads_to: &impl Debug) -> u64 {
    let mut hasher = std::hash::DefaultHasher::new();
    format!("{leads_to:?}").hash(&mut hasher);
    hasher.finish()
}

/// What holds for all channels.
pub fn policy(alerts: &Alerts) -> Policy {
    let days = u64::from(alerts.summary_every_days);
    Policy {
        quiet: alerts.quiet,
        remind_every: alerts.remind_every,
        all_well_every: (days > 0).then(|| Duration::from_secs(86_400 * days)),
    }
}
