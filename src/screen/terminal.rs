//! The terminal: taking it over, giving it back, frames as bytes, what it sends.
//!
//! The only file of the screen that touches it. Whatever happens - the end, a panic, a signal, a
//! stop by the shell - the terminal is given back by the one function [`give_back`].

use super::session::Happening;
use crossterm::clipboard::CopyToClipboard;
use crossterm::cursor::Show;
use crossterm::event::DisableBracketedPaste;
use crossterm::event::DisableMouseCapture;
use crossterm::event::EnableBracketedPaste;
use crossterm::event::EnableMouseCapture;
use crossterm::event::Event;
use crossterm::terminal::BeginSynchronizedUpdate;
use crossterm::terminal::EndSynchronizedUpdate;
use crossterm::terminal::EnterAlternateScreen;
use crossterm::terminal::LeaveAlternateScreen;
use crossterm::terminal::disable_raw_mode;
use crossterm::terminal::enable_raw_mode;
use crossterm::{execute, queue};
use ratatui::Terminal;
use ratatui::backend::CrosstermBackend;
use ratatui::buffer::Buffer;
use signal_hook::consts::SIGCONT;
use signal_hook::consts::SIGHUP;
use signal_hook::consts::SIGINT;
use signal_hook::consts::SIGSTOP;
use signal_hook::consts::SIGTERM;
use signal_hook::iterator::Signals;
use std::io::{self, BufWriter, Stdout, Write};
use std::sync::atomic::{AtomicBool, Ordering};
use std::sync::mpsc::Sender;
use std::thread;

/// A frame is collected here and written at once.
const FRAME_BYTES: usize = 64 << 10;

/// Whether the terminal is ours at the moment; it is given back once.
static TAKEN: AtomicBool = AtomicBool::new(false);

/// What arrives at the run loop.
#[derive(Debug)]
pub enum Arrival {
    /// A key, a paste, the mouse, another size.
    Happening(Happening),
    /// A signal to end: its number.
    Signal(i32),
    /// The program goes on after a stop.
    Continued,
    /// A thread panicked, or the terminal can be read no more.
    Lost(String),
}

/// The terminal as long as it is ours.
#[derive(Debug)]
pub struct Screen {
    terminal: Terminal<CrosstermBackend<BufWriter<Stdout>>>,
    mouse: bool,
}

impl Screen {
    /// Takes the terminal over.
    ///
    /// # Errors
    /// A terminal that cannot be set or written.
    pub fn take(mouse: bool) -> io::Result<Self> {
        enter(mouse)?;
        let out = BufWriter::with_capacity(FRAME_BYTES, io::stdout());
        let terminal = Terminal::new(CrosstermBackend::new(out)).inspect_err(|_| give_back())?;
        Ok(Self { terminal, mouse })
    }

    /// Draws one frame and sends what differs from the last in one piece.
    ///
    /// # Errors
    /// A terminal that cannot be written.
    pub fn draw(
        &mut self,
        paint: impl FnOnce(&mut Buffer) -> Option<(u16, u16)>,
    ) -> io::Result<()> {
        queue!(self.terminal.backend_mut(), BeginSynchronizedUpdate)?;
        self.terminal.draw(|frame| {
            if let Some(at) = paint(frame.buffer_mut()) {
                frame.set_cursor_position(at);
            }
        })?;
        queue!(self.terminal.backend_mut(), EndSynchronizedUpdate)?;
        Write::flush(self.terminal.backend_mut())
    }

    /// Forgets what was drawn, so that the next frame is sent whole.
    ///
    /// # Errors
    /// A terminal that cannot be written.
    pub fn clear(&mut self) -> io::Result<()> {
        self.terminal.clear()
    }

    /// Asks the terminal to keep a text on its clipboard; whether it does cannot be known.
    ///
    /// # Errors
    /// A terminal that cannot be written.
    pub fn copy(&mut self, text: &str) -> io::Result<()> {
        execute!(
            self.terminal.backend_mut(),
            CopyToClipboard::to_clipboard_from(text)
        )
    }

    /// Gives the terminal to the shell and stops until the shell lets the program go on.
    ///
    /// # Errors
    /// A terminal that cannot be taken over again.
    pub fn suspend(&mut self) -> io::Result<()> {
        give_back();
        // A stop sent to oneself by the softer signal is dropped where no shell minds the group.
        signal_hook::low_level::raise(SIGSTOP)?;
        self.take_again()
    }

    /// Takes the terminal over again, after a stop by whomever.
    ///
    /// # Errors
    /// A terminal that cannot be set or written.
    pub fn take_again(&mut self) -> io::Result<()> {
        enter(self.mouse)?;
        self.terminal.clear()
    }
}

impl Drop for Screen {
    fn drop(&mut self) {
        give_back();
    }
}

fn enter(mouse: bool) -> io::Result<()> {
    TAKEN.store(true, Ordering::SeqCst);
    let entered = enable_raw_mode()
        .and_then(|()| execute!(io::stdout(), EnterAlternateScreen, EnableBracketedPaste))
        .and_then(|()| match mouse {
            true => execute!(io::stdout(), EnableMouseCapture),
            false => Ok(()),
        });
    entered.inspect_err(|_| give_back())
}

/// Gives the terminal back: every mode that was set, whether or not it was.
pub fn give_back() {
    if !TAKEN.swap(false, Ordering::SeqCst) {
        return;
    }
    // What cannot be written now cannot be told either.
    let _ = execute!(
        io::stdout(),
        EndSynchronizedUpdate,
        DisableMouseCapture,
        DisableBracketedPaste,
        LeaveAlternateScreen,
        Show
    );
    let _ = disable_raw_mode();
}

/// Starts to listen: keys on one thread, signals on another.
///
/// # Errors
/// A system that takes no more threads or handlers.
pub fn listen(to: &Sender<Arrival>) -> io::Result<()> {
    let keys = to.clone();
    thread::Builder::new()
        .name("keys".to_owned())
        .spawn(move || read_keys(&keys))?;
    let mut signals = Signals::new([SIGTERM, SIGHUP, SIGINT, SIGCONT])?;
    let to = to.clone();
    thread::Builder::new()
        .name("signals".to_owned())
        .spawn(move || {
            for signal in signals.forever() {
                let arrival = match signal {
                    SIGCONT => Arrival::Continued,
                    signal => Arrival::Signal(signal),
                };
                if to.send(arrival).is_err() {
                    break;
                }
            }
        })?;
    Ok(())
}

fn read_keys(to: &Sender<Arrival>) {
    loop {
        let arrival = match crossterm::event::read() {
            Ok(Event::Key(key)) => Arrival::Happening(Happening::Key(key)),
            Ok(Event::Paste(text)) => Arrival::Happening(Happening::Paste(text)),
            Ok(Event::Mouse(mouse)) => Arrival::Happening(Happening::Mouse(mouse)),
            Ok(Event::Resize(_, _)) => Arrival::Happening(Happening::Resize),
            Ok(Event::FocusGained | Event::FocusLost) => continue,
            Err(error) => Arrival::Lost(error.to_string()),
        };
        let is_last = matches!(arrival, Arrival::Lost(_));
        if to.send(arrival).is_err() || is_last {
            break;
        }
    }
}
