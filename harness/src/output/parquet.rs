//! A table of numbers as a Parquet file.

use std::sync::Arc;

use parquet::basic::Repetition;
use parquet::basic::Type as Physical;
use parquet::data_type::DoubleType;
use parquet::errors::Result;
use parquet::file::properties::WriterProperties;
use parquet::file::writer::SerializedFileWriter;
use parquet::schema::types::Type;

/// One column: its name and a number for each row, NaN where there is none.
pub type Column = (String, Vec<f64>);

/// The bytes of a file with these columns, all of one length. What is NaN is null.
///
/// # Errors
/// None but those of the library.
pub fn bytes(columns: &[Column]) -> Result<Vec<u8>> {
    let fields = columns.iter().map(|(name, _)| {
        let field =
            Type::primitive_type_builder(name, Physical::DOUBLE).with_repetition(Repetition::OPTIONAL);
        Ok(Arc::new(field.build()?))
    });
    let schema = Type::group_type_builder("table").with_fields(fields.collect::<Result<_>>()?).build()?;
    let mut file = Vec::new();
    let mut writer = SerializedFileWriter::new(
        &mut file,
        Arc::new(schema),
        Arc::new(WriterProperties::builder().build()),
    )?;
    let mut group = writer.next_row_group()?;
    for (_, numbers) in columns {
        let Some(mut column) = group.next_column()? else { break };
        let levels: Vec<i16> = numbers.iter().map(|number| i16::from(!number.is_nan())).collect();
        let known: Vec<f64> = numbers.iter().copied().filter(|number| !number.is_nan()).collect();
        column.typed::<DoubleType>().write_batch(&known, Some(&levels), None)?;
        column.close()?;
    }
    group.close()?;
    writer.close()?;
    Ok(file)
}

#[cfg(test)]
mod tests {
    use super::*;
    use parquet::file::reader::{FileReader, SerializedFileReader};
    use parquet::record::Field;

    #[test]
    fn what_is_written_is_read_back_with_its_gaps() {
        let columns = [
            ("craft.mass_kg".to_owned(), vec![1.0, 1.5, 2.0]),
            ("roll error (deg)".to_owned(), vec![0.25, f64::NAN, -3.0]),
        ];
        let folder = std::env::temp_dir().join(format!("aplomb-parquet-{}", std::process::id()));
        std::fs::write(&folder, bytes(&columns).unwrap()).unwrap();
        let reader = SerializedFileReader::new(std::fs::File::open(&folder).unwrap()).unwrap();
        let rows: Vec<_> = reader.get_row_iter(None).unwrap().map(Result::unwrap).collect();
        std::fs::remove_file(&folder).unwrap();
        assert_eq!(rows.len(), 3);
        for (i, row) in rows.iter().enumerate() {
            for ((name, numbers), (read, field)) in columns.iter().zip(row.get_column_iter()) {
                assert_eq!(name, read);
                let number = if let Field::Double(number) = field { *number } else { f64::NAN };
                assert!(number == numbers[i] || (number.is_nan() && numbers[i].is_nan()), "{name} {i}");
            }
        }
    }
}
