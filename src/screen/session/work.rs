//! Work that takes a while, on a thread of its own: begun, told of, stopped, and taken in when it
//! is done. Meanwhile the ledger can be used as ever.
//!
//! What the work is stands where it is asked for: `import`, `merge`, `change`.

use super::{Layer, Session};
use crate::desk::Gauge;
use crate::problem::Problem;
use crate::screen::theme::Tone;
use std::fmt;
use std::sync::Arc;
use std::sync::mpsc;
use std::sync::mpsc::{Receiver, TryRecvError};
use std::thread;
use std::time::Duration;

/// What becomes of the work in the sitting.
pub(super) type Finish = Box<dyn FnOnce(&mut Session) + Send>;

/// Is called from the thread when the work is done, so that the sitting looks.
#[derive(Clone)]
pub struct Caller(pub Arc<dyn Fn() + Send + Sync>);

impl fmt::Debug for Caller {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.write_str("Caller")
    }
}

/// How long the end of a sitting waits for work that was stopped, so that it can remove what it
/// wrote.
const GRACE: Duration = Duration::from_secs(2);

/// Work that was begun.
pub(super) struct Work {
    /// What is being done, such as `reading cables.xlsx`.
    doing: String,
    gauge: Arc<Gauge>,
    done: Receiver<Finish>,
    /// It is done, and waits until the person has ended what they type.
    ready: Option<Finish>,
}

impl fmt::Debug for Work {
    fn fmt(&self, f: &mut fmt::Formatter<'_>) -> fmt::Result {
        f.debug_struct("Work")
            .field("doing", &self.doing)
            .field("gauge", &self.gauge)
            .finish_non_exhaustive()
    }
}

impl Session {
    /// Begins work on another thread; one at a time.
    pub(super) fn begin_work(
        &mut self,
        doing: String,
        job: impl FnOnce(&Gauge) -> Finish + Send + 'static,
    ) -> Result<(), Problem> {
        if let Some(work) = &self.work {
            let what = format!("{} is not done yet", work.doing);
            return Err(Problem::new("at-work", what).help("wait for it, or Esc stops it"));
        }
        let gauge = Arc::new(Gauge::default());
        let (to, done) = mpsc::channel();
        let (told, call) = (Arc::clone(&gauge), self.call.clone());
        let run = move || {
            let finish = job(&told);
            // Nobody waits for it any more where the sitting has ended.
            let _ = to.send(finish);
            if let Some(Caller(call)) = call {
                call();
            }
        };
        thread::Builder::new().spawn(run).map_err(|error| {
            Problem::new("no-thread", format!("the work cannot be begun: {error}"))
                .help("end something else on this machine and try again")
        })?;
        self.say(format!("{doing} ..."), Tone::Quiet);
        self.work = Some(Work {
            doing,
            gauge,
            done,
            ready: None,
        });
        Ok(())
    }

    /// Begins work, or says what is not done yet; tells why it cannot be begun.
    pub(super) fn begin_alone(&mut self, begin: impl FnOnce(&mut Self) -> Result<(), Problem>) {
        let begun = match self.is_working() {
            true => self.begin_work(String::new(), |_| Box::new(|_| {})),
            false => begin(self),
        };
        if let Err(problem) = begun {
            self.tell(&problem);
        }
    }

    /// Tells a problem; that a person stopped the work is none.
    pub(super) fn tell_stopped(&mut self, problem: &Problem) {
        match problem.code {
            "stopped" => self.say("stopped; nothing was changed", Tone::Quiet),
            _ => self.tell(problem),
        }
    }

    /// Whether something is being done beside the sitting.
    pub fn is_working(&self) -> bool {
        self.work.is_some()
    }

    /// Takes in what is done by now, and says how far the rest is.
    pub fn look_at_work(&mut self) {
        let is_typing = matches!(self.layers.last(), Some(Layer::Entry(_) | Layer::Ask(_)));
        let Some(work) = &mut self.work else {
            return;
        };
        if work.ready.is_none() {
            work.ready = match work.done.try_recv() {
                Ok(finish) => Some(finish),
                Err(TryRecvError::Empty) => None,
                Err(TryRecvError::Disconnected) => Some(Box::new(broke)),
            };
        }
        // What a person reads is left alone.
        let is_ours = self.message.0.is_empty() || self.message.0.starts_with(&work.doing);
        match (work.ready.is_some(), is_typing) {
            (true, false) => {
                let finish = work.ready.take();
                self.work = None;
                if is_ours {
                    self.say("", Tone::Plain);
                }
                if let Some(finish) = finish {
                    finish(self);
                }
            }
            (true, true) => {}
            (false, _) if is_ours && work.gauge.is_slow() => {
                let said = how_far(work);
                self.say(said, Tone::Quiet);
            }
            (false, _) => {}
        }
    }

    /// Asks what is being done to stop; says whether there is anything.
    pub(super) fn stop_work(&mut self) -> bool {
        let Some(work) = &self.work else {
            return false;
        };
        work.gauge.stop();
        let said = how_far(work);
        self.say(said, Tone::Quiet);
        true
    }

    /// Waits until what is being done is done, and takes it in.
    pub fn wait_for_work(&mut self) {
        if let Some(work) = &mut self.work
            && work.ready.is_none()
        {
            work.ready = Some(work.done.recv().unwrap_or_else(|_| Box::new(broke)));
        }
        self.look_at_work();
    }
}

impl Drop for Work {
    fn drop(&mut self) {
        if self.ready.is_none() {
            self.gauge.stop();
            // What is half written is removed by the thread that writes it.
            let _ = self.done.recv_timeout(GRACE);
        }
    }
}

fn how_far(work: &Work) -> String {
    let doing = &work.doing;
    match (work.gauge.is_stopped(), work.gauge.said()) {
        (true, _) => format!("{doing} is being stopped"),
        (false, said) if said.is_empty() => format!("{doing} ...  Esc stops it"),
        (false, said) => format!("{doing}: {said}  Esc stops it"),
    }
}

fn broke(session: &mut Session) {
    let what = "something in the program broke; nothing was changed by it";
    session.tell(&Problem::new("broke", what).help("save the plan under another name"));
}
