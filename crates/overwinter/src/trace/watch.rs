//! Long work watched: progress with rate and time left on standard error, Ctrl-C asked for politely.

use std::io::{IsTerminal, Write};
use std::sync::Arc;
use std::sync::atomic::{AtomicBool, Ordering};
use std::time::{Duration, Instant};

use overwinter_recordings::Stated;
use overwinter_traces::{Control, Progress};
use overwinter_workbench::text::{charge, current};

use super::args::Stating;

/// Short work is not worth a line.
const SILENT: Duration = Duration::from_millis(600);

/// Watches one piece of work.
pub(super) struct Watch {
    cancel: Arc<AtomicBool>,
    /// Shown, and whether over the same line again.
    shown: Option<bool>,
    live: bool,
    began: Instant,
    last: Option<Instant>,
    drawn: bool,
}

impl Watch {
    /// `asked`: also where standard error is no terminal. `live`: the newest values instead of a share.
    pub(super) fn new(asked: bool, live: bool) -> Self {
        let cancel = Arc::new(AtomicBool::new(false));
        // The second Ctrl-C ends at once; temporary files are hidden ones beside their target.
        for signal in [signal_hook::consts::SIGINT, signal_hook::consts::SIGTERM] {
            let _ =
                signal_hook::flag::register_conditional_shutdown(signal, 130, Arc::clone(&cancel));
            let _ = signal_hook::flag::register(signal, Arc::clone(&cancel));
        }
        let terminal = std::io::stderr().is_terminal();
        Self {
            cancel,
            shown: (terminal || asked).then_some(terminal),
            live,
            began: Instant::now(),
            last: None,
            drawn: false,
        }
    }

    /// What is stated, with this watch's way to stop.
    pub(super) fn stated(&self, stating: &Stating) -> Stated {
        Stated { cancel: Arc::clone(&self.cancel), ..stating.stated() }
    }

    /// Sees how far the work is.
    pub(super) fn see(&mut self, progress: &Progress) -> Control {
        if let Some(over) = self.shown {
            let every = Duration::from_millis(if over { 100 } else { 1000 });
            let due = self.last.is_none_or(|last| last.elapsed() >= every);
            if due && (self.live || self.began.elapsed() > SILENT || !over) {
                self.last = Some(Instant::now());
                let line = if self.live { newest(progress) } else { far(progress) };
                let mut err = std::io::stderr().lock();
                let _ = if over {
                    write!(err, "\r\x1b[K{line}").and_then(|()| err.flush())
                } else {
                    writeln!(err, "{line}")
                };
                self.drawn = over;
            }
        }
        if self.cancel.load(Ordering::Relaxed) { Control::Stop } else { Control::Continue }
    }

    /// Takes the line away.
    pub(super) fn done(&mut self) {
        if std::mem::take(&mut self.drawn) {
            let _ = write!(std::io::stderr(), "\r\x1b[K");
        }
    }
}

fn count(samples: u64) -> String {
    match samples as f64 {
        n if n >= 1e9 => format!("{:.2} G", n / 1e9),
        n if n >= 1e6 => format!("{:.1} M", n / 1e6),
        n if n >= 1e4 => format!("{:.0} k", n / 1e3),
        n => format!("{n:.0} "),
    }
}

fn far(p: &Progress) -> String {
    let share = match p.total_bytes.filter(|total| *total > 0) {
        Some(total) => format!("{:3.0} %  ", 100.0 * p.done_bytes as f64 / total as f64),
        None => String::new(),
    };
    let left = p.left_s.map_or_else(String::new, |s| format!("  {s:.0} s left"));
    format!("{share}{}samples  {:.0} MB/s{left}", count(p.samples), p.rate_bytes_per_s / 1e6)
}

fn newest(p: &Progress) -> String {
    format!(
        "{}samples  now {}  charge so far {}  (Ctrl-C shows the result)",
        count(p.samples),
        current(p.newest_a),
        charge(p.charge_c)
    )
}
