//! The mixer against a linear-programming solver, closed forms and its own promises.

mod draw;
mod examples;
mod optimum;
mod oracle;
mod properties;
