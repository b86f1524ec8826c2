//! The thread that writes log lines and the terminal's picture. Whoever reads them may stop reading, in a pipe, a stopped
//! terminal or a journal that hangs: that holds up this thread and nothing else.

use super::stage::Stage;
use crate::clock::Wall;
use crate::send::log::Log;
use crate::tell::log::LogEntry;
use crate::tell::words::phrases::Language;
use rustix::event::{PollFd, PollFlags, poll};
use std::fs::File;
use std::io::{self, Write};
use std::os::fd::{AsFd, BorrowedFd, OwnedFd};
use std::sync::{Arc, Condvar, Mutex, MutexGuard, PoisonError};
use std::time::Duration;
use traylight_display::Frame;

/// Log lines that wait to be written. What comes on top of them is dropped and counted.
const WAITING: usize = 1000;
/// At the end, what waits is still written for as long as one line leaves within this.
const LAST: Duration = Duration::from_millis(500);

/// What waits for the thread.
#[derive(Default)]
struct LogQueue {
    lines: Vec<(LogEntry, Wall)>,
    picture: Option<Frame>,
    /// The picture is the last one.
    is_last: bool,
    /// How many lines did not fit, and the calendar at the last of them.
    dropped: Option<(u64, Wall)>,
    /// Counts up with each line that left, or failed to.
    left: u64,
    is_over: bool,
    has_ended: bool,
}

#[derive(Default)]
struct SharedQueue {
    queue: Mutex<LogQueue>,
    changed: Condvar,
}

impl SharedQueue {
    fn lock(&self) -> MutexGuard<'_, LogQueue> {
        self.queue.lock().unwrap_or_else(PoisonError::into_inner)
    }

    fn change(&self, change: impl FnOnce(&mut LogQueue)) {
        change(&mut self.lock());
        self.changed.notify_all();
    }
}

/// The handle of the thread. Dropping it lets the thread write what waits, unless nobody takes it.
pub struct LogThread(Arc<SharedQueue>);

impl LogThread {
    /// Lines go to the journal or to `out`, as `log` says; the picture to `out`, where that is a terminal, or why it has no
    /// room there, in this language.
    pub fn start(log: Log, out: OwnedFd, language: Language) -> io::Result<Self> {
        let shared = Arc::new(SharedQueue::default());
        let (ours, out) = (Arc::clone(&shared), Out(File::from(out)));
        let mut writer = Writer { log, stage: Stage::on(out, language), lost: None };
        let work = move || {
            writer.work(&ours);
            drop(writer);
            ours.change(|queue| queue.has_ended = true);
        };
        std::thread::Builder::new().name("log".to_owned()).spawn(work)?;
        Ok(Self(shared))
    }

    /// Hands over a line, unless too many wait already.
    pub fn say(&self, entry: &LogEntry, wall: &Wall) {
        self.0.change(|queue| {
            if queue.lines.len() < WAITING {
                queue.lines.push((entry.clone(), wall.clone()));
            } else {
                let before = queue.dropped.as_ref().map_or(0, |(count, _)| *count);
                queue.dropped = Some((before + 1, wall.clone()));
            }
        });
    }

    /// Hands over a picture; one that was not drawn yet is passed over.
    pub fn draw(&self, frame: Frame) {
        self.0.change(|queue| queue.picture = Some(frame));
    }

    /// Hands over the last picture: from then on the terminal is its user's again.
    pub fn draw_last(&self, frame: Frame) {
        self.0.change(|queue| (queue.picture, queue.is_last) = (Some(frame), true));
    }
}

impl Drop for LogThread {
    fn drop(&mut self) {
        self.0.change(|queue| queue.is_over = true);
        let mut queue = self.0.lock();
        while !queue.has_ended {
            let left = queue.left;
            let waited = self.0.changed.wait_timeout_while(queue, LAST, |now| !now.has_ended && now.left == left);
            let (now, time) = waited.unwrap_or_else(PoisonError::into_inner);
            if time.timed_out() {
                return;
            }
            queue = now;
        }
    }
}

struct Writer {
    log: Log,
    stage: Stage<Out>,
    /// How many lines were lost and not yet spoken of, and why.
    lost: Option<(u64, String)>,
}

impl Writer {
    fn work(&mut self, shared: &SharedQueue) {
        loop {
            let idle = |queue: &mut LogQueue| queue.lines.is_empty() && queue.picture.is_none() && !queue.is_over;
            let waited = shared.changed.wait_while(shared.lock(), idle);
            let mut queue = waited.unwrap_or_else(PoisonError::into_inner);
            let (lines, picture) = (std::mem::take(&mut queue.lines), queue.picture.take());
            // All that was dropped came after these lines.
            let dropped = queue.dropped.take();
            let is_last = queue.is_last;
            let is_over = queue.is_over && lines.is_empty() && picture.is_none();
            drop(queue);
            for (entry, wall) in &lines {
                self.write(entry, wall);
                shared.change(|queue| queue.left += 1);
            }
            if let Some((count, wall)) = dropped {
                self.lose(count, "the reader of the log was too slow".to_owned());
                self.speak_of_losses(&wall);
            }
            if let Some(frame) = picture {
                // A terminal that is gone is no reason to stop watching.
                let _ = self.stage.draw(&frame);
                if is_last {
                    self.stage.show_cursor();
                }
            }
            if is_over {
                return;
            }
        }
    }

    fn write(&mut self, entry: &LogEntry, wall: &Wall) {
        self.speak_of_losses(wall);
        let screen = self.stage.screen();
        if let Err(error) = self.log.write(entry, wall, &screen, |lines| self.stage.scroll(lines)) {
            self.lose(1, error.to_string());
        }
    }

    fn lose(&mut self, count: u64, why: String) {
        let before = self.lost.as_ref().map_or(0, |(count, _)| *count);
        self.lost = Some((before + count, why));
    }

    fn speak_of_losses(&mut self, wall: &Wall) {
        let Some((count, why)) = &self.lost else { return };
        let entry = LogEntry::agent(4, "log-lines-lost", format!("{count} log lines before this one were lost: {why}"))
            .with("lost", count.to_string());
        let screen = self.stage.screen();
        if self.log.write(&entry, wall, &screen, |lines| self.stage.scroll(lines)).is_ok() {
            self.lost = None;
        }
    }
}

/// Standard output without the library's buffer and lock, which a reader that stops would keep.
struct Out(File);

impl Write for Out {
    fn write(&mut self, bytes: &[u8]) -> io::Result<usize> {
        loop {
            match self.0.write(bytes) {
                // Somebody else may have set a shared pipe or terminal to answer at once.
                Err(error) if error.kind() == io::ErrorKind::WouldBlock => {
                    poll(&mut [PollFd::new(&self.0, PollFlags::OUT)], None)?;
                }
                written => return written,
            }
        }
    }

    fn flush(&mut self) -> io::Result<()> {
        Ok(())
    }
}

impl AsFd for Out {
    fn as_fd(&self) -> BorrowedFd<'_> {
        self.0.as_fd()
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::send::log::Form;
    use std::io::Read;
    use std::os::unix::net::UnixStream;

    fn wall() -> Wall {
        let time = jiff::civil::date(2026, 5, 14).at(14, 32, 5, 0).to_zoned_datetime(jiff::tz::TimeZone::UTC);
        Wall { time: time.expect("a day in May"), synchronised: true }
    }

    fn thread(out: UnixStream) -> LogThread {
        LogThread::start(Log::open(Form::Json).expect("only a journal can be absent"), out.into(), Language::ENGLISH)
            .expect("a thread")
    }

    /// Numbered lines, long enough that they do not fit into a socket.
    fn say(log: &LogThread, numbers: std::ops::Range<usize>) {
        for number in numbers {
            log.say(&LogEntry::agent(6, "song", format!("{number} {}", "wren ".repeat(400))), &wall());
        }
    }

    #[test]
    fn whoever_stops_reading_holds_up_nobody_and_is_told_how_much_was_lost() {
        let (mut reader, mut out) = UnixStream::pair().expect("a pair");
        out.set_nonblocking(true).expect("a socket");
        while out.write(b"\n").is_ok() {}
        out.set_nonblocking(false).expect("a socket");
        let log = thread(out);
        say(&log, 0..1);
        let wait_until_taken = || {
            while !log.0.lock().lines.is_empty() {
                std::thread::yield_now();
            }
        };
        wait_until_taken();
        say(&log, 1..5000);
        let dropped = log.0.lock().dropped.as_ref().expect("5000 lines do not fit").0;
        assert_eq!(dropped as usize, 4999 - WAITING);
        let read = std::thread::spawn(move || {
            let mut text = String::new();
            reader.read_to_string(&mut text).map(|_| text)
        });
        wait_until_taken();
        say(&log, 5000..5001);
        drop(log);
        let text = read.join().expect("a reader").expect("text");
        let entries: Vec<serde_json::Value> =
            text.trim_start().lines().map(|line| serde_json::from_str(line).expect("JSON")).collect();
        let number = |entry: &serde_json::Value| -> Option<usize> {
            entry["message"].as_str()?.split(' ').next()?.parse().ok().filter(|_| entry["event"] == "song")
        };
        let kept = 5000 - dropped as usize;
        let numbers: Vec<usize> = entries.iter().filter_map(number).collect();
        assert_eq!(numbers, (0..kept).chain([5000]).collect::<Vec<_>>(), "the first ones, in order, and the last");
        let said = &entries[kept];
        assert_eq!((&said["event"], &said["level"]), (&"log-lines-lost".into(), &"warning".into()));
        let wanted = format!("{dropped} log lines before this one were lost: the reader of the log was too slow");
        assert_eq!((&said["message"], entries.len()), (&wanted.into(), kept + 2));
    }

    #[test]
    fn the_end_does_not_wait_for_whoever_never_reads_on() {
        let (reader, out) = UnixStream::pair().expect("a pair");
        let log = thread(out);
        say(&log, 0..2000);
        drop(log);
        drop(reader);
    }

    #[test]
    #[allow(clippy::disallowed_methods, reason = "a device that is always full")]
    fn lines_that_cannot_be_written_are_counted_until_one_can() {
        let full = std::fs::OpenOptions::new().write(true).open("/dev/full").expect("/dev/full");
        let mut writer = Writer {
            log: Log::open(Form::Text).expect("text"),
            stage: Stage::on(Out(full), Language::ENGLISH),
            lost: None,
        };
        for _ in 0..3 {
            writer.write(&LogEntry::agent(6, "song", "wren"), &wall());
        }
        let (mut reader, out) = UnixStream::pair().expect("a pair");
        writer.stage = Stage::on(Out(File::from(OwnedFd::from(out))), Language::ENGLISH);
        writer.write(&LogEntry::agent(6, "song", "bittern"), &wall());
        drop(writer);
        let mut text = String::new();
        reader.read_to_string(&mut text).expect("text");
        assert!(text.contains("lost=3 message=\"3 log lines before this one were lost: No space left"), "{text}");
        assert_eq!(text.lines().count(), 2, "{text}");
    }
}
