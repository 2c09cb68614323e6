//! Layout of the pages: contents and links, collapsible sections, meaning of fills, labels that do not
//! overlap, attributes that the script reads.

use super::fill::Fill;
use super::tests::{html, parse, report, section, still_flight, verdicts, windy_flight};
use super::*;
use roxmltree::Node;
use std::collections::BTreeSet;

fn has_class(node: &Node, class: &str) -> bool {
    node.attribute("class").is_some_and(|classes| classes.split(' ').any(|one| one == class))
}

fn number(node: &Node, name: &str) -> f64 {
    node.attribute(name).unwrap().parse().unwrap()
}

/// Two flights: one with failed checks in wind, one in still air that passes.
fn sample() -> String {
    let (windy, still, verdicts) = (windy_flight(), still_flight(), verdicts());
    let passed = &verdicts[..1];
    html(report(vec![section("hold 1", &windy, &verdicts), section("still", &still, passed)]))
}

#[test]
fn contents_list_every_section_and_links_resolve() {
    let page = sample();
    let document = parse(&page);
    let ids: BTreeSet<&str> = document.descendants().filter_map(|node| node.attribute("id")).collect();
    let contents = document.descendants().find(|node| has_class(node, "contents")).unwrap();
    let links: Vec<&str> = contents.descendants().filter_map(|node| node.attribute("href")).collect();
    assert!(links.iter().all(|link| ids.contains(link.strip_prefix('#').unwrap())), "{links:?}");
    assert_eq!(links.len(), document.descendants().filter(|node| node.has_tag_name("section")).count());
    let files: BTreeSet<&str> = document
        .descendants()
        .filter_map(|node| node.attribute("href"))
        .filter(|link| !link.starts_with('#'))
        .collect();
    assert_eq!(files, BTreeSet::from(["columns.md", "hold%201.csv", "still.csv"]));
}

#[test]
fn passed_flights_are_collapsed_and_others_are_open_with_the_link_target_inside() {
    let page = sample();
    let document = parse(&page);
    let sections: Vec<Node> = document.descendants().filter(|node| node.has_tag_name("details")).collect();
    let open: Vec<bool> = sections.iter().map(|section| section.attribute("open").is_some()).collect();
    assert_eq!(open, [true, false]);
    for section in sections {
        let children: Vec<Node> = section.children().collect();
        assert!(children[0].has_tag_name("summary") && children[1].attribute("id").is_some());
    }
    let (trace, verdicts) = (still_flight(), verdicts());
    let alone = html(report(vec![section("still", &trace, &verdicts[..1])]));
    assert!(alone.contains("<details open"), "a single flight is open");
}

#[test]
fn every_fill_of_a_flight_is_explained_beside_its_plots() {
    let page = sample();
    let document = parse(&page);
    let fills: BTreeSet<&str> = Fill::ALL.iter().map(|fill| fill.class()).collect();
    for flight in document.descendants().filter(|node| has_class(node, "collapsible")) {
        let used = |root: Node| -> BTreeSet<String> {
            let classes = root.descendants().filter_map(|node| node.attribute("class").map(str::to_owned));
            classes.filter(|class| fills.contains(class.as_str())).collect()
        };
        let key = flight.descendants().find(|node| has_class(node, "key")).unwrap();
        let plots = flight.descendants().find(|node| has_class(node, "plots")).unwrap();
        assert_eq!(used(key), used(plots));
    }
}

#[test]
fn every_outcome_has_a_visible_mark() {
    for class in ["pass", "fail", "inconclusive"] {
        let rule = format!("\nsvg .solid.{class}{{fill:var(--{class})}}");
        assert!(sheet::STYLE.contains(&rule), "{class}");
    }
}

#[test]
fn caption_of_still_air_has_no_arrows() {
    let page = sample();
    let document = parse(&page);
    let captions = document.descendants().filter(|node| node.has_tag_name("figcaption"));
    let of_tracks: Vec<&str> =
        captions.filter_map(|node| node.text()).filter(|text| text.contains("North")).collect();
    assert_eq!(of_tracks.len(), 2);
    assert!(
        of_tracks[0].contains("arrows") && of_tracks[1].contains("still") && !of_tracks[1].contains("arrows")
    );
}

/// A box: left, top, right, bottom.
type Extent = [f64; 4];

/// Extent of a label: mean width of a character of a sans-serif font at 11 px.
fn extent(text: &Node) -> Extent {
    let per_character = if has_class(text, "name") { 6.4 } else { 5.6 };
    let width = per_character * text.text().unwrap_or("").chars().count() as f64;
    let (x, y) = (number(text, "x"), number(text, "y"));
    let left = match (has_class(text, "mid"), has_class(text, "end")) {
        (true, _) => x - width / 2.0,
        (_, true) => x - width,
        _ => x,
    };
    [left, y - 8.5, left + width, y + 1.5]
}

fn overlap(a: &Extent, b: &Extent) -> bool {
    a[0] < b[2] && b[0] < a[2] && a[1] < b[3] && b[1] < a[3]
}

/// Pairs of labels of a picture that overlap, and labels on the outline of the small craft.
fn overlaps(svg: Node) -> Vec<String> {
    let labels: Vec<(Extent, &str)> = svg
        .descendants()
        .filter(|node| node.has_tag_name("text"))
        .map(|node| (extent(&node), node.text().unwrap_or("")))
        .collect();
    let rotors = svg.descendants().filter(|node| node.has_tag_name("circle") && has_class(node, "frame"));
    let rotors = rotors.map(|node| {
        let [x, y, r] = ["cx", "cy", "r"].map(|name| number(&node, name));
        ([x - r, y - r, x + r, y + r], "craft")
    });
    let mut found = Vec::new();
    for (i, (a, text)) in labels.iter().enumerate() {
        for (b, other) in labels[..i].iter().copied().chain(rotors.clone()) {
            if overlap(a, &b) {
                found.push(format!("{text} / {other}"));
            }
        }
    }
    found
}

#[test]
fn labels_of_a_flight_do_not_overlap() {
    let page = sample();
    let document = parse(&page);
    for figure in document.descendants().filter(|node| node.has_tag_name("figure")) {
        let title = figure.descendants().find(|node| node.has_tag_name("h3")).and_then(|node| node.text());
        assert_eq!(overlaps(figure), Vec::<String>::new(), "{title:?}");
    }
}

/// A second of steady flight to the east at constant height.
fn tilted(weight_n: f64, tilt_deg: f64) -> Trace {
    let mut trace = still_flight();
    trace.rows = trace.rows.split_off(5000);
    for row in &mut trace.rows {
        let truth = &mut row.truth;
        (truth.roll_deg, truth.pitch_deg, truth.heading_deg, truth.tilt_deg) = (tilt_deg, 0.0, 0.0, tilt_deg);
        row.thrust_n = aplomb_craft::Rotors::splat(0.25 * weight_n / libm::cos(tilt_deg.to_radians()));
    }
    trace
}

#[test]
fn labels_of_the_force_triangle_do_not_overlap_at_any_tilt() {
    for tilt_deg in (0..=75).map(f64::from) {
        let weight_n = 1.23 * 9.80665;
        let triangle = aplomb_study::forces::steepest_steady(&tilted(weight_n, tilt_deg), 1.23).unwrap();
        let svg = forces::draw_triangle(&triangle, 1.23, "t", "t");
        let document = roxmltree::Document::parse(&svg).unwrap();
        assert_eq!(overlaps(document.root()), Vec::<String>::new(), "{tilt_deg} deg");
    }
}

#[test]
fn areas_carry_what_the_script_reads() {
    let page = sample();
    let document = parse(&page);
    let areas: Vec<Node> = document.descendants().filter(|node| has_class(node, "area")).collect();
    assert!(areas.len() > 40, "{}", areas.len());
    for area in &areas {
        assert_eq!(
            area.attribute("viewBox").unwrap(),
            ["x", "y", "width", "height"].map(|side| area.attribute(side).unwrap()).join(" ")
        );
        for ends in ["data-x", "data-y"] {
            let ends: Vec<f64> =
                area.attribute(ends).unwrap().split(' ').map(|end| end.parse().unwrap()).collect();
            assert!(ends.len() == 2 && ends[0] <= ends[1], "{ends:?}");
        }
    }
    let keys: BTreeSet<&str> = areas.iter().filter_map(|area| area.attribute("data-key")).collect();
    let expected = ["heading", "pitch", "roll", "thrust0", "thrust1", "thrust2", "thrust3", "track"];
    assert_eq!(keys, BTreeSet::from(expected), "the quantities of the craft's picture");
}

/// The value that the script reads at the pointer: the ends of the area applied to the plotted line.
#[test]
fn plotted_line_gives_the_value_of_the_trace_within_the_resolution() {
    let mut trace = windy_flight();
    for row in &mut trace.rows {
        row.truth.roll_deg = 0.5 * row.time_s - 10.0;
    }
    let page = html(report(vec![section("line", &trace, &[])]));
    let document = parse(&page);
    let area = document.descendants().find(|node| node.attribute("data-key") == Some("roll")).unwrap();
    let line = area.children().find(|node| node.attribute("data-name") == Some("truth")).unwrap();
    let data = line.attribute("d").unwrap();
    let (_, start) = data.split_once('M').unwrap();
    let start: Vec<f64> = start.split(['l', ' ']).take(2).map(|n| n.parse().unwrap()).collect();
    let ends: Vec<f64> = area.attribute("data-y").unwrap().split(' ').map(|n| n.parse().unwrap()).collect();
    let (top, height) = (number(&area, "y"), number(&area, "height"));
    let value = ends[1] - (start[1] - top) / height * (ends[1] - ends[0]);
    assert!((value - -10.0).abs() <= 0.1 / height * (ends[1] - ends[0]), "{value}");
    assert!((start[0] - number(&area, "x")).abs() < 0.1, "{start:?}");
}

#[test]
fn track_has_a_time_for_each_of_its_points() {
    let page = sample();
    let document = parse(&page);
    let tracks: Vec<Node> =
        document.descendants().filter(|node| node.attribute("data-t").is_some()).collect();
    assert_eq!(tracks.len(), 2);
    for track in tracks {
        let data = track.attribute("d").unwrap();
        let mut steps = 0;
        for run in data.split('M').skip(1) {
            let (_, rest) = run.split_once('l').unwrap_or((run, ""));
            let mut numbers = 0;
            let mut fraction = false;
            let mut before = 'l';
            for letter in rest.chars() {
                let starts = letter == '-'
                    || (letter == '.' && (fraction || matches!(before, 'l' | ' ')))
                    || (letter.is_ascii_digit() && matches!(before, 'l' | ' '));
                if starts {
                    numbers += 1;
                    fraction = false;
                }
                fraction |= letter == '.';
                before = letter;
            }
            assert_eq!(numbers % 2, 0, "{run}");
            steps += 1 + numbers / 2;
        }
        assert_eq!(track.attribute("data-t").unwrap().split(' ').count(), steps);
    }
}

#[test]
fn sweep_legend_has_the_fills_of_the_cells() {
    for ratio in [-1.0, 0.0, 0.5, 0.999, 1.0, 1.149, 1.15, 1.299, 1.3, 9.0] {
        let fill = sweep::fill_of(ratio);
        assert!(sweep::FILLS.contains(&fill), "{ratio}");
        let expected = match ratio {
            ratio if ratio <= 0.0 => Fill::Unstable,
            ratio if ratio < 1.0 => Fill::Forbidden,
            ratio if ratio < 1.15 => Fill::Ratio1,
            ratio if ratio < 1.3 => Fill::Ratio2,
            _ => Fill::Ratio3,
        };
        assert_eq!(fill, expected, "{ratio}");
    }
}
