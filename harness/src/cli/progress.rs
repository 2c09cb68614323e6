//! Progress of long work: a bar with the time left on a terminal, nothing in a pipe.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar for `count` flights.
pub(super) fn flights(count: u64) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(count), ProgressDrawTarget::stderr());
    let style = ProgressStyle::with_template("{bar:30} {pos} of {len} flights, {eta} left");
    bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
    bar
}
