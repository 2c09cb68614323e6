//! The program `aplomb`: input files, pages, tables and commands around the closed loop
//! ([`aplomb_flight`]) and its studies ([`aplomb_study`]).
//!
//! | module | what it holds |
//! | --- | --- |
//! | [`input`] | files to craft, controller, flights, requirements, dispersions, recordings |
//! | [`cli`] | the commands |
//! | [`report`] | drawing and the page of flights |
//! | [`pages`] | the pages of the studies |
//! | [`output`] | tables, summaries and written files |
//! | [`export`] | a controller file as a Rust constant or parameter block |

pub mod cli;
pub mod export;
pub mod input;
pub mod output;
pub mod pages;
pub mod report;

/// The README's code runs as a doctest.
#[cfg(doctest)]
#[doc = include_str!("../../README.md")]
pub struct Readme;
