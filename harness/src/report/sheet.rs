//! Parts shared by all pages: style, terms, cautions, how to reproduce the figures.

use super::Repeat;
use super::xml::escape;
use std::fmt::Write as _;

const STYLE: &str = include_str!("style.css");

/// Fills shared by all pictures.
const FILLS: &str = "<svg class=\"fills\" width=\"0\" height=\"0\" aria-hidden=\"true\"><defs>\
<pattern id=\"fill-ground\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\"><circle class=\"fleck\" cx=\"1.5\" cy=\"1.5\" r=\".8\"/></pattern>\
<pattern id=\"fill-tilted\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\" patternTransform=\"rotate(45)\"><path class=\"hatch\" d=\"M0 0v5\"/></pattern>\
<pattern id=\"fill-crosshatch\" width=\"5\" height=\"5\" patternUnits=\"userSpaceOnUse\"><path class=\"hatch\" d=\"M0 0v5M0 0h5\"/></pattern>\
</defs></svg>";

const CAUTIONS: [&str; 4] = [
    EVIDENCE,
    "On the bench: propellers off. First hover: tethered or behind a net, people at a distance, a second person ready to stop the motors.",
    "Lithium batteries can burn: charge them under supervision, store them at partial charge, never use a swollen or dented one.",
    "Follow the local aviation rules, and practise at an approved site first.",
];

/// Status of simulation results.
pub const EVIDENCE: &str = "Simulation results are evidence, not a clearance to fly.";

/// Begins a page.
pub fn open(page: &mut String, title: &str) {
    let title = escape(title);
    let _ = write!(
        page,
        "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"/>\
         <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\
         <meta name=\"color-scheme\" content=\"light dark\"/><title>{title}</title>\n<style>{STYLE}</style></head>\n\
         <body>{FILLS}<main>\n"
    );
}

/// Ends a page.
pub fn close(page: &mut String) {
    page.push_str("</main></body></html>\n");
}

/// Terms of the page.
pub fn terms(page: &mut String, terms: &[(&str, &str)]) {
    page.push_str("<section id=\"terms\"><h2>Terms</h2><dl>");
    for (term, meaning) in terms {
        let _ = write!(page, "<div><dt>{}</dt><dd>{}</dd></div>", escape(term), escape(meaning));
    }
    page.push_str("</dl></section>\n");
}

/// Cautions.
pub fn cautions(page: &mut String) {
    page.push_str("<section id=\"cautions\"><h2>Cautions</h2><ul>");
    for caution in CAUTIONS {
        let _ = write!(page, "<li>{caution}</li>");
    }
    page.push_str("</ul></section>\n");
}

/// How to reproduce the figures.
pub fn repeat(page: &mut String, repeat: &Repeat) {
    let _ = write!(
        page,
        "<section id=\"repeat\"><h2>How to reproduce it</h2><pre><code>{}</code></pre><dl class=\"versions\">\
         <div><dt>seeds</dt><dd>{}</dd></div>",
        escape(&repeat.command),
        escape(&repeat.seeds)
    );
    for (name, version) in &repeat.versions {
        let _ = write!(page, "<div><dt>{}</dt><dd>{}</dd></div>", escape(name), escape(version));
    }
    page.push_str(
        "</dl><p>The same versions, files and seeds give the same figures, bit for bit.</p></section>\n",
    );
}
