//! Escaping of text for HTML and SVG.

/// Escapes text for element content and for attribute values in double quotes. Control characters that XML
/// forbids become the replacement character.
pub fn escape(text: &str) -> String {
    let mut safe = String::with_capacity(text.len());
    for character in text.chars() {
        match character {
            '&' => safe.push_str("&amp;"),
            '<' => safe.push_str("&lt;"),
            '>' => safe.push_str("&gt;"),
            '"' => safe.push_str("&quot;"),
            '\'' => safe.push_str("&#39;"),
            '\t' | '\n' | '\r' => safe.push(' '),
            '\u{FFFE}' | '\u{FFFF}' => safe.push('\u{FFFD}'),
            _ if character.is_control() => safe.push('\u{FFFD}'),
            _ => safe.push(character),
        }
    }
    safe
}

/// Name for an anchor: ASCII letters and digits kept, anything else a hyphen.
pub fn anchor(text: &str) -> String {
    text.chars().map(|c| if c.is_ascii_alphanumeric() { c.to_ascii_lowercase() } else { '-' }).collect()
}

/// A relative link to a file name, escaped as a path segment (RFC 3986, unreserved characters kept).
pub fn href(file: &str) -> String {
    let mut link = String::with_capacity(file.len());
    for byte in file.bytes() {
        if byte.is_ascii_alphanumeric() || matches!(byte, b'-' | b'.' | b'_' | b'~') {
            link.push(char::from(byte));
        } else {
            link.push_str(&format!("%{byte:02X}"));
        }
    }
    link
}

#[cfg(test)]
mod tests {
    use super::*;

    #[test]
    fn markup_in_text_is_escaped() {
        assert_eq!(escape(r#"<b a="1">R&D's</b>"#), "&lt;b a=&quot;1&quot;&gt;R&amp;D&#39;s&lt;/b&gt;");
    }

    #[test]
    fn forbidden_characters_are_replaced() {
        assert_eq!(escape("a\u{0}b\u{1b}c\u{FFFF}\nd"), "a\u{FFFD}b\u{FFFD}c\u{FFFD} d");
    }

    #[test]
    fn anchor_holds_plain_characters_only() {
        assert_eq!(anchor("Hold in \"wind\"/ü"), "hold-in--wind---");
    }

    #[test]
    fn link_to_a_file_is_one_path_segment() {
        assert_eq!(href("hold 2.csv"), "hold%202.csv");
        assert_eq!(href("a/b#ü?.csv"), "a%2Fb%23%C3%BC%3F.csv");
    }
}
