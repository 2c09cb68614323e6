//! Runs the README snippets as doctests.
