//! The terminal: taking it over, giving it back, sending frames, what it sends.
//!
//! The only file of the screen that touches it. Whatever happens - the end, a panic, a signal, a
//! stop by the shell - the terminal is given back by the one function [`give_back`]. Which bytes
//! make a frame is in `frame`.

use super::frame::Frames;
use super::session::Happening;
use crossterm::Command;
use crossterm::clipboard::CopyToClipboard;
use crossterm::cursor::Show;
use crossterm::event::DisableBracketedPaste;
use crossterm::event::DisableMouseCapture;
use crossterm::event::EnableBracketedPaste;
use crossterm::event::EnableMouseCapture;
use crossterm::event::Event;
use crossterm::queue;
use crossterm::style::force_color_output;
use crossterm::terminal::EndSynchronizedUpdate;
use crossterm::terminal::EnterAlternateScreen;
use crossterm::terminal::LeaveAlternateScreen;
use crossterm::terminal::disable_raw_mode;
use crossterm::terminal::enable_raw_mode;
use crossterm::terminal::size;
use ratatui::buffer::Buffer;
use rustix::event::{PollFd, PollFlags, Timespec, poll};
use rustix::process::{getpid, getsid};
use signal_hook::consts::SIGSTOP;
use std::fs::File;
use std::io::{self, ErrorKind, IsTerminal, Write};
use std::os::fd::{AsFd, OwnedFd};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::Sender;
use std::sync::{Mutex, MutexGuard, TryLockError};
use std::thread;
use std::time::Duration;

/// Whether the terminal is ours at the moment; it is given back once.
static TAKEN: AtomicBool = AtomicBool::new(false);

/// Held while bytes are sent, so that no frame is cut by what gives the terminal back.
static SENDING: Mutex<()> = Mutex::new(());

/// Held while the terminal is given back.
static GIVING: Mutex<()> = Mutex::new(());

/// How long giving back waits for a frame under way, and for a terminal that takes no bytes.
const PATIENCE: Duration = Duration::from_millis(300);

/// What arrives at the run loop.
#[derive(Debug)]
pub enum Arrival {
    /// A key, a paste, the mouse.
    Happening(Happening),
    /// The terminal may have another size.
    Resized,
    /// A signal to end: its number.
    Signal(i32),
    /// Somebody wants the program to stop until it is told to go on.
    Stop,
    /// The program goes on after a stop.
    Continued,
    /// The terminal can be read no more.
    Gone,
    /// A thread panicked; what it said.
    Broke(String),
}

/// The terminal as long as it is ours.
#[derive(Debug)]
pub struct Screen {
    frames: Frames,
    out: File,
    mouse: bool,
}

impl Screen {
    /// Takes the terminal over.
    ///
    /// # Errors
    /// A terminal that cannot be set or written.
    pub fn take(mouse: bool) -> io::Result<Self> {
        // Whether there are colours was decided with the look; what has none gets none.
        force_color_output(true);
        let out = output()?;
        enter(&out, mouse)?;
        let frames = Frames::new(size_now());
        Ok(Self { frames, out, mouse })
    }

    /// Draws one frame and sends what differs from the last in one piece; nothing where nothing
    /// differs, and nothing while the terminal is not ours.
    ///
    /// # Errors
    /// A terminal that cannot be written.
    pub fn draw(
        &mut self,
        paint: impl FnOnce(&mut Buffer) -> Option<(u16, u16)>,
    ) -> io::Result<()> {
        let bytes = self.frames.draw(paint)?;
        send_ours(&self.out, bytes)
    }

    /// Learns whether the terminal has another size.
    pub fn resize(&mut self) {
        self.frames.resize(size_now());
    }

    /// Forgets what was drawn, so that the next frame is sent whole.
    pub fn forget(&mut self) {
        self.resize();
        self.frames.forget();
    }

    /// Asks the terminal to keep a text on its clipboard; whether it does cannot be known.
    ///
    /// # Errors
    /// A terminal that cannot be written.
    pub fn copy(&mut self, text: &str) -> io::Result<()> {
        send_ours(
            &self.out,
            &bytes_of(&CopyToClipboard::to_clipboard_from(text))?,
        )
    }

    /// Gives the terminal to the shell and stops until the shell lets the program go on; then
    /// [`Arrival::Continued`] arrives. `before` is done where that will be, since nobody knows for
    /// how long. Gives false, and does nothing, where there is no shell.
    ///
    /// # Errors
    /// A signal that cannot be sent.
    pub fn suspend<T>(&mut self, before: impl FnOnce() -> T) -> io::Result<bool> {
        // The first process of a session has no shell above it that would let it go on.
        if getsid(None).is_ok_and(|session| session == getpid()) {
            return Ok(false);
        }
        before();
        give_back();
        // The softer signal is dropped where no shell minds the group, and is caught besides.
        signal_hook::low_level::raise(SIGSTOP)?;
        Ok(true)
    }

    /// Takes the terminal over again, after a stop by whomever.
    ///
    /// # Errors
    /// A terminal that cannot be set or written.
    pub fn take_again(&mut self) -> io::Result<()> {
        // After a stop from outside, others may have set the modes that are believed to be set.
        disable_raw_mode()?;
        enter(&self.out, self.mouse)?;
        self.forget();
        Ok(())
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        give_back();
    }
}

/// The terminal as a file of its own, so that no lock of another writer is in the way.
fn output() -> io::Result<File> {
    Ok(File::from(io::stdout().as_fd().try_clone_to_owned()?))
}

/// Columns and lines of the terminal; zero where it does not say.
fn size_now() -> (u16, u16) {
    size().unwrap_or((0, 0))
}

fn enter(out: &File, mouse: bool) -> io::Result<()> {
    TAKEN.store(true, Ordering::SeqCst);
    let entered = enable_raw_mode().and_then(|()| {
        let mut bytes = Vec::new();
        queue!(bytes, EnterAlternateScreen, EnableBracketedPaste)?;
        if mouse {
            queue!(bytes, EnableMouseCapture)?;
        }
        send_ours(out, &bytes)
    });
    entered.inspect_err(|_| give_back())
}

/// Gives the terminal back: every mode that was set, whether or not it was.
pub fn give_back() {
    // Who comes second may end the program next, so it waits until the first is done; that takes
    // no longer than a few times the patience with a terminal.
    let _turn = GIVING.lock().unwrap_or_else(|broken| broken.into_inner());
    if !TAKEN.swap(false, Ordering::SeqCst) {
        return;
    }
    // What cannot be written now cannot be told either.
    let _ = restore();
    let _ = disable_raw_mode();
}

fn restore() -> io::Result<()> {
    let mut bytes = Vec::new();
    queue!(
        bytes,
        EndSynchronizedUpdate,
        DisableMouseCapture,
        DisableBracketedPaste,
        LeaveAlternateScreen,
        Show
    )?;
    let _frame = sending_soon();
    let out = output()?;
    match is_ready(&out, PollFlags::OUT, PATIENCE) {
        true => (&out).write_all(&bytes),
        false => Ok(()),
    }
}

/// Waits a little for a frame that is being sent; none that hangs is waited for.
fn sending_soon() -> Option<MutexGuard<'static, ()>> {
    let step = Duration::from_millis(5);
    let mut waited = Duration::ZERO;
    loop {
        match SENDING.try_lock() {
            Ok(guard) => return Some(guard),
            Err(TryLockError::Poisoned(poisoned)) => return Some(poisoned.into_inner()),
            Err(TryLockError::WouldBlock) if waited >= PATIENCE => return None,
            Err(TryLockError::WouldBlock) => {
                thread::sleep(step);
                waited += step;
            }
        }
    }
}

/// Sends bytes, unless the terminal was given back in the meantime.
fn send_ours(mut out: &File, mut bytes: &[u8]) -> io::Result<()> {
    let _frame = SENDING.lock().unwrap_or_else(|broken| broken.into_inner());
    while !bytes.is_empty() && TAKEN.load(Ordering::SeqCst) {
        match out.write(bytes) {
            Ok(0) => return Err(ErrorKind::WriteZero.into()),
            Ok(n) => bytes = &bytes[n..],
            Err(error) if error.kind() == ErrorKind::Interrupted => {}
            // Another program may have set the terminal not to wait.
            Err(error) if error.kind() == ErrorKind::WouldBlock => {
                is_ready(out, PollFlags::OUT, PATIENCE);
            }
            Err(error) => return Err(error),
        }
    }
    Ok(())
}

fn bytes_of(command: &impl Command) -> io::Result<Vec<u8>> {
    let mut text = String::new();
    command
        .write_ansi(&mut text)
        .map_err(|_| io::Error::other("no bytes for the terminal"))?;
    Ok(text.into_bytes())
}

/// Whether something can be done with a file within a time.
fn is_ready(file: &File, what: PollFlags, within: Duration) -> bool {
    let limit = Timespec::try_from(within).ok();
    let mut asked = [PollFd::new(file, what)];
    poll(&mut asked, limit.as_ref()).is_ok() && asked[0].revents().intersects(what)
}

/// Waits until the terminal that keys come from goes away; false where that cannot be known.
pub fn wait_for_hangup(keys: &OwnedFd) -> bool {
    let gone = PollFlags::HUP | PollFlags::ERR;
    loop {
        let mut asked = [PollFd::new(keys, PollFlags::empty())];
        match poll(&mut asked, None) {
            Ok(_) if asked[0].revents().intersects(gone) => return true,
            // Some systems cannot be asked about a terminal, and say so at once.
            Ok(_) => return false,
            Err(rustix::io::Errno::INTR) => {}
            Err(_) => return false,
        }
    }
}

/// What keys are read from: the input where it is a terminal, else the terminal of the session.
///
/// # Errors
/// No terminal to read from, or none any more.
pub fn keyboard() -> io::Result<OwnedFd> {
    match io::stdin().is_terminal() {
        true => io::stdin().as_fd().try_clone_to_owned(),
        false => Ok(File::open("/dev/tty")?.into()),
    }
}

/// Starts to read keys on a thread of its own.
///
/// # Errors
/// A system that takes no more threads.
pub fn listen(to: Sender<Arrival>) -> io::Result<()> {
    thread::Builder::new()
        .name("keys".to_owned())
        .spawn(move || read_keys(&to))?;
    Ok(())
}

fn read_keys(to: &Sender<Arrival>) {
    loop {
        let arrival = match crossterm::event::read() {
            Ok(Event::Key(key)) => Arrival::Happening(Happening::Key(key)),
            Ok(Event::Paste(text)) => Arrival::Happening(Happening::Paste(text)),
            Ok(Event::Mouse(mouse)) => Arrival::Happening(Happening::Mouse(mouse)),
            Ok(Event::Resize(_, _)) => Arrival::Resized,
            Ok(Event::FocusGained | Event::FocusLost) => continue,
            Err(_) => Arrival::Gone,
        };
        let is_last = matches!(arrival, Arrival::Gone);
        if to.send(arrival).is_err() || is_last {
            break;
        }
    }
}
