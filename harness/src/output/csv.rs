//! Tables as CSV.

use serde::Serialize;
use std::io;

/// One line for each item, below the names of its fields. An absent value is empty.
///
/// # Errors
/// An error of the CSV library.
pub fn of_items<T: Serialize>(items: impl IntoIterator<Item = T>) -> io::Result<Vec<u8>> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    for item in items {
        writer.serialize(item)?;
    }
    writer.into_inner().map_err(|error| io::Error::other(error.to_string()))
}

/// Rows below their heads.
///
/// # Errors
/// An error of the CSV library.
pub fn of_rows<const N: usize>(
    heads: [&str; N],
    rows: impl IntoIterator<Item = [String; N]>,
) -> io::Result<Vec<u8>> {
    let mut writer = csv::Writer::from_writer(Vec::new());
    writer.write_record(heads)?;
    for row in rows {
        writer.write_record(row)?;
    }
    writer.into_inner().map_err(|error| io::Error::other(error.to_string()))
}
