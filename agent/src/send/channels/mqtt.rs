//! Alerts to an MQTT broker: each batch is an event that the broker confirms, and beside the events it keeps how the
//! box and each tray stand, and whether traylight is there. It says that traylight is gone when it hears no more of it.
//!
//! The connection stays open, since only then does the broker notice.

use super::mqtt_packet::{
    Connect, DISCONNECT, Incoming, Nonsense, PINGREQ, Packet, Publish, Terms, connect, first, level, publish, read,
};
use super::reach::{Allowance, MOST_BYTES};
use super::tls::{self, Stream, TlsTarget};
use super::{Channel, ChannelFault, Needs, PATIENCE, Receipt, Reply, Sending, not_sendable, secret, short, within};
use crate::tell::batch::Batch;
use crate::tell::box_state::BoxState;
use std::collections::BTreeMap;
use std::pin::Pin;
use std::sync::Mutex;
use std::time::Duration;
use tokio::io::{AsyncReadExt, AsyncWriteExt};
use tokio::sync::{mpsc, oneshot, watch};
use tokio::task::JoinHandle;
use traylight_config::{MqttVersion, is_loopback};

/// The broker hears from us at least so often; half as long again, and it says that we are gone (3.1.2.10).
const KEEP_ALIVE_S: u16 = 60;
/// The first pause before it is tried again to keep the state up to date, and the longest.
const PAUSES: [Duration; 2] = [Duration::from_secs(5), Duration::from_secs(300)];

/// A broker that takes alerts.
pub struct MqttChannel {
    orders: mpsc::Sender<MqttDelivery>,
    needs: Needs,
    task: Mutex<Option<JoinHandle<()>>>,
    stop: watch::Sender<bool>,
    #[cfg(test)]
    made_from: String,
}

/// A batch to be published, and where to say what came of it.
struct MqttDelivery {
    payload: Vec<u8>,
    outcome: oneshot::Sender<Result<Receipt, ChannelFault>>,
}

impl MqttChannel {
    /// Begins to keep the state up to date at this broker. Call it inside the runtime that is to do it.
    pub fn start(settings: traylight_config::Mqtt, box_name: &str, state: watch::Receiver<BoxState>) -> Self {
        let needs = Needs { route: !is_loopback(&settings.server), clock: settings.tls };
        let (orders, taken) = mpsc::channel(1);
        let (stop, stopped) = watch::channel(false);
        let topic = settings.topic.clone().unwrap_or_else(|| format!("traylight/{}", level(box_name)));
        let letters = box_name.chars().filter(char::is_ascii_alphanumeric);
        let client = "traylight".chars().chain(letters).take(23).collect();
        #[cfg(test)]
        let made_from = format!("{settings:?}");
        let session = BrokerSession { settings, topic, client, orders: taken, state, stopped };
        let task = Mutex::new(Some(tokio::spawn(session.run())));
        Self {
            orders,
            needs,
            task,
            stop,
            #[cfg(test)]
            made_from,
        }
    }
}

impl Channel for MqttChannel {
    fn send<'a>(&'a self, batch: &'a Batch) -> Sending<'a> {
        Box::pin(async move {
            let (outcome, reported) = oneshot::channel();
            let order = MqttDelivery { payload: batch.document().to_string().into_bytes(), outcome };
            within(PATIENCE, async {
                self.orders.send(order).await.map_err(|_| ChannelFault::SessionOver)?;
                reported.await.unwrap_or(Err(ChannelFault::SessionOver))
            })
            .await
        })
    }

    #[cfg(test)]
    fn made_from(&self) -> String {
        self.made_from.clone()
    }

    fn needs(&self) -> Needs {
        self.needs
    }

    fn finish<'a>(&'a self) -> Pin<Box<dyn Future<Output = ()> + Send + 'a>> {
        Box::pin(async move {
            self.stop.send_replace(true);
            let task = self.task.lock().ok().and_then(|mut task| task.take());
            if let Some(task) = task {
                let _ = task.await;
            }
        })
    }
}

/// The session with the broker.
struct BrokerSession {
    settings: traylight_config::Mqtt,
    /// What all topics begin with.
    topic: String,
    client: String,
    orders: mpsc::Receiver<MqttDelivery>,
    state: watch::Receiver<BoxState>,
    stopped: watch::Receiver<bool>,
}

/// A connection on which we are let in.
struct Connection {
    stream: Box<dyn Stream>,
    /// What the broker may still say before it is asked next whether it is there.
    allowance: Allowance,
    version: MqttVersion,
    /// What has come and is no whole packet yet.
    received: Vec<u8>,
    terms: Terms,
    /// What the broker keeps, by topic, as far as it was told on this connection.
    kept: BTreeMap<String, Vec<u8>>,
    /// The number of the last confirmed publish.
    number: u16,
    /// The broker has answered more than the greeting.
    is_sound: bool,
}

/// What can happen while a connection is open.
enum Event {
    /// There is a batch to publish; `None` when there never will be another.
    MqttDelivery(Option<MqttDelivery>),
    /// Whoever gave the order waits no more.
    GivenUp,
    /// The box stands otherwise; `false` when nobody says so any more.
    State(bool),
    /// The broker says something.
    Received(Incoming),
    /// It is time to ask whether it is there.
    Ping,
}

/// How a connection ended.
enum End {
    /// We are asked to stop.
    Stopped,
    /// Something went wrong, and whether the connection was a sound one before.
    Broken(ChannelFault, bool),
}

impl BrokerSession {
    async fn run(mut self) {
        let [shortest, longest] = PAUSES;
        let mut pause = Duration::ZERO;
        loop {
            // An order ends the pause: it has pauses of its own.
            let mut order = tokio::select! {
                () = asked_to_stop(&mut self.stopped) => return,
                order = self.orders.recv() => match order {
                    Some(order) => Some(order),
                    None => return,
                },
                () = tokio::time::sleep(pause) => None,
            };
            let (broken, was_sound) = match within(PATIENCE, self.enter()).await {
                Ok(connection) => match self.serve(connection, &mut order).await {
                    End::Stopped => return,
                    End::Broken(fault, was_sound) => (fault, was_sound),
                },
                Err(fault) => (fault, false),
            };
            pause = if was_sound { shortest } else { (pause * 2).clamp(shortest, longest) };
            if let Some(order) = order {
                let _ = order.outcome.send(Err(broken));
            }
        }
    }

    /// Connects and is let in.
    async fn enter(&self) -> Result<Connection, ChannelFault> {
        let traylight_config::Mqtt { server, port, version, tls, login, ca_file, .. } = &self.settings;
        let password = login.as_ref().map(|login| secret::read(&login.password)).transpose()?;
        let gone = self.topic_of("agent");
        let will = Publish { topic: &gone, payload: b"offline", retain: true, number: None };
        let login = login.as_ref().zip(password.as_ref()).map(|(login, word)| (login.user.as_str(), word.reveal()));
        let request = Connect { client: &self.client, keep_alive_s: KEEP_ALIVE_S, login, will };
        let packet = connect(*version, &request).map_err(|error| not_sendable(&error))?;
        let target = TlsTarget { host: server, port: *port, tls: *tls, ca_file: ca_file.as_deref() };
        let allowance = Allowance::of(MOST_BYTES);
        let stream = tls::connect(target, allowance.clone()).await?;
        let (received, kept, terms) = (Vec::new(), BTreeMap::new(), Terms::default());
        let mut connection =
            Connection { stream, allowance, version: *version, received, terms, kept, number: 0, is_sound: false };
        connection.write(&packet).await?;
        match connection.receive().await? {
            Incoming::Welcome(terms) => Ok(Connection { terms, ..connection }),
            Incoming::NotWelcome(reply) => Err(ChannelFault::LoginRefused { reply }),
            other => Err(unexpected(&other)),
        }
    }

    /// Publishes what there is to publish until something goes wrong. `order` is the one that waits for its confirmation.
    async fn serve(&mut self, mut connection: Connection, order: &mut Option<MqttDelivery>) -> End {
        match self.serve_on(&mut connection, order).await {
            Ok(()) => {
                let _ = within(PAUSES[0], self.leave(&mut connection)).await;
                End::Stopped
            }
            Err(fault) => End::Broken(fault, connection.is_sound),
        }
    }

    async fn serve_on(
        &mut self,
        connection: &mut Connection,
        order: &mut Option<MqttDelivery>,
    ) -> Result<(), ChannelFault> {
        self.keep(connection, "agent", b"online").await?;
        self.keep_state(connection).await?;
        if let Some(order) = order.as_ref() {
            self.event(connection, &order.payload).await?;
        }
        let keep_alive = connection.terms.keep_alive_s.unwrap_or(KEEP_ALIVE_S).max(2);
        let mut ping = tokio::time::interval(Duration::from_secs(u64::from(keep_alive)) / 2);
        ping.reset();
        let mut is_asked = false;
        loop {
            if !connection.terms.confirms {
                // Nothing more will be heard of it.
                answer(order, Ok(Receipt::of(Reply::Published)));
            }
            let event = tokio::select! {
                () = asked_to_stop(&mut self.stopped) => return Ok(()),
                new = self.orders.recv(), if order.is_none() => Event::MqttDelivery(new),
                () = given_up(order) => Event::GivenUp,
                changed = self.state.changed() => Event::State(changed.is_ok()),
                packet = connection.receive() => Event::Received(packet?),
                _ = ping.tick() => Event::Ping,
            };
            match event {
                Event::MqttDelivery(None) | Event::State(false) => return Ok(()),
                Event::MqttDelivery(Some(new)) => self.event(connection, &order.insert(new).payload).await?,
                // What comes now would be taken for the confirmation of the next one.
                Event::GivenUp => return Err(ChannelFault::TimedOut { seconds: PATIENCE.as_secs() }),
                Event::State(true) => self.keep_state(connection).await?,
                // Each of these once for what was asked: a broker that goes on would keep us busy for good.
                Event::Received(Incoming::Taken(number)) if number == connection.number && order.is_some() => {
                    connection.is_sound = true;
                    answer(order, Ok(Receipt::of(Reply::Acknowledged)));
                }
                Event::Received(Incoming::NotTaken(number, reply))
                    if number == connection.number && order.is_some() =>
                {
                    answer(order, Err(ChannelFault::Rejected { reply }));
                }
                Event::Received(Incoming::Here) if is_asked => (is_asked, connection.is_sound) = (false, true),
                Event::Received(Incoming::Goodbye(reply)) => return Err(ChannelFault::RejectedForNow { reply }),
                Event::Received(other) => return Err(unexpected(&other)),
                Event::Ping if is_asked => return Err(ChannelFault::NoAnswer),
                Event::Ping => {
                    is_asked = true;
                    connection.allowance.renew();
                    connection.write(&PINGREQ).await?;
                }
            }
        }
    }

    /// Publishes an event, to be confirmed where the broker does that.
    async fn event(&self, connection: &mut Connection, payload: &[u8]) -> Result<(), ChannelFault> {
        connection.number = connection.number.checked_add(1).unwrap_or(1);
        let number = connection.terms.confirms.then_some(connection.number);
        let event = Publish { topic: &self.topic_of("alert"), payload, retain: false, number };
        let packet = publish(self.settings.version, &event).map_err(|error| not_sendable(&error))?;
        connection.write(&packet).await
    }

    /// Tells the broker what of the state is new to it.
    async fn keep_state(&mut self, connection: &mut Connection) -> Result<(), ChannelFault> {
        let state = self.state.borrow_and_update().clone();
        let mut wanted: BTreeMap<String, String> =
            state.parts.into_iter().map(|part| (format!("{}/{}", part.kind, level(&part.name)), part.state)).collect();
        wanted.insert("state".to_owned(), state.whole);
        let left: Vec<String> = connection.kept.keys().filter(|name| name.contains('/')).cloned().collect();
        for name in left.into_iter().filter(|name| !wanted.contains_key(name)) {
            // An empty one takes away what is kept (3.3.1.3).
            self.keep(connection, &name, b"").await?;
        }
        for (name, body) in wanted.into_iter().filter(|(_, body)| !body.is_empty()) {
            self.keep(connection, &name, body.as_bytes()).await?;
        }
        Ok(())
    }

    /// Has the broker keep this, unless it does already.
    async fn keep(&self, connection: &mut Connection, name: &str, payload: &[u8]) -> Result<(), ChannelFault> {
        if connection.kept.get(name).is_some_and(|kept| kept == payload) {
            return Ok(());
        }
        let kept = Publish { topic: &self.topic_of(name), payload, retain: connection.terms.retains, number: None };
        let packet = publish(self.settings.version, &kept).map_err(|error| not_sendable(&error))?;
        connection.write(&packet).await?;
        if payload.is_empty() {
            connection.kept.remove(name);
        } else {
            connection.kept.insert(name.to_owned(), payload.to_vec());
        }
        Ok(())
    }

    /// Says goodbye, so that nobody takes a stop for a failure.
    async fn leave(&self, connection: &mut Connection) -> Result<(), ChannelFault> {
        self.keep(connection, "agent", b"stopped").await?;
        connection.write(&DISCONNECT).await?;
        connection.stream.shutdown().await.map_err(|error| ChannelFault::from_io(&error))
    }

    fn topic_of(&self, name: &str) -> String {
        format!("{}/{name}", self.topic)
    }
}

impl Connection {
    /// The next packet from the broker. May be given up at any time: what has come is kept.
    async fn receive(&mut self) -> Result<Incoming, ChannelFault> {
        let nonsense = |error: Nonsense| ChannelFault::InvalidReply { reply: short(&error.0) };
        loop {
            if let Some(Packet { kind, body, size }) = first(&self.received).map_err(nonsense)? {
                let packet = read(self.version, kind, body).map_err(nonsense)?;
                self.received.drain(..size);
                return Ok(packet);
            }
            let mut piece = [0; 512];
            match self.stream.read(&mut piece).await {
                Ok(0) => return Err(ChannelFault::ConnectionClosed),
                Ok(length) => self.received.extend_from_slice(&piece[..length]),
                Err(error) => return Err(ChannelFault::from_io(&error)),
            }
        }
    }

    async fn write(&mut self, packet: &[u8]) -> Result<(), ChannelFault> {
        let write = async {
            self.stream.write_all(packet).await.map_err(|error| ChannelFault::from_io(&error))?;
            self.stream.flush().await.map_err(|error| ChannelFault::from_io(&error))
        };
        // A broker that reads no more must not hold up the session for good.
        within(PATIENCE, write).await
    }
}

fn answer(order: &mut Option<MqttDelivery>, outcome: Result<Receipt, ChannelFault>) {
    if let Some(order) = order.take() {
        let _ = order.outcome.send(outcome);
    }
}

/// Ends when it is time to stop.
async fn asked_to_stop(stopped: &mut watch::Receiver<bool>) {
    let _ = stopped.wait_for(|stopped| *stopped).await;
}

/// Ends when whoever gave the order waits no more.
async fn given_up(order: &mut Option<MqttDelivery>) {
    match order {
        Some(order) => order.outcome.closed().await,
        None => std::future::pending().await,
    }
}

/// A packet that answers nothing.
fn unexpected(packet: &Incoming) -> ChannelFault {
    ChannelFault::InvalidReply { reply: short(&format!("{packet:?}")) }
}
