//! Frame of all pages: head, contents, collapsible sections, data files, terms, cautions, how to reproduce
//! the figures.

use super::Repeat;
use super::fill::PATTERNS;
use super::xml::{escape, href};
use std::fmt::Write as _;

pub(super) const STYLE: &str = include_str!("style.css");
/// Values under the pointer and zoom. The page is complete without it.
const SCRIPT: [&str; 5] = [
    include_str!("script/read.js"),
    include_str!("script/area.js"),
    include_str!("script/pointer.js"),
    include_str!("script/craft.js"),
    include_str!("script/input.js"),
];

const CAUTIONS: [&str; 4] = [
    EVIDENCE,
    "On the bench: propellers off. First hover: tethered or behind a net, people at a distance, a second person ready to stop the motors.",
    "Lithium batteries can burn: charge them under supervision, store them at partial charge, never use a swollen or dented one.",
    "Follow the local aviation rules, and practise at an approved site first.",
];

/// Status of simulation results.
pub const EVIDENCE: &str = "Simulation results are evidence, not a clearance to fly.";

/// Terms with their meaning.
pub type Terms = [(&'static str, &'static str)];

/// A page being composed. Texts are escaped, bodies are HTML.
#[derive(Debug)]
pub struct Sheet {
    title: String,
    head: String,
    sections: Vec<Section>,
    data: Vec<String>,
}

/// A section with an entry in the contents.
#[derive(Debug)]
pub struct Section {
    id: String,
    title: String,
    class: &'static str,
    /// CSS class and words of its verdict.
    verdict: Option<(&'static str, String)>,
    /// Whether it is open, if it is collapsible.
    is_open: Option<bool>,
    body: String,
}

impl Section {
    /// A section that is always open; `id` is unique on the page.
    pub fn new(id: impl Into<String>, title: &str, body: String) -> Self {
        Self { id: id.into(), title: title.to_owned(), class: "", verdict: None, is_open: None, body }
    }

    /// With a CSS class.
    pub fn class(self, class: &'static str) -> Self {
        Self { class, ..self }
    }

    /// With a verdict in the contents and below the heading.
    pub fn verdict(self, class: &'static str, words: impl Into<String>) -> Self {
        Self { verdict: Some((class, words.into())), ..self }
    }

    /// Collapsible; initially open without a verdict or with a fail.
    pub fn collapsible(self) -> Self {
        let is_open = self.verdict.as_ref().is_none_or(|(class, _)| *class == "fail");
        Self { is_open: Some(is_open), ..self }
    }
}

impl Sheet {
    /// A page about `subject`. `data` are the files beside it with the figures.
    pub fn new(title: &str, subject: &str, data: &[&str]) -> Self {
        let head = if subject.is_empty() {
            format!("<h1>{}</h1>", escape(title))
        } else {
            format!("<p class=\"craft\">{}</p><h1>{}</h1>", escape(subject), escape(title))
        };
        let data = data.iter().map(|&file| file.to_owned()).collect();
        Self { title: title.to_owned(), head, sections: Vec::new(), data }
    }

    /// Adds the verdict of the page.
    pub fn verdict(&mut self, class: &str, words: &str) {
        let _ = write!(self.head, "<p class=\"verdict {class}\">{}.</p>", escape(words));
    }

    /// Adds HTML to the head.
    pub fn head(&mut self, html: &str) {
        self.head.push_str(html);
    }

    /// Adds a file to the data.
    pub fn data(&mut self, file: String) {
        self.data.push(file);
    }

    /// Adds a section.
    pub fn section(&mut self, section: Section) {
        self.sections.push(section);
    }

    /// The whole page.
    pub fn finish(mut self, terms: &Terms, repeat: &Repeat) -> String {
        // A page with one collapsible section shows it.
        if self.sections.iter().filter(|section| section.is_open.is_some()).count() == 1 {
            self.sections.iter_mut().for_each(|section| section.is_open = section.is_open.map(|_| true));
        }
        self.section(Section::new("terms", "Terms", terms_html(terms)));
        self.section(Section::new("cautions", "Cautions", cautions_html()));
        self.section(Section::new("repeat", "How to reproduce it", repeat_html(repeat)));
        let mut page = String::new();
        let _ = write!(
            page,
            "<!DOCTYPE html>\n<html lang=\"en\"><head><meta charset=\"utf-8\"/>\
             <meta name=\"viewport\" content=\"width=device-width, initial-scale=1\"/>\
             <meta name=\"color-scheme\" content=\"light dark\"/><title>{}</title>\n<style>{STYLE}</style></head>\n\
             <body>{PATTERNS}<main>\n<header>{}",
            escape(&self.title),
            self.head
        );
        let _ = write!(page, "<p class=\"soft\">{EVIDENCE}</p>{}", data_links("Data", &self.data));
        self.contents(&mut page);
        page.push_str("</header>\n");
        for section in &self.sections {
            section.write(&mut page);
        }
        page.push_str("</main>");
        if page.contains("<svg class=\"area\"") {
            let _ = write!(page, "\n<script>//<![CDATA[\n{}//]]></script>", script());
        }
        page.push_str("</body></html>\n");
        page
    }

    fn contents(&self, page: &mut String) {
        page.push_str("<nav aria-label=\"Contents\"><ol class=\"contents\">");
        for Section { id, title, verdict, .. } in &self.sections {
            let _ = write!(page, "<li><a href=\"#{id}\">{}</a>", escape(title));
            if let Some((class, words)) = verdict {
                let _ = write!(page, " <span class=\"{class}\">{}</span>", escape(words));
            }
            page.push_str("</li>");
        }
        page.push_str("</ol></nav>");
    }
}

impl Section {
    fn write(&self, page: &mut String) {
        let Self { id, title, verdict, is_open, body, .. } = self;
        let heading = format!("<h2>{}</h2>", escape(title));
        let class = match self.class {
            "" => String::new(),
            class => format!(" class=\"{class}\""),
        };
        let verdict = verdict.as_ref().map_or(String::new(), |(class, words)| {
            format!("<p class=\"verdict small {class}\">{}.</p>", escape(words))
        });
        let _ = match is_open {
            None => writeln!(page, "<section id=\"{id}\"{class}>{heading}{verdict}{body}</section>"),
            // The target of a link is inside the collapsible part, which a browser opens for it.
            Some(open) => writeln!(
                page,
                "<section{class}><details{}><summary>{heading}{verdict}</summary>\
                 <div id=\"{id}\" class=\"collapsible\">{body}</div></details></section>",
                if *open { " open=\"\"" } else { "" }
            ),
        };
    }
}

/// Links to files beside the page.
pub fn data_links(lead: &str, files: &[String]) -> String {
    let links: Vec<String> =
        files.iter().map(|file| format!("<a href=\"{}\">{}</a>", href(file), escape(file))).collect();
    if links.is_empty() {
        String::new()
    } else {
        format!("<p class=\"details\"><b>{lead}:</b> {}</p>", links.join(", "))
    }
}

/// The script without indentation and comments.
fn script() -> String {
    let lines = SCRIPT.iter().flat_map(|part| part.lines()).map(str::trim_start);
    let lines: String = lines.filter(|line| !line.starts_with("//")).flat_map(|line| [line, "\n"]).collect();
    format!("(() => {{\n\"use strict\";\n{lines}}})();\n")
}

fn terms_html(terms: &Terms) -> String {
    let mut html = "<dl>".to_owned();
    for (term, meaning) in terms {
        let _ = write!(html, "<div><dt>{}</dt><dd>{}</dd></div>", escape(term), escape(meaning));
    }
    html + "</dl>"
}

fn cautions_html() -> String {
    let items: String = CAUTIONS.iter().map(|caution| format!("<li>{caution}</li>")).collect();
    format!("<ul>{items}</ul>")
}

fn repeat_html(repeat: &Repeat) -> String {
    let mut html = format!(
        "<pre><code>{}</code></pre><dl class=\"versions\"><div><dt>seeds</dt><dd>{}</dd></div>",
        escape(&repeat.command),
        escape(&repeat.seeds)
    );
    for (name, version) in &repeat.versions {
        let _ = write!(html, "<div><dt>{}</dt><dd>{}</dd></div>", escape(name), escape(version));
    }
    html + "</dl><p>The same versions, files and seeds give the same figures, bit for bit.</p>"
}
