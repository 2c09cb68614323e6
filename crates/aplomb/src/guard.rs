//! The only place that may override a command.
