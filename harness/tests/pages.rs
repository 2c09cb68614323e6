//! Pages of all commands as written: contents, links to sections and files, fills, words.

mod scratch;

use scratch::{Scratch, hover, text};
use std::collections::BTreeSet;
use std::path::Path;

/// Page of a command, run in a folder of its own with a craft, a controller and one short flight.
fn page_of(name: &str, arguments: &[&str], file: &str) -> String {
    let scratch = Scratch::new(&format!("page-{name}"));
    assert_eq!(scratch.aplomb(&["new", "mine"]).status.code(), Some(0));
    let flights = scratch.0.join("mine/flights");
    std::fs::remove_dir_all(&flights).unwrap();
    std::fs::create_dir(&flights).unwrap();
    scratch.write("mine/flights/hover.toml", &hover("5.0"));
    scratch.write("log.csv", &recording());
    let output = scratch.aplomb(arguments);
    assert!(matches!(output.status.code(), Some(0 | 1)), "{name}: {}", text(&output.stderr));
    let folder = scratch.results().into_iter().find(|path| path.is_dir()).unwrap();
    let html = std::fs::read_to_string(folder.join(file)).unwrap();
    check_links(name, &html, &folder);
    html
}

/// Two seconds of a stationary sensor.
fn recording() -> String {
    let rows = (0..400).map(|i| format!("{},0,0,0,0,0,-9.81,1,0,0,0\n", f64::from(i) * 0.005));
    let heads = "time_s,gyro_forward_rad_s,gyro_right_rad_s,gyro_down_rad_s,accel_forward_m_s2,accel_right_m_s2,\
                 accel_down_m_s2,reference_w,reference_x,reference_y,reference_z\n";
    heads.to_owned() + &rows.collect::<String>()
}

/// The contents list every section, every link resolves, and a CSV file is among the links.
fn check_links(name: &str, html: &str, folder: &Path) {
    let options = roxmltree::ParsingOptions { allow_dtd: true, ..Default::default() };
    let document = roxmltree::Document::parse_with_options(html, options).unwrap();
    let ids: BTreeSet<&str> = document.descendants().filter_map(|node| node.attribute("id")).collect();
    let links: Vec<&str> = document.descendants().filter_map(|node| node.attribute("href")).collect();
    let (sections, files): (Vec<&str>, Vec<&str>) = links.iter().partition(|link| link.starts_with('#'));
    assert!(sections.iter().all(|link| ids.contains(&link[1..])), "{name}: {sections:?}");
    let count = document.descendants().filter(|node| node.has_tag_name("section")).count();
    assert!(count >= 4 && sections.len() == count, "{name}: {count} sections, {sections:?}");
    assert!(files.iter().all(|file| folder.join(file).is_file()), "{name}: {files:?}");
    assert!(files.iter().any(|file| file.ends_with(".csv")), "{name}: {files:?}");
    assert!(html.matches("<script>").count() <= 1 && !html.contains("src="), "{name}");
}

#[test]
fn pages_of_one_craft_have_contents_and_link_their_data() {
    page_of("fly", &["fly", "mine"], "report.html");
    page_of("envelope", &["envelope"], "envelope.html");
    page_of("explain", &["explain"], "explained.html");
    page_of("estimate", &["estimate", "log.csv"], "report.html");
    page_of("margins", &["margins", "mine", "--point", "hover", "--torques"], "report.html");
    let sweep = ["sweep", "--vary", "craft.mass_kg=1.0..1.6x3", "--margins-only", "--spot-checks", "0"];
    page_of("sweep", &sweep, "report.html");
}

#[test]
fn pages_of_campaigns_have_contents_and_link_their_data() {
    page_of("disperse", &["disperse", "mine", "--runs", "4"], "report.html");
    let controller = "mine/controller.toml";
    let compare =
        ["compare", "--controller", controller, controller, "mine", "--flight", "hover", "--seeds", "3"];
    let page = page_of("compare", &compare, "report.html");
    assert!(page.contains("class=\"negligible\"") && !page.contains("class=\"allowed\""));
    assert!(page.contains("<h2>Hover</h2>"), "the title of the flight is the heading");
}

#[test]
fn verification_names_its_flights_and_does_not_pool_linear_figures() {
    let html = page_of("verify", &["verify", "mine", "--seeds", "2"], "report.html");
    let document_ends = html.find("id=\"terms\"").unwrap();
    let sections: Vec<&str> = html[..document_ends].split("<section").skip(1).collect();
    let of = |title: &str| *sections.iter().find(|section| section.contains(title)).unwrap();
    let margins = of("<h2>Margins: hover by tilt</h2>");
    assert!(margins.contains("linear model") && !margins.contains("of the seeds"));
    assert!(of("<h2>Hover</h2>").contains("of the seeds"));
    assert!(!html.contains("<h2>margins-"), "no identifier is a heading");
}
