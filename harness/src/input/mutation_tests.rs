//! Numbers of the demo's files, replaced one at a time: each is accepted, or refused at its key, at its table
//! or with its key in the message. An enormous number is refused with what is
//! possible.

use std::ops::Range;

use super::{InputError, demo};

/// Factors that the numbers are multiplied by.
const FACTORS: [f64; 6] = [0.0, -1.0, 1e-9, 1e-3, 1e3, 1e9];
const ENORMOUS: f64 = 1e30;

/// Ranges of the numbers after an equals sign, in lists and in inline tables.
fn numbers(text: &str) -> Vec<Range<usize>> {
    let mut found = Vec::new();
    let mut line_start = 0;
    for line in text.split_inclusive('\n') {
        let code = line.split('#').next().unwrap_or("");
        let mut from = code.find('=').map_or(code.len(), |equals| equals + 1);
        while from < code.len() {
            let is_part = |c: char| c.is_ascii_alphanumeric() || "+-._\"".contains(c);
            let rest = &code[from..];
            let length = rest.find(|c| !is_part(c)).unwrap_or(rest.len());
            if rest[..length].parse::<f64>().is_ok() {
                found.push(line_start + from..line_start + from + length);
            }
            from += length.max(1);
        }
        line_start += line.len();
    }
    found
}

/// Refusals of the altered files that do not help.
fn unhelpful(text: &str, read: &dyn Fn(&str) -> Result<(), InputError>) -> Vec<String> {
    let mut unhelpful = Vec::new();
    let mut refused = 0;
    for span in numbers(text) {
        let value: f64 = text[span.clone()].parse().unwrap();
        for altered in FACTORS.map(|factor| value * factor).into_iter().chain([ENORMOUS]) {
            let changed = format!("{}{altered:e}{}", &text[..span.start], &text[span.end..]);
            let Err(error) = read(&changed) else { continue };
            refused += 1;
            let line = changed[..span.start].matches('\n').count() + 1;
            let code = changed.lines().nth(line - 1).unwrap();
            let key = code.split([' ', '=']).next().unwrap();
            let first = &error.problems[0];
            let at = first.location.as_ref().map_or(0, |location| location.line);
            // Values that are possible alone and not together are refused at one of them, which names the
            // other, or at their table.
            let table =
                changed[..span.start].rfind("\n[").map_or(0, |i| changed[..i + 1].matches('\n').count() + 1);
            let names_it =
                first.reason.contains(key) || first.help.as_ref().is_some_and(|help| help.contains(key));
            let possible = ["must lie between", "expected a whole number", "in the wrong order with"];
            let is_vague = altered == ENORMOUS && !possible.iter().any(|words| first.reason.contains(words));
            if at != line && at != table && !names_it || is_vague {
                unhelpful.push(format!("{code}|{at}: {}", first.reason));
            }
        }
    }
    assert!(refused > 50, "{refused}");
    unhelpful
}

#[test]
fn altered_controller_is_refused_at_the_altered_number() {
    let read = |text: &str| super::controller("controller.toml", text).map(drop);
    let unhelpful = unhelpful(demo::CONTROLLER.text, &read);
    assert!(unhelpful.is_empty(), "{}: \n{}", unhelpful.len(), unhelpful.join("\n"));
}

#[test]
fn altered_craft_is_refused_at_the_altered_number() {
    let read = |text: &str| super::craft("craft.toml", text).map(drop);
    let unhelpful = unhelpful(demo::CRAFT.text, &read);
    assert!(unhelpful.is_empty(), "{}: \n{}", unhelpful.len(), unhelpful.join("\n"));
}
