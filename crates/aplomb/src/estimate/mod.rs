//! Attitude, vertical and horizontal estimation.
