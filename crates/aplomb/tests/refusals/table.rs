//! Table of fields: name, setter and valid range.

use aplomb::error::{ConfigError, Problem};

/// Valid range of a field, besides ordinary positive numbers.
#[derive(Clone, Copy)]
pub enum Range {
    /// Only numbers above 0.
    Positive,
    /// Numbers from 0.
    FromZero,
    /// Any number.
    Any,
    /// Numbers within a range.
    Within(f32, f32),
}
pub use Range::{Any, FromZero, Positive, Within};

impl Range {
    /// Values that must be refused, and why. The limits of a range themselves are valid.
    fn bad(self) -> Vec<(f32, Option<Problem>)> {
        use Problem::{Negative, NotFinite, NotPositive};
        let not_finite = [f32::NAN, f32::INFINITY, f32::NEG_INFINITY].map(|x| (x, Some(NotFinite)));
        let more: &[(f32, Option<Problem>)] = match self {
            Positive => &[(0.0, Some(NotPositive)), (-1.0, Some(NotPositive))],
            FromZero => &[(-1e-6, Some(Negative)), (-1.0, Some(Negative))],
            Any => &[],
            // Below its range a field may be refused as not positive, too.
            Within(low, high) => &[(low - 1e-3, None), (high + 1e-3, None)],
        };
        not_finite.iter().chain(more).copied().collect()
    }

    fn good(self) -> Vec<f32> {
        match self {
            Positive => vec![],
            FromZero | Any => vec![0.0],
            Within(low, high) => vec![low, high],
        }
    }
}

/// Path, setter and valid range of a field.
pub type Field<C> = (&'static str, fn(&mut C, f32), Range);

fn path(error: ConfigError) -> String {
    let parts = error.parts.iter().flatten();
    parts.map(|part| format!("{part}.")).chain([error.field.to_owned()]).collect()
}

/// `build` accepts `good` and refuses each bad value with the field's name.
pub fn refused<C: Copy>(good: C, fields: &[Field<C>], build: impl Fn(&C) -> Result<(), ConfigError>) {
    assert_eq!(build(&good), Ok(()));
    for (name, set, range) in fields {
        let with = |x| {
            let mut config = good;
            set(&mut config, x);
            build(&config)
        };
        for (x, problem) in range.bad() {
            let error = with(x).expect_err(&format!("{name} = {x} is taken"));
            assert_eq!(path(error), *name, "{name} = {x}");
            assert!(problem.is_none_or(|problem| problem == error.problem), "{name} = {x}: {error}");
        }
        for x in range.good() {
            assert_eq!(with(x), Ok(()), "{name} = {x}");
        }
    }
}
