//! Ending a run between two files.

use std::sync::Arc;
use std::sync::atomic::AtomicBool;

use signal_hook::consts::{SIGINT, SIGTERM};
use signal_hook::flag;

/// A sign that turns true whenever Ctrl-C is pressed, which then ends nothing by itself. Pressed while a list or a line stands in a
/// terminal, whoever reads its keys ends, too; pressed between two of them, only the sign says it.
pub(crate) fn pressed() -> Arc<AtomicBool> {
    let pressed = Arc::new(AtomicBool::new(false));
    let _ = flag::register(SIGINT, Arc::clone(&pressed));
    pressed
}

/// A sign that turns true once somebody asks the program to stop. Asking twice stops it at once.
///
/// Where no such request can be caught, the sign stays false, and the first one stops the program at once.
pub(crate) fn asked_for() -> Arc<AtomicBool> {
    let asked = Arc::new(AtomicBool::new(false));
    for signal in [SIGINT, SIGTERM] {
        // The second request finds the sign true, so this comes first.
        let twice = flag::register_conditional_default(signal, Arc::clone(&asked));
        if twice.is_ok() {
            let _ = flag::register(signal, Arc::clone(&asked));
        }
    }
    asked
}
