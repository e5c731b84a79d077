//! What people write and keep beside recordings, as fuzz targets: boat files and reports of earlier runs.

use super::{check, harmless};
use leadsman::boat::sheet::Sheet;
use leadsman::boat::show;
use leadsman::boat::{self, Boat};
use leadsman::cli::Error;
use leadsman::compare::{self, side::Side};
use leadsman::recording::open_reader;
use leadsman::report::model::Report;
use leadsman::survey::{self, Options};
use std::io::Cursor;
use std::sync::OnceLock;

/// A few seconds of a boat with all kinds of wires: the packed head of a demo recording, cut off where it is.
const BOAT: &[u8] = include_bytes!("../../captures/whole-boat.pcapng.gz");
const HEAD: usize = 8 << 10;

/// Lines that tell what is wrong with a boat file: the first twenty mistakes, and how many more there are.
const MAX_LINES: usize = 21;

/// Bytes of such a line: what is quoted of a stranger's file is shortened.
const MAX_LINE: usize = 4 << 10;

fn report(options: &Options) -> Report {
    let input = Box::new(Cursor::new(&BOAT[..HEAD]));
    let recording = open_reader("whole-boat.pcapng.gz", Some(HEAD as u64), input).unwrap();
    survey::report_on(vec![recording], options, &mut |_| {}).unwrap()
}

/// Any text as a boat file: its mistakes told, or its sheets written, on paper and against a recording.
pub fn boat_file(data: &[u8]) {
    match boat::parse("boat.toml", &String::from_utf8_lossy(data)) {
        Err(error) => {
            let told = Error::from(error).told();
            harmless(&told);
            assert!(told.lines().count() <= MAX_LINES, "{told}");
            assert!(told.lines().all(|line| line.len() <= MAX_LINE), "{told}");
            assert!(told.lines().all(|line| line.starts_with("boat.toml:") || line.starts_with("... ")));
        }
        Ok(boat) => {
            let desk = boat::desk_check(&boat);
            sheets(&desk);
            sheets(&against_the_recording(&boat));
        }
    }
}

fn against_the_recording(boat: &Boat) -> Sheet {
    let mut report = report(&Options { names: boat.names(), ..Options::default() });
    boat::advise(boat, &mut report);
    check(&report);
    boat::verify(boat, &report)
}

/// A sheet in all its forms.
fn sheets(sheet: &Sheet) {
    let written = |write: &dyn Fn(&mut Vec<u8>) -> std::io::Result<()>| text_of(write);
    harmless(&written(&|out| show::text::write(sheet, 80, false, out)));
    harmless(&written(&|out| show::markdown::write(sheet, out)));
    page(&written(&|out| show::html::write(sheet, out)));
    let json = written(&|out| show::json::write(sheet, out));
    harmless(&json);
    let value: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(value["format"], "leadsman-verify");
    let counts = &sheet.counts;
    assert!(counts.passed + counts.failed + counts.not_seen <= sheet.expectations.len());
}

/// Any text as a report that was kept, compared with itself and with a sound one.
pub fn kept_report(data: &[u8]) {
    static SOUND: OnceLock<Side> = OnceLock::new();
    let sound = SOUND.get_or_init(|| Side::of(&report(&Options::default())).unwrap());
    match Side::read(data) {
        Err(source) => {
            let told = Error::Side { path: String::from("kept.json"), source }.told();
            harmless(&told);
            assert!(
                told.starts_with("leadsman: cannot compare kept.json: ") && !told.contains('\n'),
                "{told}"
            );
            assert!(told.len() <= MAX_LINE, "{told}");
        }
        Ok(side) => {
            for (before, after) in [(&side, &side), (sound, &side), (&side, sound)] {
                comparison(before, after);
            }
        }
    }
}

/// A comparison in all its forms.
fn comparison(before: &Side, after: &Side) {
    let compared = compare::compare(before, after);
    let written = |renderer: &dyn compare::Renderer| text_of(&|out| renderer.render(&compared, out));
    harmless(&written(&compare::Text { width: 80, colour: false }));
    harmless(&written(&compare::Markdown));
    page(&written(&compare::Html));
    let json = written(&compare::Json);
    harmless(&json);
    let value: serde_json::Value = serde_json::from_str(&json).unwrap();
    assert_eq!(value["format"], "leadsman-compare");
}

fn text_of(write: &dyn Fn(&mut Vec<u8>) -> std::io::Result<()>) -> String {
    let mut out = Vec::new();
    write(&mut out).unwrap();
    String::from_utf8(out).unwrap()
}

/// A page holds one script, its own, and what a stranger wrote opens no element and closes none.
fn page(html: &str) {
    harmless(html);
    assert_eq!(html.matches("<script").count(), html.matches("</script>").count());
    assert!(html.matches("<script").count() <= 1, "a stranger's script");
    for element in ["<img", "<iframe", "<object", "<embed", "<form", "<base", "<!--"] {
        assert!(!html.contains(element), "{element} in a page");
    }
}
