//! What happened on each tick.
