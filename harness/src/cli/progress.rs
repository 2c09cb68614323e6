//! Progress of long work: a bar with the time left on a terminal, nothing in a pipe.

use indicatif::{ProgressBar, ProgressDrawTarget, ProgressStyle};

/// A bar for `count` flights.
pub(super) fn flights(count: u64) -> ProgressBar {
    of(count, "flights")
}

/// A bar for `count` things.
pub(super) fn of(count: u64, things: &str) -> ProgressBar {
    let bar = ProgressBar::with_draw_target(Some(count), ProgressDrawTarget::stderr());
    let style =
        ProgressStyle::with_template(&format!("{{bar:30}} {{pos}} of {{len}} {things}, {{eta}} left"));
    bar.set_style(style.unwrap_or_else(|_| ProgressStyle::default_bar()));
    bar
}
