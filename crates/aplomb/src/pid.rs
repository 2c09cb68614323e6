//! Fixed-rate PID with two degrees of freedom.
