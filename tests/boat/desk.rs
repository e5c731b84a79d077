//! What on paper cannot work. Limits: NMEA 2000 as published installation guides print them; IEEE 802.3 clause 25 and
//! ISO/IEC 11801-1 for copper.

use leadsman::boat::sheet::{Row, Sheet, Standing};
use leadsman::boat::{desk_check, parse};

/// A boat that works on paper.
pub(crate) const BOAT: &str = r#"
[boat]
name = "Demo skiff"

[addresses]
server = "console display"

[[device]]
name = "console display"
mac = "02:4c:45:10:00:01"
n2k = { model = "MD-12" }
ip = "server"
socket = "RJ45"
load_equivalency = 1

[[device]]
name = "bow display"
mac = "02:4c:45:10:00:02"
ip = "server"
socket = "RJ45"

[[device]]
name = "puck"
n2k = { model = "GH-2" }
load_equivalency = 3

[[device]]
name = "old puck"
n2k = { model = "GH-1" }
load_equivalency = 3

[[switch]]
name = "switch"
ports = 2
socket = "M12 D"

[[cable]]
from = "console display"
to = "switch"
port = 1
length_m = 100
from_plug = "RJ45"
to_plug = "m12-d"

[[cable]]
from = "bow display"
to = "switch"
port = 2
length_m = 4.6
to_plug = "RJ45"
to_adapter = "M12 D"

[backbone]
cable = "light"
trunk_m = 100
power_at_m = 50
terminators_at_m = [0, 100]

[[backbone.drop]]
device = "console display"
at_m = 50
length_m = 6

[[backbone.drop]]
device = "puck"
at_m = 40
length_m = 1

[[backbone.drop]]
device = "old puck"
at_m = 60
length_m = 2

[[supply]]
quantity = "heading"
device = "puck"
stand_by = ["old puck"]

[[supply]]
quantity = "heading"
device = "old puck"

[[need]]
device = "console display"
quantity = "heading"
"#;

fn check(text: &str) -> Sheet {
    desk_check(&parse("boat.toml", text).unwrap_or_else(|error| panic!("{error}")))
}

fn failed(text: &str) -> Vec<Row> {
    check(text).expectations.into_iter().filter(|row| row.standing == Standing::Failed).collect()
}

/// The boat with one thing changed.
fn changed(from: &str, to: &str) -> String {
    assert_eq!(BOAT.matches(from).count(), 1, "{from}");
    BOAT.replace(from, to)
}

#[test]
fn a_boat_that_works_on_paper_passes_at_the_very_limits() {
    let sheet = check(BOAT);
    assert!(sheet.passed(), "{:#?}", failed(BOAT));
    assert_eq!(sheet.counts.not_seen, 0, "{:#?}", sheet.expectations);
    assert!(sheet.counts.passed > 15);
}

/// One change, one failure, with the numbers beside it.
#[test]
fn each_thing_that_cannot_work_is_told_alone() {
    let pucks = |n: u32| format!("name = \"old puck\"\nn2k = {{ model = \"GH-1\" }}\nload_equivalency = {n}");
    let old = "name = \"old puck\"\nn2k = { model = \"GH-1\" }\nload_equivalency = 3";
    let cases: Vec<(String, &str, &str)> = vec![
        // Ethernet copper: 100 m, IEEE 802.3 clause 25 with ISO/IEC 11801-1.
        (changed("length_m = 100", "length_m = 100.5"), "copper", "at most 100 m"),
        (changed("to_plug = \"m12-d\"", "to_plug = \"RJ45\""), "its plug fits switch", "M12 D"),
        (changed("to_adapter = \"M12 D\"", "to_adapter = \"M12 X\""), "its plug fits switch", "M12 D"),
        // Drop: 6 m.
        (changed("length_m = 6\n", "length_m = 6.1\n"), "drop is short enough", "at most 6 m"),
        // Light trunk: 100 m, from terminator to terminator.
        (
            changed(
                "trunk_m = 100\npower_at_m = 50\nterminators_at_m = [0, 100]",
                "trunk_m = 101\npower_at_m = 50\nterminators_at_m = [0, 101]",
            ),
            "no longer than its cable allows",
            "at most 100 m",
        ),
        // A drop longer than the way from its tee to the terminator counts as trunk: 0.5 m to go, 1 m long.
        (changed("at_m = 40\n", "at_m = 99.5\n"), "no longer than its cable allows", "at most 100 m"),
        (changed("[0, 100]", "[0]"), "one terminator at each end", "2, one at each end"),
        (changed("[0, 100]", "[]"), "one terminator at each end", "2, one at each end"),
        (changed("[0, 100]", "[0, 50, 100]"), "one terminator at each end", "2, one at each end"),
        (changed("[0, 100]", "[0, 60]"), "one terminator at each end", "2, one at each end"),
        // One device draws at most 1 A, which is 20 units.
        (changed(old, &pucks(21)), "no more than one device may", "at most 20 load units"),
        (
            changed("stand_by = [\"old puck\"]\n", ""),
            "one source, or named stand-bys",
            "one named as stand-by",
        ),
        (
            format!("{BOAT}[[need]]\ndevice = \"bow display\"\nquantity = \"heading\"\n"),
            "a supplier of heading",
            "at least one",
        ),
        (
            format!("{BOAT}[[need]]\ndevice = \"console display\"\nquantity = \"depth\"\n"),
            "a supplier of depth",
            "at least one",
        ),
    ];
    for (text, expectation, expected) in cases {
        let rows = failed(&text);
        assert_eq!(rows.len(), 1, "{expectation}: {rows:#?}");
        assert!(rows[0].expectation.contains(expectation), "{rows:#?}");
        assert_eq!(rows[0].expected, expected);
        assert!(rows[0].line.is_some() && !rows[0].note.is_empty(), "{rows:#?}");
    }
}

#[test]
fn too_few_ports_for_the_devices() {
    let third = format!("{BOAT}[[device]]\nname = \"sounder\"\nmac = \"02:4c:45:10:00:03\"\n");
    let rows = failed(&third);
    assert_eq!(rows.len(), 1, "{rows:#?}");
    // Three devices and a switch make four things, joined by three cables with six ends; 1 + 1 + 1 + 2 sockets are there.
    assert_eq!((rows[0].expected_value, rows[0].measured_value), (Some(6.0), Some(5.0)));
    assert!(failed(&third.replace("ports = 2", "ports = 3")).is_empty());
    // A display with a second socket carries the third device on.
    assert!(failed(&format!("{third}ports = 2\n")).is_empty());
    let cables = format!("{third}[[cable]]\nfrom = \"sounder\"\nto = \"switch\"\n");
    assert!(failed(&cables).iter().any(|row| row.expectation == "enough ports for its cables"));
}

#[test]
fn a_device_that_passes_on_reaches_further() {
    let need = format!("{BOAT}[[need]]\ndevice = \"bow display\"\nquantity = \"heading\"\n");
    assert_eq!(failed(&need).len(), 1);
    let passing = need.replacen("socket = \"RJ45\"\nload", "socket = \"RJ45\"\npasses_on = true\nload", 1);
    assert!(failed(&passing).is_empty());
}

/// NMEA 2000: at most 50 nodes and 78 m of drops.
#[test]
fn nodes_and_drops_are_counted() {
    let many = |nodes: usize, drop_m: f64| {
        let mut text = String::from(
            "[boat]\nname = \"b\"\n[backbone]\ncable = \"mid\"\ntrunk_m = 100\nterminators_at_m = [0, 100]\n",
        );
        for i in 0..nodes {
            text.push_str(&format!("[[backbone.drop]]\ndevice = \"n{i}\"\nat_m = 50\nlength_m = {drop_m}\n"));
        }
        for i in 0..nodes {
            text.push_str(&format!("[[device]]\nname = \"n{i}\"\nn2k = {{ address = {i} }}\n"));
        }
        failed(&text)
    };
    assert!(many(50, 1.0).is_empty());
    assert_eq!(many(51, 1.0)[0].measured, "51 nodes");
    assert!(many(13, 6.0).is_empty(), "78 m");
    assert_eq!(many(14, 5.6)[0].measured, "78.4 m");
}

/// Ohm's law with the published resistances: light 0.053 ohm/m of one conductor. 20 units (1 A) 40 m from the feed lower
/// the voltage by 1 A x 2 x 0.053 x 40 = 4.24 V; mid cable with 0.013 ohm/m by 1.04 V.
#[test]
fn voltage_and_current_along_the_trunk() {
    let text = |cable: &str, units: u32, feed_v: f64| {
        format!(
            "[boat]\nname = \"b\"\n[[device]]\nname = \"far\"\nn2k = {{ address = 1 }}\nload_equivalency = {units}\n\
             [backbone]\ncable = \"{cable}\"\ntrunk_m = 40\npower_at_m = 0\nfeed_v = {feed_v}\nterminators_at_m = [0, 40]\n\
             [[backbone.drop]]\ndevice = \"far\"\nat_m = 40\nlength_m = 0\n"
        )
    };
    let volts = |text: &str| {
        let rows = check(text).expectations;
        rows.into_iter().find(|row| row.expectation.contains("enough voltage")).unwrap()
    };
    let low = volts(&text("light", 20, 12.0));
    assert_eq!((low.measured_value, low.standing), (Some(7.76), Standing::Failed));
    assert_eq!(volts(&text("light", 20, 13.24)).standing, Standing::Passed, "9.00 V is just enough");
    assert_eq!(volts(&text("light", 20, 13.23)).standing, Standing::Failed);
    assert_eq!(volts(&text("mid", 20, 12.0)).measured_value, Some(10.96));
    assert!(volts(&text("light", 20, 12.0)).note.contains("Ohm's law"));
}

/// Published guides: light cable carries 3 A, mid 4 A, heavy 8 A; a feed in the middle loads each side with its own.
#[test]
fn the_trunk_carries_so_much_and_no_more() {
    let text = |cable: &str, per_side: u32, feed: u32| {
        let mut text = format!(
            "[boat]\nname = \"b\"\n[backbone]\ncable = \"{cable}\"\ntrunk_m = 2\npower_at_m = {feed}\nterminators_at_m = [0, 2]\n"
        );
        for (i, at) in [0, 0, 0, 0, 2, 2, 2, 2].into_iter().enumerate() {
            text.push_str(&format!("[[backbone.drop]]\ndevice = \"n{i}\"\nat_m = {at}\nlength_m = 0\n"));
        }
        for i in 0..8 {
            text.push_str(&format!(
                "[[device]]\nname = \"n{i}\"\nn2k = {{ address = {i} }}\nload_equivalency = {}\n",
                per_side / 4
            ));
        }
        failed(&text)
    };
    assert!(text("light", 60, 1).is_empty(), "3.0 A on each side");
    assert_eq!(text("light", 64, 1)[0].measured, "3.2 A");
    assert!(text("mid", 80, 1).is_empty());
    assert!(text("heavy", 80, 0).is_empty(), "all 8 A on one side");
    assert_eq!(text("mid", 60, 0)[0].expected, "at most 4 A");
}

#[test]
fn what_the_file_does_not_tell_is_not_judged() {
    let bare = "[boat]\nname = \"b\"\n[backbone]\ntrunk_m = 12\n[[device]]\nname = \"puck\"\nn2k = { address = 1 }\n";
    let sheet = check(bare);
    assert!(sheet.passed());
    assert!(sheet.counts.not_seen >= 3, "{:#?}", sheet.expectations);
    for row in sheet.expectations.iter().filter(|row| row.standing == Standing::NotSeen) {
        assert!(row.note.contains("dd "), "says what to add: {row:#?}");
    }
}
