//! How far a long run is, on a terminal, once it has taken a second.

use std::time::Duration;

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// What takes less is over before anybody looks.
const AFTER: Duration = Duration::from_secs(1);
const REDRAWN: Duration = Duration::from_millis(200);

/// A line on standard error while it lives, if that is a terminal.
pub(crate) struct Progress(ProgressBar);

impl Progress {
    /// Of so many steps, or of nobody knows how many. `what` begins with a capital: "Screening".
    pub(crate) fn of(what: &str, n_steps: Option<usize>) -> Self {
        let length = n_steps.and_then(|it| u64::try_from(it).ok());
        let bar = ProgressBar::with_draw_target(length, ProgressDrawTarget::hidden());
        let form = match n_steps {
            Some(_) => "{msg}: {pos} of {len}, {elapsed}",
            None => "{msg}, {elapsed}",
        };
        if let Ok(style) = ProgressStyle::with_template(form) {
            bar.set_style(style);
        }
        bar.set_message(what.to_owned());
        let later = bar.clone();
        std::thread::spawn(move || {
            std::thread::sleep(AFTER);
            if !later.is_finished() {
                later.set_draw_target(ProgressDrawTarget::stderr());
                later.enable_steady_tick(REDRAWN);
            }
        });
        Self(bar)
    }

    /// One step is done.
    pub(crate) fn step(&self) {
        self.0.inc(1);
    }

    /// Says something else from now on.
    pub(crate) fn say(&self, text: String) {
        self.0.set_message(text);
    }

    /// Prints something else meanwhile, which would stand in the same line.
    pub(crate) fn beside<T>(&self, print: impl FnOnce() -> T) -> T {
        self.0.suspend(print)
    }
}

impl Drop for Progress {
    fn drop(&mut self) {
        self.0.finish_and_clear();
    }
}
