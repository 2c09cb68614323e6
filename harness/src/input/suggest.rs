//! The nearest valid word for an unknown one.

use super::renamed::new_name;

/// Unit suffixes of keys. Units that the files do not use are included, so that `mass_g` finds `mass_kg`.
const UNITS: [&str; 44] = [
    "kg", "g", "m", "mm", "cm", "in", "ft", "s", "ms", "us", "min", "deg", "rad", "rpm", "hz", "khz", "v",
    "mv", "ohm", "mohm", "a", "ma", "ah", "mah", "n", "nm", "m2", "m3", "s2", "k", "c", "w", "pa", "hpa",
    "ut", "kt", "km", "h", "percent", "share", "1", "per", "ug", "sqrthz",
];

/// Hint for an unknown word.
#[derive(Clone, Debug, PartialEq, Eq)]
pub struct Nearest<'a> {
    /// The probable valid word.
    pub word: Option<&'a str>,
    /// The hint: the probable word, or all valid words.
    pub help: String,
}

/// Finds the valid word that `found` probably stands for.
#[must_use]
pub fn nearest<'a>(found: &str, valid: &[&'a str]) -> Nearest<'a> {
    if let Some(word) = new_name(found, valid) {
        return Nearest { word: Some(word), help: format!("`{found}` is now `{word}`") };
    }
    let with_unit: Vec<&str> = valid.iter().copied().filter(|key| same_but_for_unit(found, key)).collect();
    if let Some(word) = best(found, &with_unit) {
        let help = format!("did you mean `{word}`? The key of a number carries its unit");
        return Nearest { word: Some(word), help };
    }
    let word = best(found, valid).filter(|word| close(found, word));
    let help = match word {
        Some(word) => format!("did you mean `{word}`?"),
        None => format!("valid here: {}", valid.join(", ")),
    };
    Nearest { word, help }
}

fn best<'a>(found: &str, valid: &[&'a str]) -> Option<&'a str> {
    valid.iter().copied().min_by_key(|key| strsim::osa_distance(&found.to_lowercase(), key))
}

fn close(found: &str, key: &str) -> bool {
    strsim::osa_distance(&found.to_lowercase(), key) <= 1 + found.chars().count() / 4
}

fn same_but_for_unit(found: &str, key: &str) -> bool {
    let found = found.to_lowercase();
    found != key && stem(key) == stem(&found) && stem(key) != key
}

/// The key without its unit suffixes; at least one part remains.
fn stem(key: &str) -> &str {
    let mut stem = key;
    while let Some((head, tail)) = stem.rsplit_once('_') {
        if !UNITS.contains(&tail) {
            break;
        }
        stem = head;
    }
    stem
}

#[cfg(test)]
mod tests {
    use super::*;

    const KEYS: [&str; 5] = ["mass_kg", "inertia_kg_m2", "wind_m_s", "name", "from_deg"];

    #[test]
    fn missing_or_other_unit_finds_the_key() {
        for (found, key) in [
            ("mass", "mass_kg"),
            ("mass_g", "mass_kg"),
            ("Wind_kt", "wind_m_s"),
            ("inertia", "inertia_kg_m2"),
        ] {
            let nearest = nearest(found, &KEYS);
            assert_eq!(nearest.word, Some(key));
            assert!(nearest.help.contains("carries its unit"), "{found}: {}", nearest.help);
        }
    }

    #[test]
    fn typing_error_finds_the_key() {
        assert_eq!(nearest("nmae", &KEYS).help, "did you mean `name`?");
        assert_eq!(nearest("form_deg", &KEYS).help, "did you mean `from_deg`?");
    }

    #[test]
    fn unknown_word_lists_the_valid_ones() {
        let nearest = nearest("colour", &KEYS);
        assert_eq!(nearest.help, "valid here: mass_kg, inertia_kg_m2, wind_m_s, name, from_deg");
        assert_eq!(nearest.word, None);
    }
}
