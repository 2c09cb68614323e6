//! `aplomb schema`: JSON Schemas of all input and output files.

use clap::ValueEnum;
use schemars::generate::SchemaSettings;
use schemars::transform::RecursiveTransform;
use schemars::{JsonSchema, Schema};
use serde_json::Value;

use super::{Failure, print_alone};
use crate::input::DispersionsFile;
use crate::input::RequirementsFile;
use crate::input::{ControllerFile, CraftFile, FlightFile};
use aplomb_study::compare::Comparison;
use aplomb_study::disperse::results::Results;
use aplomb_study::verify::{Baseline, json::Verification};

/// A kind of file.
#[derive(Clone, Copy, Debug, PartialEq, Eq, ValueEnum)]
pub(super) enum Kind {
    /// craft.toml: the truth that is simulated
    Craft,
    /// controller.toml: the controller's model and settings
    Controller,
    /// A flight file
    Flight,
    /// requirements.toml: requirements added, tightened and waived
    Requirements,
    /// dispersions.toml: dispersions of parameters
    Dispersions,
    /// baseline.json: the accepted figures
    Baseline,
    /// verify.json: results of `aplomb verify`
    Verify,
    /// dispersion.json: results of `aplomb disperse`
    Dispersion,
    /// comparison.json: results of `aplomb compare`
    Comparison,
}

pub(super) const EXAMPLES: &str = "\
Examples:
  aplomb schema craft > craft.schema.json     for an editor that completes and checks TOML
  aplomb schema verify                        for a program that reads the results

Reference of the keys: FILES.md of a folder made by `aplomb new`.";

/// Prints the JSON Schema of a kind of file.
pub(super) fn run(kind: Kind) -> Result<u8, Failure> {
    let text = serde_json::to_string_pretty(&schema(kind));
    print_alone(&(text.map_err(|error| Failure::Unfinished(error.to_string()))? + "\n"))
}

fn schema(kind: Kind) -> Schema {
    match kind {
        Kind::Craft => read::<CraftFile>(),
        Kind::Controller => read::<ControllerFile>(),
        Kind::Flight => read::<FlightFile>(),
        Kind::Requirements => read::<RequirementsFile>(),
        Kind::Dispersions => read::<DispersionsFile>(),
        Kind::Baseline => schemars::schema_for!(Baseline),
        Kind::Verify => schemars::schema_for!(Verification),
        Kind::Dispersion => schemars::schema_for!(Results),
        Kind::Comparison => schemars::schema_for!(Comparison),
    }
}

/// Schema of an input file: unknown keys are refused, an absent list is empty.
fn read<File: JsonSchema>() -> Schema {
    let as_read = RecursiveTransform(as_read);
    SchemaSettings::draft2020_12().with_transform(as_read).into_generator().into_root_schema_for::<File>()
}

fn as_read(schema: &mut Schema) {
    let Some(properties) = schema.get("properties").and_then(Value::as_object) else { return };
    let is_list = |key: &Value| {
        let property = key.as_str().and_then(|key| properties.get(key));
        property.is_some_and(|property| property["type"] == "array" && property.get("minItems").is_none())
    };
    let required = schema.get("required").and_then(Value::as_array).into_iter().flatten();
    let required: Vec<Value> = required.filter(|key| !is_list(key)).cloned().collect();
    schema.insert("required".to_owned(), required.into());
    schema.insert("additionalProperties".to_owned(), false.into());
}

#[cfg(test)]
mod tests {
    use super::*;
    use crate::input::demo;

    fn of(kind: Kind) -> Value {
        serde_json::to_value(schema(kind)).unwrap()
    }

    /// The first mismatch of `value` with `schema`, for the keywords that our schemas use.
    fn misfit(root: &Value, schema: &Value, value: &toml::Value, at: &str) -> Option<String> {
        let schema = match schema["$ref"].as_str() {
            Some(name) => &root["$defs"][name.rsplit('/').next()?],
            None => schema,
        };
        for choices in [&schema["anyOf"], &schema["oneOf"]].into_iter().filter_map(Value::as_array) {
            if choices.iter().all(|choice| misfit(root, choice, value, at).is_some()) {
                return Some(format!("{at}: none of the choices"));
            }
        }
        let words =
            schema["enum"].as_array().map(|words| words.iter().any(|word| word.as_str() == value.as_str()));
        if words == Some(false)
            || (schema.get("const").is_some() && schema["const"].as_str() != value.as_str())
        {
            return Some(format!("{at}: no such word"));
        }
        let is = |name: &Value| match name.as_str() {
            Some("number") => value.is_float() || value.is_integer(),
            Some("integer") => value.is_integer(),
            Some("string") => value.is_str(),
            Some("boolean") => value.is_bool(),
            Some("array") => value.is_array(),
            Some("object") => value.is_table(),
            _ => false,
        };
        let types = match &schema["type"] {
            Value::Array(several) => several.iter().any(is),
            Value::Null => true,
            one => is(one),
        };
        if !types {
            return Some(format!("{at}: not {}", schema["type"]));
        }
        if let Some(list) = value.as_array().filter(|_| schema.get("items").is_some()) {
            return list.iter().find_map(|item| misfit(root, &schema["items"], item, at));
        }
        let (Some(table), Some(properties)) = (value.as_table(), schema["properties"].as_object()) else {
            return None;
        };
        let missing = schema["required"].as_array().into_iter().flatten().filter_map(Value::as_str);
        let missing =
            missing.filter(|key| !table.contains_key(*key)).map(|key| format!("{at}: lacks {key}")).next();
        missing.or_else(|| {
            table.iter().find_map(|(key, value)| match properties.get(key) {
                Some(property) => misfit(root, property, value, &format!("{at}.{key}")),
                None => Some(format!("{at}: has no {key}")),
            })
        })
    }

    fn fits(kind: Kind, text: &str) -> Option<String> {
        let root = of(kind);
        misfit(&root, &root, &toml::from_str(text).unwrap(), "")
    }

    #[test]
    fn every_file_of_the_demo_has_the_form_of_its_schema() {
        let own = [
            (Kind::Craft, demo::CRAFT),
            (Kind::Controller, demo::CONTROLLER),
            (Kind::Requirements, demo::REQUIREMENTS),
        ];
        let flights = demo::FLIGHTS.iter().map(|file| (Kind::Flight, *file));
        for (kind, file) in own.into_iter().chain(flights) {
            assert_eq!(fits(kind, file.text), None, "{}", file.path);
        }
    }

    #[test]
    fn schema_refuses_what_the_reader_refuses() {
        let craft = demo::CRAFT.text;
        for (before, after) in [
            ("mass_kg", "mass_g"),
            ("\"clockwise\"", "\"left\""),
            ("resistance_ohm = ", "resistance_ohm = \"low\" #"),
        ] {
            let altered = craft.replacen(before, after, 1);
            assert_ne!(altered, craft);
            assert!(crate::input::craft("craft.toml", &altered).is_err(), "{before}");
            assert!(fits(Kind::Craft, &altered).is_some(), "{before}");
        }
    }
}
