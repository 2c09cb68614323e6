//! Thumb sticks to set-points.
