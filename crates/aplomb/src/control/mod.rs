//! The loops, from position inwards to rate.
