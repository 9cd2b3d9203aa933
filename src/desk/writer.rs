//! The thread that brings records of edits to disk, so that no key press waits for it.
//!
//! What the records say, and when a journal begins and ends, is in `keep.rs`.

use crate::files::journal::{Appender, NotKept};
use crate::files::save::why;
use crate::files::side;
use std::collections::VecDeque;
use std::io;
use std::path::PathBuf;
use std::sync::mpsc::{Receiver, RecvTimeoutError, Sender, channel};
use std::sync::{Arc, Mutex, MutexGuard, PoisonError};
use std::thread::JoinHandle;
use std::time::{Duration, Instant};

/// What was handed to the system is waited for when nothing came for so long.
const IDLE: Duration = Duration::from_millis(100);

/// What was handed to the system is waited for at least so often.
const LONGEST: Duration = Duration::from_secs(1);

/// A disk that did not take a record is asked again after so long.
const RETRY: Duration = Duration::from_secs(1);

/// Records that wait for a disk may take so many bytes.
const MOST_WAITING: usize = 64 << 20;

/// The thread, seen from the desk.
#[derive(Debug)]
pub struct Writer {
    to: Option<Sender<Message>>,
    thread: Option<JoinHandle<()>>,
    status: Arc<Mutex<Status>>,
}

/// How the journal is doing.
#[derive(Debug, Default)]
struct Status {
    trouble: Option<String>,
    path: Option<PathBuf>,
}

/// Where a journal may be.
#[derive(Debug, Clone, Default)]
pub struct Places {
    /// The paths, best first.
    pub paths: Vec<PathBuf>,
    /// The folder that is made when a path is in it.
    pub state: Option<PathBuf>,
}

#[derive(Debug)]
enum Message {
    Record(Vec<u8>),
    TooLarge,
    Settle(Sender<bool>),
    Retire(Sender<Option<PathBuf>>, Option<&'static str>),
}

impl Writer {
    /// Starts the thread; it makes a file when the first record comes, or goes on with one.
    pub fn start(places: Places, appender: Option<Appender>) -> Self {
        let (to, from) = channel();
        let status = Arc::new(Mutex::new(Status {
            trouble: None,
            path: appender.as_ref().map(|journal| journal.path().to_owned()),
        }));
        let work = Work {
            places,
            appender,
            waiting: VecDeque::new(),
            n_waiting: 0,
            is_closed: false,
            is_dirty: false,
            is_unsynced: false,
            synced: Instant::now(),
            status: Arc::clone(&status),
        };
        let thread = std::thread::Builder::new()
            .name("journal".to_owned())
            .spawn(move || work.run(&from));
        if let Err(error) = &thread {
            looked_at(&status).trouble = Some(format!("no journal: {}", why(error)));
        }
        Self {
            to: Some(to),
            thread: thread.ok(),
            status,
        }
    }

    /// Hands a record over; nobody waits.
    pub fn record(&self, record: Vec<u8>) {
        self.send(Message::Record(record));
    }

    /// Says that there was a record too large to be kept.
    pub fn too_large(&self) {
        self.send(Message::TooLarge);
    }

    /// Waits until all records are on disk; false when some are not.
    pub fn settle(&self) -> bool {
        let (to, from) = channel();
        self.send(Message::Settle(to));
        from.recv().unwrap_or(false)
    }

    /// Ends the journal: its file goes, or is set aside with a word behind its name, which is
    /// given.
    pub fn retire(&self, aside: Option<&'static str>) -> Option<PathBuf> {
        let (to, from) = channel();
        self.send(Message::Retire(to, aside));
        from.recv().ok().flatten()
    }

    /// Why edits are not kept now.
    pub fn trouble(&self) -> Option<String> {
        looked_at(&self.status).trouble.clone()
    }

    /// The file with the records so far.
    pub fn path(&self) -> Option<PathBuf> {
        looked_at(&self.status).path.clone()
    }

    fn send(&self, message: Message) {
        if let Some(to) = &self.to {
            // Without a thread the trouble says so already.
            let _ = to.send(message);
        }
    }
}

impl Drop for Writer {
    fn drop(&mut self) {
        self.to = None;
        if let Some(thread) = self.thread.take() {
            let _ = thread.join();
        }
    }
}

/// The status, also after somebody failed while holding it: each field is whole on its own.
fn looked_at(status: &Mutex<Status>) -> MutexGuard<'_, Status> {
    status.lock().unwrap_or_else(PoisonError::into_inner)
}

/// The thread, seen from inside.
struct Work {
    places: Places,
    appender: Option<Appender>,
    /// Records that the disk did not take yet.
    waiting: VecDeque<Vec<u8>>,
    /// Their bytes.
    n_waiting: usize,
    /// Whether records are missing, so that later ones mean nothing.
    is_closed: bool,
    /// Whether there is something that the disk may not have.
    is_dirty: bool,
    /// Whether the disk could not say that it has it.
    is_unsynced: bool,
    synced: Instant,
    status: Arc<Mutex<Status>>,
}

impl Work {
    fn run(mut self, from: &Receiver<Message>) {
        loop {
            let message = match self.patience() {
                Some(patience) => from.recv_timeout(patience),
                None => from.recv().map_err(|_| RecvTimeoutError::Disconnected),
            };
            match message {
                Ok(message) => self.take(message),
                Err(RecvTimeoutError::Timeout) => {
                    self.write();
                    self.sync();
                }
                Err(RecvTimeoutError::Disconnected) => break,
            }
        }
        self.write();
        self.sync();
    }

    /// How long to wait for a message before seeing to what is left to do.
    fn patience(&self) -> Option<Duration> {
        if self.is_unsynced || !self.waiting.is_empty() {
            return Some(RETRY);
        }
        self.is_dirty.then_some(IDLE)
    }

    fn take(&mut self, message: Message) {
        match message {
            Message::Record(record) => {
                self.keep(record);
                self.write();
                if self.synced.elapsed() >= LONGEST {
                    self.sync();
                }
            }
            Message::TooLarge => self.close("the last step is too large for the journal"),
            Message::Settle(done) => {
                self.write();
                self.sync();
                let is_settled = self.waiting.is_empty() && !self.is_dirty && !self.is_closed;
                // Who asked may have given up waiting.
                let _ = done.send(is_settled);
            }
            Message::Retire(done, aside) => {
                let _ = done.send(self.retire(aside));
            }
        }
    }

    fn keep(&mut self, record: Vec<u8>) {
        if self.is_closed {
            return;
        }
        self.n_waiting += record.len();
        self.waiting.push_back(record);
        if self.n_waiting > MOST_WAITING && self.waiting.len() > 1 {
            self.close("the journal could not be written for long");
        }
    }

    /// Hands what waits to the system, as far as it takes it.
    fn write(&mut self) {
        while let Some(record) = self.waiting.front() {
            if self.appender.is_none() {
                match self.create() {
                    Ok(appender) => self.appender = Some(appender),
                    Err(error) => return self.tell(format!("no journal: {}", why(&error))),
                }
            }
            let Some(appender) = &mut self.appender else {
                return;
            };
            match appender.append(record) {
                Ok(()) => {
                    self.is_dirty = true;
                    self.n_waiting -= record.len();
                    self.waiting.pop_front();
                }
                Err(NotKept::Full) => return self.close("the journal is full (256 MiB)"),
                Err(NotKept::Disk(error)) => {
                    return self.tell(format!("journal not written: {}", why(&error)));
                }
            }
        }
        if !self.is_closed && !self.is_unsynced {
            let path = self
                .appender
                .as_ref()
                .map(|journal| journal.path().to_owned());
            *looked_at(&self.status) = Status {
                trouble: None,
                path,
            };
        }
    }

    /// A new journal at the first place that takes one.
    fn create(&self) -> io::Result<Appender> {
        let mut last = io::Error::other("there is no folder for it");
        for path in &self.places.paths {
            let state = self.places.state.as_ref();
            if state.is_some_and(|state| path.starts_with(state)) {
                side::make_folder(path)?;
            }
            match Appender::create(path) {
                Ok(appender) => return Ok(appender),
                Err(error) => last = error,
            }
        }
        Err(last)
    }

    fn sync(&mut self) {
        self.synced = Instant::now();
        let Some(appender) = self.appender.as_ref().filter(|_| self.is_dirty) else {
            return;
        };
        match appender.sync() {
            Ok(()) => (self.is_dirty, self.is_unsynced) = (false, false),
            Err(error) => {
                self.is_unsynced = true;
                self.tell(format!("journal not written: {}", why(&error)));
            }
        }
    }

    /// Keeps no more records until the journal begins anew.
    fn close(&mut self, why: &str) {
        self.is_closed = true;
        self.waiting.clear();
        self.n_waiting = 0;
        if let Some(appender) = &mut self.appender {
            appender.close();
            self.is_dirty = true;
        }
        self.tell(format!("{why}: save now, later edits are only in memory"));
    }

    fn retire(&mut self, aside: Option<&'static str>) -> Option<PathBuf> {
        self.waiting.clear();
        self.n_waiting = 0;
        (self.is_closed, self.is_dirty, self.is_unsynced) = (false, false, false);
        *looked_at(&self.status) = Status::default();
        let appender = self.appender.take()?;
        match aside {
            Some(word) => appender.set_aside(word).ok(),
            None => {
                // A journal that stays says in its last record that all of it was saved.
                let _ = appender.remove();
                None
            }
        }
    }

    fn tell(&self, trouble: String) {
        looked_at(&self.status).trouble = Some(trouble);
    }
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::files::journal::{Line, Lines, saving};
    use serde::de::IgnoredAny;
    use std::fs;

    /// What the records in a file say.
    fn saved_as(path: &PathBuf) -> Vec<String> {
        let bytes = fs::read(path).unwrap();
        let mut lines = Lines::new(&bytes);
        let next = || lines.next_line::<IgnoredAny, IgnoredAny>();
        std::iter::from_fn(next)
            .map(|line| match line {
                Line::Saving(checksum) => checksum,
                other => panic!("{other:?}"),
            })
            .collect()
    }

    fn places(paths: &[PathBuf], state: Option<PathBuf>) -> Places {
        Places {
            paths: paths.to_vec(),
            state,
        }
    }

    #[test]
    fn a_disk_that_comes_back_gets_all_records_in_order() {
        let room = tempfile::tempdir().unwrap();
        let folder = room.path().join("later");
        let path = folder.join("journal");
        let writer = Writer::start(places(std::slice::from_ref(&path), None), None);
        for at in 0..3 {
            writer.record(saving(&at.to_string()));
        }
        assert!(!writer.settle());
        let trouble = writer.trouble().unwrap();
        assert_eq!(trouble, "no journal: its folder does not exist");
        assert_eq!(writer.path(), None);
        fs::create_dir(&folder).unwrap();
        writer.record(saving("3"));
        assert!(writer.settle());
        assert_eq!(
            (writer.trouble(), writer.path()),
            (None, Some(path.clone()))
        );
        assert_eq!(saved_as(&path), ["0", "1", "2", "3"]);
    }

    #[test]
    fn where_there_is_no_room_beside_the_plan_the_state_folder_is_made() {
        let room = tempfile::tempdir().unwrap();
        let state = room.path().join("a/b");
        let (beside, other) = (room.path().join("gone/journal"), state.join("journal"));
        let places = places(&[beside, other.clone()], Some(state));
        let writer = Writer::start(places, None);
        writer.record(saving("0"));
        assert!(writer.settle());
        assert_eq!(writer.path(), Some(other));
    }

    #[test]
    fn after_a_record_that_is_missing_nothing_is_kept_until_it_begins_anew() {
        let room = tempfile::tempdir().unwrap();
        let path = room.path().join("journal");
        let writer = Writer::start(places(std::slice::from_ref(&path), None), None);
        writer.record(saving("0"));
        writer.too_large();
        writer.record(saving("1"));
        assert!(!writer.settle());
        assert!(writer.trouble().unwrap().contains("too large"));
        let bytes = fs::read(&path).unwrap();
        let mut lines = Lines::new(&bytes);
        let mut next = || lines.next_line::<IgnoredAny, IgnoredAny>();
        assert!(matches!(next(), Some(Line::Saving(_))));
        assert!(matches!(next(), Some(Line::Full)));
        assert!(next().is_none());
        assert_eq!(writer.retire(None), None);
        assert!(!path.exists());
        writer.record(saving("2"));
        assert!(writer.settle());
        assert_eq!(saved_as(&path), ["2"]);
        assert_eq!(writer.trouble(), None);
    }

    #[test]
    fn all_records_are_on_disk_when_it_is_let_go() {
        let room = tempfile::tempdir().unwrap();
        let path = room.path().join("journal");
        let writer = Writer::start(places(std::slice::from_ref(&path), None), None);
        for at in 0..500 {
            writer.record(saving(&at.to_string()));
        }
        drop(writer);
        assert_eq!(saved_as(&path).len(), 500);
    }
}
