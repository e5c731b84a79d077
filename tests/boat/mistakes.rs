//! Every kind of mistake gives its line and what to write instead.

use leadsman::boat::{BoatError, Mistake, parse};

fn mistakes(text: &str) -> Vec<Mistake> {
    match parse("boat.toml", text) {
        Ok(_) => Vec::new(),
        Err(BoatError::Mistakes { mistakes, .. }) => mistakes,
        Err(other) => panic!("{other}"),
    }
}

/// The lines of a file with a boat's name on its first two lines, and one device on the next two.
fn with(more: &str) -> String {
    format!("[boat]\nname = \"b\"\n[[device]]\nname = \"puck\"\n{more}")
}

/// Each file has one mistake, on this line, told with these words.
#[test]
fn each_mistake_is_told_with_its_line_and_what_to_write() {
    let switch = "[[switch]]\nname = \"s\"\nports = 2\n";
    let display = "[[device]]\nname = \"d\"\n";
    let cases: Vec<(String, usize, &str)> = vec![
        (String::new(), 1, "missing field boat"),
        (String::from("[boat"), 1, "expected ]"),
        (String::from("[boat]\nname = 3"), 2, "write a text in quotes"),
        (String::from("[boat]\nname = \"\""), 2, "the name is empty"),
        (String::from("[boat]\nname = \"b\"\nname = \"c\""), 3, "duplicate key"),
        (
            with("load_equivalency = 1\n[limits]\nbus_load_percent = \"x\""),
            7,
            "expected a number; write a number without quotes",
        ),
        (with("n2k = { function = 300 }"), 5, "expected a whole number from 0 to 255"),
        (with("[[supply]]\nquantity = \"depht\"\ndevice = \"puck\""), 6, "write depth"),
        (with("colour = \"red\""), 5, "unknown field colour"),
        (with("[sea]"), 5, "unknown field sea"),
        (with("[[device]]\nname = \"puck\""), 6, "stands on line 4 already"),
        (with("mac = \"02:00\""), 5, "six pairs of hex digits"),
        (with("mac = \"ff:ff:ff:ff:ff:ff\""), 5, "names a group"),
        (
            with("mac = \"02:00:00:00:00:01\"\n[[device]]\nname = \"d\"\nmac = \"02-00-00-00-00-01\""),
            8,
            "on line 5",
        ),
        (with("ip = \"192.168.1\""), 5, "\"server\", or \"none\""),
        (with("ip = \"10.0.0.2\"\n[[device]]\nname = \"d\"\nip = \"10.0.0.2\""), 8, "on line 5"),
        (with("talker = \"gps\""), 5, "two capitals"),
        (with("talker = \"GP\"\nline = \"aft\""), 6, "no line is named \"aft\""),
        (with("talker = \"GP\"\ncarried_by = \"mixer\""), 6, "no device is named \"mixer\""),
        (with("talker = \"GP\"\ncarried_by = \"d\"\n[[device]]\nname = \"d\""), 6, "add its mac"),
        (with("line = \"aft\"\n[[line]]\nname = \"aft\""), 5, "add talker"),
        (with("ports = 0"), 5, "from 1 to 64"),
        (with("load_equivalency = 300"), 5, "1 stands for 50 mA"),
        (with("load_equivalency = -1"), 5, "-1"),
        (with("n2k = {}"), 4, "n2k is empty"),
        (with("n2k = { name = \"C0\" }"), 5, "16 hex digits"),
        (with("n2k = { manufacturer = 4000 }"), 5, "at most 2047"),
        (with("n2k = { address = 255 }"), 5, "at most 251"),
        (with("n2k = { address = 12 }\n[[device]]\nname = \"d\"\nn2k = { address = 12 }"), 8, "on line 5"),
        (with("n2k = { colour = 1 }"), 5, "unknown field colour"),
        (with("[[switch]]\nname = \"s\"\nports = \"five\""), 7, "without quotes"),
        (with("[[switch]]\nname = \"s\"\nports = 99"), 7, "from 1 to 64"),
        (with("[[cable]]\nfrom = \"puck\"\nto = \"x\""), 7, "no device and no switch is named \"x\""),
        (with("[[cable]]\nfrom = \"puck\"\nto = \"puck\""), 7, "both ends"),
        (with(&format!("{switch}[[cable]]\nfrom = \"puck\"\nto = \"s\"\nport = 3")), 11, "write 1 to 2"),
        (
            with(&format!("{switch}[[cable]]\nfrom = \"puck\"\nto = \"s\"\nlength_m = -3")),
            11,
            "from 0 to 1000",
        ),
        (
            with(&format!("{switch}[[cable]]\nfrom = \"puck\"\nto = \"s\"\nlength_m = nan")),
            11,
            "from 0 to 1000",
        ),
        (
            with(&format!(
                "{display}{switch}[[cable]]\nfrom = \"puck\"\nto = \"s\"\nport = 1\n[[cable]]\nfrom = \"d\"\nto = \"s\"\nport = 1"
            )),
            17,
            "taken by the cable on line 13",
        ),
        (with("[backbone]\ncable = \"thin\""), 6, "one of light, mid, heavy"),
        (with("[backbone]\ntrunk_m = 5\nterminators_at_m = [0, 9]"), 7, "beyond the end of the trunk of 5 m"),
        (with("[backbone]\n[[backbone.drop]]\ndevice = \"d\""), 7, "no device is named \"d\""),
        (with("[[backbone.drop]]\ndevice = \"puck\"\n[[backbone.drop]]\ndevice = \"puck\""), 8, "on line 6"),
        (with("[[supply]]\nquantity = \"deph\"\ndevice = \"puck\""), 6, "write depth"),
        (with("[[supply]]\nquantity = \"depth\"\ndevice = \"d\""), 7, "write one of \"puck\""),
        (
            with("[[supply]]\nquantity = \"depth\"\ndevice = \"puck\"\nmissing_percent = 101"),
            8,
            "from 0 to 100",
        ),
        (with("[[supply]]\nquantity = \"depth\"\ndevice = \"puck\"\ninterval_s = 0"), 8, "from 0.001"),
        (with("[[supply]]\nquantity = \"depth\"\ndevice = \"puck\"\nreference = \"keel\""), 8, "below-keel"),
        (
            with("[[supply]]\nquantity = \"depth\"\ndevice = \"puck\"\nmessage = \"the depth\""),
            8,
            "write a PGN",
        ),
        (with("[[supply]]\nquantity = \"depth\"\ndevice = \"puck\"\nstand_by = [\"puck\"]"), 8, "for itself"),
        (
            with(
                "[[supply]]\nquantity = \"depth\"\ndevice = \"puck\"\n[[supply]]\nquantity = \"depth\"\ndevice = \"puck\"",
            ),
            9,
            "on line 6 already",
        ),
        (
            with(&format!(
                "{display}[[supply]]\nquantity = \"depth\"\ndevice = \"puck\"\nsole = true\n[[supply]]\nquantity = \"depth\"\ndevice = \"d\""
            )),
            10,
            "stand_by = [\"d\"] instead",
        ),
        (
            with(&format!(
                "{display}[[supply]]\nquantity = \"depth\"\ndevice = \"puck\"\nsole = true\nstand_by = [\"d\"]"
            )),
            10,
            "exclude each other",
        ),
        (with("[[need]]\ndevice = \"d\"\nquantity = \"depth\""), 6, "no device is named"),
        (with("[[need]]\ndevice = \"puck\"\nquantity = \"Depth\""), 7, "write depth"),
        (
            with(
                "[[need]]\ndevice = \"puck\"\nquantity = \"depth\"\n[[need]]\ndevice = \"puck\"\nquantity = \"depth\"",
            ),
            10,
            "keep one",
        ),
        (with("[limits]\nbus_load_percent = 150"), 6, "from 0 to 100"),
        (with("[limits]\nsupply_min_v = 15\nsupply_max_v = 11"), 6, "not below supply_max_v"),
        (with("[addresses]\nserver = \"d\""), 6, "no device is named"),
        (with("[[line]]\nname = \"aft\"\nlisteners = [\"d\"]"), 7, "no device is named"),
    ];
    for (text, line, words) in cases {
        let found = mistakes(&text);
        assert_eq!(found.len(), 1, "{text}\n{found:?}");
        assert_eq!(found[0].line, line, "{text}\n{found:?}");
        assert!(found[0].what.contains(words), "{text}\n{found:?}");
    }
}

#[test]
fn all_mistakes_are_told_at_once_by_line() {
    let text = with("mac = \"x\"\nip = \"y\"\n[[need]]\ndevice = \"z\"\nquantity = \"!\"");
    let lines: Vec<usize> = mistakes(&text).iter().map(|m| m.line).collect();
    assert_eq!(lines, [5, 6, 8, 9]);
}

#[test]
fn the_error_names_the_file_and_stays_text() {
    let error = parse("my boat.toml", &with("mac = \"\\u001b[2J\"")).unwrap_err().to_string();
    assert!(error.starts_with("my boat.toml:5: "), "{error}");
    assert!(!error.contains('\u{1b}'));
}

/// Nothing that stands in a file may bring the program down.
#[test]
fn every_cut_of_a_file_is_read_or_refused() {
    let whole = super::desk::BOAT;
    for end in 0..whole.len() {
        if let Some(part) = whole.get(..end) {
            let _ = parse("boat.toml", part);
        }
    }
    let deep = format!("[boat]\nname = {}", "[".repeat(100_000));
    assert!(parse("boat.toml", &deep).is_err());
}

/// The example of the documentation is a boat file, and the documentation names every key.
#[test]
fn the_documentation_is_true() {
    let text = include_str!("../../docs/boat-file.md");
    let example = text.split("```toml\n").nth(1).unwrap().split("```").next().unwrap();
    assert!(mistakes(example).is_empty(), "{:?}", mistakes(example));
    // The parser lists the keys of a table when it meets one that it does not know.
    let tables = [
        "",
        "[boat]",
        "[limits]",
        "[addresses]",
        "[[device]]",
        "[[device]]\n[device.n2k]",
        "[[switch]]",
        "[[cable]]",
        "[[line]]",
        "[backbone]",
        "[[backbone.drop]]",
        "[[supply]]",
        "[[need]]",
    ];
    let mut keys = 0;
    for table in tables {
        let told = &mistakes(&format!("{table}\nno_such_key = 1"))[0].what;
        let list = told.split("expected ").nth(1).unwrap().trim_start_matches("one of ");
        for key in
            list.split(';').next().unwrap().split([',', ' ']).filter(|key| !key.is_empty() && *key != "or")
        {
            keys += 1;
            assert!(
                ["`{key}`", "[{key}]", "{key}]]"]
                    .iter()
                    .any(|form| text.contains(&form.replace("{key}", key))),
                "{table} {key}"
            );
        }
    }
    assert!(keys > 60, "{keys}");
}
