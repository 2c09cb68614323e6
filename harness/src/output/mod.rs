//! Results as text, tables and files.

pub mod baseline;
pub mod csv;
pub mod journal;
pub mod junit;
pub mod parquet;
pub mod summary;
pub mod sweep_table;
pub mod tuned;

#[cfg(test)]
mod tests;
