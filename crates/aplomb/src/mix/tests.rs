//! The mixer against a linear-programming solver, closed forms and its documented properties.

mod draw;
mod examples;
mod optimum;
mod oracle;
mod properties;
