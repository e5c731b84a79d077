//! The tables are asked by an engine that is none of ours: DuckDB, from PyPI, pinned in `requirements.txt`.
//!
//! The test needs a Python that has it: `LEADSMAN_PYTHON` names one, `python3` is tried otherwise. Without it the test
//! says so and passes, unless `LEADSMAN_ENGINE_TEST=required` is set, as `.ci/run` does.

use super::{output, tables};
use serde_json::Value;
use std::collections::BTreeMap;
use std::process::Command;

fn python() -> Option<String> {
    let python = std::env::var("LEADSMAN_PYTHON").unwrap_or_else(|_| "python3".to_owned());
    let has_it =
        Command::new(&python).args(["-c", "import duckdb"]).output().is_ok_and(|o| o.status.success());
    has_it.then_some(python)
}

#[test]
#[allow(clippy::print_stderr, reason = "a skipped test says so")]
fn another_engine_answers_questions_on_the_tables() {
    let Some(python) = python() else {
        assert!(
            !std::env::var("LEADSMAN_ENGINE_TEST").is_ok_and(|v| v == "required"),
            "no Python with duckdb, and nothing may be skipped"
        );
        eprintln!("skipped: no Python with duckdb; see tests/many/requirements.txt");
        return;
    };
    let dir = tempfile::tempdir().unwrap();
    let tables = tables(dir.path());
    let script = concat!(env!("CARGO_MANIFEST_DIR"), "/tests/many/ask.py");
    let asked = Command::new(python).arg(script).arg(&tables).output().unwrap();
    assert!(asked.status.success(), "{}", String::from_utf8_lossy(&asked.stderr));
    let answers: Value = serde_json::from_slice(&asked.stdout).unwrap();

    // The same questions, answered from the JSON reports.
    let text = output(&["report", super::CAPTURES, "--format", "json"]);
    let reports: Vec<Value> = text.lines().map(|line| serde_json::from_str(line).unwrap()).collect();
    let rows = |report: &Value, table: &str| report[table].as_array().cloned().unwrap_or_default();
    let two_headings = reports.iter().filter(|report| {
        let heading = |s: &Value| s["quantity"] == "heading" && s["valid"].as_u64() > Some(0);
        let devices: std::collections::BTreeSet<String> =
            rows(report, "sources").iter().filter(|s| heading(s)).map(|s| s["device"].to_string()).collect();
        devices.len() >= 2
    });
    assert_eq!(answers["boats_with_two_heading_sources"], two_headings.count());
    let faults: usize = reports
        .iter()
        .map(|report| rows(report, "findings").iter().filter(|f| f["severity"] == "fault").count())
        .sum();
    assert!(faults > 5);
    assert_eq!(answers["faults"], faults);

    let mut bins: BTreeMap<String, Vec<(f64, u64)>> = BTreeMap::new();
    for report in &reports {
        let devices = rows(report, "devices");
        for timing in rows(report, "timing").iter().filter(|t| t["message"] == "128267") {
            let device = devices.iter().find(|d| d["id"] == timing["device"]).unwrap();
            let Some(software) = device["software"].as_str() else { continue };
            let histogram = rows(timing, "histogram");
            let of = histogram.iter().map(|b| (b["to_s"].as_f64().unwrap(), b["count"].as_u64().unwrap()));
            bins.entry(software.to_owned()).or_default().extend(of);
        }
    }
    assert!(!bins.is_empty());
    for (software, mut bins) in bins {
        bins.sort_by(|a, b| a.0.total_cmp(&b.0));
        let all: u64 = bins.iter().map(|(_, count)| count).sum();
        let mut below = 0;
        let reached = bins.iter().find(|(_, count)| {
            below += count;
            below as f64 >= 0.99 * all as f64
        });
        let answer = answers["depth_interval_p99_s_by_software"][&software].as_f64();
        assert_eq!(answer, reached.map(|(to_s, _)| *to_s), "{software}");
    }
}
