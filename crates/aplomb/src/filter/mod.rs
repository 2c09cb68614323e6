//! Low-pass filters, biquads and notches.
