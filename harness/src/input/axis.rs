//! Axes of a sweep: values of the files and their ranges.

use aplomb::flight::Config;
use aplomb_study::craft::Craft;
use aplomb_study::disperse::dispersion::share;
use toml::{Table, Value};

use super::InputError;

/// A value of one of the files with its range.
#[derive(Clone, Debug, PartialEq)]
pub struct Axis {
    /// Its file.
    pub file: Which,
    /// Its path in the file, such as `override.rate_roll.crossover_rad_s` or `inertia_kg_m2[0]`.
    pub path: String,
    /// Lowest value.
    pub low: f64,
    /// Highest value.
    pub high: f64,
    /// Number of values on a grid.
    pub count: usize,
}

/// One of the two files.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Which {
    /// The craft file.
    Craft,
    /// The controller file.
    Controller,
}

/// Default number of values on a grid.
const COUNT: usize = 20;

impl std::str::FromStr for Axis {
    type Err = String;

    /// `craft.PATH=LOW..HIGH`, `controller.PATH=LOW..HIGH`, with the suffix `xCOUNT` for other than 20
    /// values.
    fn from_str(text: &str) -> Result<Self, String> {
        let form =
            || format!("`{text}` is not of the form craft.PATH=LOW..HIGH or controller.PATH=LOW..HIGHxCOUNT");
        let (name, range) = text.split_once('=').ok_or_else(form)?;
        let (file, path) = name.split_once('.').ok_or_else(form)?;
        let file = match file {
            "craft" => Which::Craft,
            "controller" => Which::Controller,
            _ => return Err(form()),
        };
        let (range, count) = match range.split_once('x') {
            Some((range, count)) => (range, count.parse().map_err(|_| form())?),
            None => (range, COUNT),
        };
        let (low, high) = range.split_once("..").ok_or_else(form)?;
        let number = |text: &str| text.parse::<f64>().ok().filter(|x| x.is_finite()).ok_or_else(form);
        let (low, high) = (number(low)?, number(high)?);
        if low >= high {
            return Err(format!("`{text}`: the range must rise"));
        }
        if !(2..=1000).contains(&count) {
            return Err(format!("`{text}`: a grid has 2 to 1000 values on an axis"));
        }
        Ok(Self { file, path: path.to_owned(), low, high, count })
    }
}

impl Axis {
    /// Its full name.
    #[must_use]
    pub fn name(&self) -> String {
        let file = match self.file {
            Which::Craft => "craft",
            Which::Controller => "controller",
        };
        format!("{file}.{}", self.path)
    }

    /// The value at a share 0 to 1 of the range.
    #[must_use]
    pub fn at(&self, share: f64) -> f64 {
        self.low + share * (self.high - self.low)
    }
}

/// The number at a path of a file; `None` where there is none.
#[must_use]
pub fn value_at(file: &Table, path: &str) -> Option<f64> {
    let mut parts = path.split('.').flat_map(steps);
    let first = parts.next()?;
    let start = file.get(first.key()?)?;
    let found = parts.try_fold(start, |value, step| match step {
        Step::Key(key) => value.get(key),
        Step::Index(index) => value.get(index),
    })?;
    found.as_float().or_else(|| found.as_integer().map(|whole| whole as f64))
}

/// Sets the number at a path of a file. Missing tables are created.
///
/// # Errors
/// A path that ends at something else than a number or table.
pub fn set(file: &mut Table, path: &str, number: f64) -> Result<(), String> {
    let lost = |at: &str| format!("`{path}` is no path of a number: it ends at `{at}`");
    let all: Vec<Step<'_>> = path.split('.').flat_map(steps).collect();
    let [Step::Key(first), rest @ ..] = all.as_slice() else { return Err(lost(path)) };
    let empty = || Value::Table(Table::new());
    let mut node = file.entry((*first).to_owned()).or_insert_with(empty);
    for step in rest {
        node = match step {
            Step::Key(key) => {
                node.as_table_mut().ok_or_else(|| lost(key))?.entry((*key).to_owned()).or_insert_with(empty)
            }
            Step::Index(i) => node.get_mut(*i).ok_or_else(|| lost(&format!("[{i}]")))?,
        };
    }
    match node {
        Value::Table(table) if !table.is_empty() => Err(lost(path)),
        Value::Array(_) => Err(format!("`{path}` is a list: append [0], [1] ... to select an element")),
        _ => {
            *node = Value::Float(number);
            Ok(())
        }
    }
}

/// One step along a path.
#[derive(Clone, Copy)]
enum Step<'a> {
    Key(&'a str),
    Index(usize),
}

impl<'a> Step<'a> {
    fn key(self) -> Option<&'a str> {
        match self {
            Self::Key(key) => Some(key),
            Self::Index(_) => None,
        }
    }
}

/// Parses `key` or `key[index]`.
fn steps(part: &str) -> impl Iterator<Item = Step<'_>> {
    let (key, index) = match part.strip_suffix(']').and_then(|part| part.split_once('[')) {
        Some((key, index)) => (key, index.parse().ok()),
        None => (part, None),
    };
    std::iter::once(Step::Key(key)).chain(index.map(Step::Index))
}

/// The two files with the swept values.
#[derive(Clone, Debug)]
pub struct Files {
    /// The craft file.
    pub craft: Table,
    /// The controller file.
    pub controller: Table,
}

impl Files {
    /// Craft and controller with the values of the axes.
    ///
    /// # Errors
    /// An unknown path, with the nearest valid one, or an invalid value.
    pub fn with(&self, axes: &[Axis], values: &[f64]) -> Result<(Craft, Config), String> {
        let mut files = self.clone();
        for (axis, &value) in axes.iter().zip(values) {
            let file = match axis.file {
                Which::Craft => &mut files.craft,
                Which::Controller => &mut files.controller,
            };
            set(file, &axis.path, value)?;
        }
        let text = |file: &Table| toml::to_string(file).map_err(|error| error.to_string());
        let refusal = |error: InputError| {
            let problem = error.problems.first();
            let help = problem.and_then(|problem| problem.help.clone());
            let reason = problem.map_or_else(|| error.to_string(), |problem| problem.reason.clone());
            help.map_or(reason.clone(), |help| format!("{reason}: {help}"))
        };
        let craft = super::craft("craft", &text(&files.craft)?).map_err(refusal)?;
        let controller = super::controller("controller", &text(&files.controller)?).map_err(refusal)?;
        Ok((craft, controller))
    }
}

/// Every point of the grid, the last axis fastest.
#[must_use]
pub fn grid(axes: &[Axis]) -> Vec<Vec<f64>> {
    axes.iter().fold(vec![Vec::new()], |points, axis| {
        let values = (0..axis.count).map(|i| axis.at(i as f64 / (axis.count - 1) as f64));
        let values: Vec<f64> = values.collect();
        let extended = points.iter().flat_map(|point| {
            values.iter().map(move |&value| point.iter().copied().chain([value]).collect())
        });
        extended.collect()
    })
}

/// `count` points drawn at random, uniformly from the ranges of the axes.
#[must_use]
pub fn random(axes: &[Axis], count: usize, seed: u64) -> Vec<Vec<f64>> {
    let point = |run: u64| {
        let axes = axes.iter().zip(0..);
        axes.map(|(axis, index)| axis.at(share(seed, run, index))).collect()
    };
    (0..count as u64).map(point).collect()
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn numbers_are_read_and_set_at_their_path() {
        let mut file: Table = "mass_kg = 1\ninertia = [1.0, 2.0]\n[motor]\ndelay_s = 0.03\n".parse().unwrap();
        assert_eq!(value_at(&file, "mass_kg"), Some(1.0));
        assert_eq!(value_at(&file, "inertia[1]"), Some(2.0));
        for (path, value) in [("motor.delay_s", 0.05), ("inertia[1]", 7.0), ("override.rate.cutoff", 3.0)] {
            set(&mut file, path, value).unwrap();
            assert_eq!(value_at(&file, path), Some(value));
        }
        for path in ["inertia", "motor", "mass_kg.x", "inertia[5]"] {
            assert!(set(&mut file, path, 1.0).is_err(), "{path}");
        }
    }

    #[test]
    fn axes_are_read_and_bad_ones_refused() {
        let axis: Axis = "controller.override.rate_roll.crossover_rad_s=20..50x30".parse().unwrap();
        assert_eq!((axis.file, axis.count, axis.at(0.5)), (Which::Controller, 30, 35.0));
        for bad in
            ["mass_kg=1..2", "craft.mass_kg", "craft.mass_kg=2..1", "craft.mass_kg=1..nan", "craft.m=1..2x1"]
        {
            assert!(bad.parse::<Axis>().is_err(), "{bad}");
        }
    }
}
