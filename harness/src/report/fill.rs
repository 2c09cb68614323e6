//! Fills of areas: tints and hatches with one meaning each, their patterns and their key.

use super::xml::escape;
use std::fmt::Write as _;

/// Fill of an area. Each has its own CSS class and one meaning on all pages.
#[derive(Clone, Copy, Debug, PartialEq, Eq)]
pub enum Fill {
    /// Range of a figure in which its check passes.
    Allowed,
    /// Region in which a limit is violated.
    Forbidden,
    /// Differences too small to be relevant.
    Negligible,
    /// The landing gear touches the ground.
    OnGround,
    /// The demanded tilt is limited.
    AtTiltLimit,
    /// The position cannot be held.
    CannotHoldPosition,
    /// Interval of a recording that is not evaluated.
    NotEvaluated,
    /// Unstable or refused point of a sweep.
    Unstable,
    /// Margin ratio from 1 to 1.15.
    Ratio1,
    /// Margin ratio from 1.15 to 1.3.
    Ratio2,
    /// Margin ratio from 1.3 on.
    Ratio3,
}

/// Patterns of the hatched fills, shared by all pictures of a page.
pub const PATTERNS: &str = "<svg class=\"fills\" width=\"0\" height=\"0\" aria-hidden=\"true\"><defs>\
<pattern id=\"fill-ground\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\"><circle class=\"fleck\" cx=\"1.5\" cy=\"1.5\" r=\".8\"/></pattern>\
<pattern id=\"fill-tilted\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><path class=\"hatch\" d=\"M0 0v5\"/></pattern>\
<pattern id=\"fill-drift\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\"><path class=\"hatch\" d=\"M0 0v5M0 0h5\"/></pattern>\
<pattern id=\"fill-excluded\" width=\"6\" height=\"6\" patternUnits=\"userSpaceOnUse\"><path class=\"hatch\" d=\"M0 0h6\"/></pattern>\
<pattern id=\"fill-unstable\" width=\"7\" height=\"7\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><path class=\"hatch strong\" d=\"M0 0v7M0 0h7\"/></pattern>\
</defs></svg>";

impl Fill {
    /// All fills.
    #[cfg(test)]
    pub const ALL: [Fill; 11] = [
        Fill::Allowed,
        Fill::Forbidden,
        Fill::Negligible,
        Fill::OnGround,
        Fill::AtTiltLimit,
        Fill::CannotHoldPosition,
        Fill::NotEvaluated,
        Fill::Unstable,
        Fill::Ratio1,
        Fill::Ratio2,
        Fill::Ratio3,
    ];

    /// Its CSS class.
    pub const fn class(self) -> &'static str {
        match self {
            Fill::Allowed => "allowed",
            Fill::Forbidden => "forbidden",
            Fill::Negligible => "negligible",
            Fill::OnGround => "ground",
            Fill::AtTiltLimit => "tilted",
            Fill::CannotHoldPosition => "drift",
            Fill::NotEvaluated => "excluded",
            Fill::Unstable => "unstable",
            Fill::Ratio1 => "ratio1",
            Fill::Ratio2 => "ratio2",
            Fill::Ratio3 => "ratio3",
        }
    }

    /// Its meaning.
    pub const fn meaning(self) -> &'static str {
        match self {
            Fill::Allowed => "allowed",
            Fill::Forbidden => "a limit is violated",
            Fill::Negligible => "not a relevant difference",
            Fill::OnGround => "on the ground",
            Fill::AtTiltLimit => "at the tilt limit",
            Fill::CannotHoldPosition => "cannot hold position",
            Fill::NotEvaluated => "not evaluated",
            Fill::Unstable => "not stable, or refused",
            Fill::Ratio1 => "margin ratio 1 to 1.15",
            Fill::Ratio2 => "margin ratio 1.15 to 1.3",
            Fill::Ratio3 => "margin ratio 1.3 or more",
        }
    }

    /// A sample of it with its meaning.
    fn sample(self, note: &str) -> String {
        let mut text = String::new();
        let _ = write!(
            text,
            " <span><svg viewBox=\"0 0 26 14\" width=\"26\" height=\"14\" aria-hidden=\"true\">\
             <rect class=\"{}\" width=\"26\" height=\"14\"/></svg> {}{}</span>",
            self.class(),
            self.meaning(),
            escape(note)
        );
        text
    }
}

/// The key of the fills, each with a note after its meaning.
pub fn key(lead: &str, fills: impl IntoIterator<Item = (Fill, String)>) -> String {
    let samples: String = fills.into_iter().map(|(fill, note)| fill.sample(&note)).collect();
    if samples.is_empty() { samples } else { format!("<p class=\"key\">{lead}{samples}</p>") }
}

#[cfg(test)]
mod tests {
    use super::*;
    use std::collections::BTreeMap;

    /// Declarations of the rule of a fill in the style sheet.
    fn declarations(class: &str) -> &'static str {
        let selector = format!("\nsvg .{class}{{");
        let rules: Vec<_> = crate::report::sheet::STYLE.match_indices(&selector).collect();
        assert_eq!(rules.len(), 1, "one rule for {class}");
        let start = rules[0].0 + selector.len();
        crate::report::sheet::STYLE[start..].split('}').next().unwrap()
    }

    #[test]
    fn each_fill_has_its_own_class_meaning_and_look() {
        let mut seen = BTreeMap::new();
        for fill in Fill::ALL {
            for what in
                [("class", fill.class()), ("meaning", fill.meaning()), ("look", declarations(fill.class()))]
            {
                assert_eq!(seen.insert(what, fill), None, "{fill:?}: {what:?}");
            }
        }
    }

    #[test]
    fn each_pattern_belongs_to_one_fill_and_has_its_own_drawing() {
        let options = roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() };
        let document = roxmltree::Document::parse_with_options(PATTERNS, options).unwrap();
        let mut drawings = BTreeMap::new();
        for pattern in document.descendants().filter(|node| node.has_tag_name("pattern")) {
            let id = pattern.attribute("id").unwrap();
            let users =
                Fill::ALL.iter().filter(|fill| declarations(fill.class()).contains(&format!("#{id})")));
            assert_eq!(users.count(), 1, "{id}");
            let drawing = PATTERNS[pattern.range()].replace(id, "");
            assert_eq!(drawings.insert(drawing, id), None, "{id}");
        }
        assert_eq!(drawings.len(), 5);
    }
}
