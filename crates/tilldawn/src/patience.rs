//! What takes longer than a moment: progress is shown, and Ctrl-C ends it early.

use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use indicatif::{ProgressBar, ProgressStyle};

/// Progress is shown only where work takes longer than this.
const PATIENCE: Duration = Duration::from_millis(700);

static STOP: AtomicBool = AtomicBool::new(false);

/// From now on the first Ctrl-C asks the work to end with what there is, the second ends at once.
pub(crate) fn listen() {
    let asked = ctrlc::set_handler(|| {
        if STOP.swap(true, Ordering::Relaxed) {
            std::process::exit(130);
        }
    });
    // without a handler Ctrl-C ends the program, as it always did
    drop(asked);
}

/// Whether Ctrl-C was pressed.
pub(crate) fn stopped() -> bool {
    STOP.load(Ordering::Relaxed)
}

/// A bar on standard error that appears when patience ends.
pub(crate) struct Patience {
    began: Instant,
    bar: Option<ProgressBar>,
    template: &'static str,
}

impl Patience {
    /// A template of the library's: "reading {bar:40} {bytes} of {total_bytes}".
    pub(crate) fn new(template: &'static str) -> Self {
        Patience { began: Instant::now(), bar: None, template }
    }

    /// So much of so much is done.
    pub(crate) fn at(&mut self, done: u64, of: Option<u64>) {
        if self.bar.is_none() && self.began.elapsed() > PATIENCE {
            let bar = of.map_or_else(ProgressBar::new_spinner, ProgressBar::new);
            self.bar = Some(match ProgressStyle::with_template(self.template) {
                Ok(style) if of.is_some() => bar.with_style(style),
                _ => bar,
            });
        }
        if let Some(bar) = &self.bar {
            bar.set_position(done);
        }
    }
}

impl Drop for Patience {
    fn drop(&mut self) {
        if let Some(bar) = &self.bar {
            bar.finish_and_clear();
        }
    }
}
