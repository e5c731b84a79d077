use super::*;
use crate::report::escape::is_unsafe;
use crate::report::fixture;

fn page_of(report: &Report, asked: Option<&'static str>, pictures: &[Picture]) -> String {
    let mut out = Vec::new();
    page(report, asked, pictures, &mut out).unwrap();
    String::from_utf8(out).unwrap()
}

/// The body without the script, an element a line: what a snapshot should show.
fn body(page: &str) -> String {
    let body = page.split("<body>").nth(1).unwrap().split("<script>").next().unwrap();
    body.replace("><", ">\n<").replace("\n\n", "\n")
}

fn picture(id: &str, findings: &[usize]) -> Picture {
    Picture {
        id: String::from(id),
        title: String::from("Heading over time"),
        about: String::from("The puck stays 11 deg below the bow sensor."),
        findings: findings.to_vec(),
        svg: String::from("<svg viewBox=\"0 0 10 10\"><path d=\"M0 0h10\" stroke=\"var(--s1)\"/></svg>"),
    }
}

#[test]
fn a_complaint_answered() {
    let report = fixture::troubled();
    let page = page_of(&report, Some("heading-jumps"), &[picture("heading", &[0]), picture("load", &[])]);
    insta::assert_snapshot!(body(&page));
}

#[test]
fn a_troubled_boat_unasked() {
    insta::assert_snapshot!(body(&page_of(&fixture::troubled(), None, &[])));
}

#[test]
fn a_healthy_boat() {
    insta::assert_snapshot!(body(&page_of(&fixture::healthy(), None, &[])));
}

#[test]
fn nothing_at_all() {
    insta::assert_snapshot!(body(&page_of(&fixture::empty(), Some("no-depth"), &[])));
}

#[test]
fn hostile_names_stay_text() {
    let page = page_of(&fixture::hostile(), Some("heading-jumps"), &[]);
    assert!(!page.chars().any(|c| c != '\n' && is_unsafe(c)));
    assert!(page.contains("\\u{1b}]0;owned"), "shown as that text");
    for bad in ["<script>alert", "<img", "onerror=\"", "<b>"] {
        assert!(!page.contains(bad), "{bad}");
    }
    assert!(page.contains("&lt;script&gt;alert"), "shown as that text");
    insta::assert_snapshot!(body(&page));
}

/// Every element that is opened is closed, in the right order, whatever a recording holds.
#[test]
fn elements_are_nested() {
    for report in [fixture::troubled(), fixture::hostile(), fixture::crowded(), fixture::empty()] {
        let page = body(&page_of(&report, None, &[picture("a", &[]), picture("b", &[usize::MAX])]));
        let mut open: Vec<&str> = Vec::new();
        for tag in page.split('<').skip(1) {
            let name = tag.split([' ', '>']).next().unwrap();
            match name.strip_prefix('/') {
                Some("body") => {}
                Some(name) => assert_eq!(open.pop(), Some(name), "{tag}"),
                None if tag.split('>').next().unwrap().ends_with('/') => {}
                None => open.push(name),
            }
        }
        assert!(open.is_empty(), "{open:?}");
    }
}

#[test]
fn every_anchor_leads_somewhere_and_stands_once() {
    let pictures = [picture("heading", &[0]), picture("load", &[])];
    let page = page_of(&fixture::troubled(), Some("heading-jumps"), &pictures);
    let ids: Vec<&str> = page.split(" id=\"").skip(1).map(|rest| rest.split('"').next().unwrap()).collect();
    let links = page.split("href=\"#").skip(1).map(|rest| rest.split('"').next().unwrap());
    assert!(links.clone().count() >= 9);
    for link in links {
        assert_eq!(ids.iter().filter(|id| **id == link).count(), 1, "#{link}");
    }
    let mut once = ids.clone();
    once.sort_unstable();
    once.dedup();
    assert_eq!(once.len(), ids.len(), "{ids:?}");
}

#[test]
fn a_picture_stands_with_its_first_finding_or_by_itself() {
    let pictures = [picture("both", &[1, 0]), picture("alone", &[]), picture("lost", &[99])];
    let page = page_of(&fixture::troubled(), None, &pictures);
    let at = |text: &str| page.find(text).unwrap_or_else(|| panic!("{text}"));
    assert!(at("id=\"finding-2\"") < at("id=\"both\"") && at("id=\"both\"") < at("id=\"finding-3\""));
    assert!(at("id=\"pictures\"") < at("id=\"alone\"") && at("id=\"alone\"") < at("id=\"lost\""));
}

#[test]
fn a_crowded_boat_makes_no_endless_page() {
    let mut report = fixture::crowded();
    for _ in 0..6 {
        report.devices.extend(report.devices.clone());
        report.sources.extend(report.sources.clone());
        report.timing.extend(report.timing.clone());
    }
    let page = page_of(&report, None, &[]);
    assert_eq!(page.matches("6,100 rows more").count(), 3);
    assert!(page.len() < 1_000_000, "{}", page.len());
}

#[test]
fn places_are_too_coarse_to_find_a_fishing_spot() {
    let page = page_of(&fixture::troubled(), None, &[]);
    assert!(page.contains("54.3 N, 10.1 W") && !page.contains("54.32") && !page.contains("10.13"));
}
