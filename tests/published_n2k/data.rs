//! Data messages: identifier and frames in, every reading out.

use crate::frames::{NONE, flat, near, readings};
use leadsman::messages::{Absent, Reading};

/// Identifier, frames, expected numbers.
type Vector = (u32, &'static str, &'static [(&'static str, f64)]);

/// Knots in a metre per second, and degrees in a radian.
const KN: f64 = 3600.0 / 1852.0;
const DEG: f64 = 180.0 / std::f64::consts::PI;

fn check(vectors: &[Vector]) {
    for (id, frames, want) in vectors {
        let got = flat(&readings(*id, frames));
        let same = got.len() == want.len()
            && got
                .iter()
                .zip(*want)
                .all(|((name, value), (wanted, number))| name == wanted && near(*value, *number));
        assert!(same, "{id:08X}\n got {got:?}\nwant {want:?}");
    }
}

/// Clock, steering, heading: checked A; the two of 127250 also B.
#[test]
fn clock_steering_heading() {
    check(&[
        (0x0DF0_1023, "11F0E64F88B2FF1A", &[("time days", 20_454.0), ("time of day", 45_296.5)]),
        (
            0x09F1_0510,
            "201510453F97FC39 21558A547414D106 22FF7FFF7FFF7FF0 2355FFFFFFFFFFFF",
            &[
                ("commanded-rudder", -0.0873 * DEG),
                ("heading-to-steer", 2.1817 * DEG),
                ("commanded-track", 2.1642 * DEG),
                ("rudder-limit", 0.5236 * DEG),
                ("off-heading-limit", 0.1745 * DEG),
                ("autopilot-heading", 2.2 * DEG),
            ],
        ),
        (0x09F1_0D10, "00FA50FB82FBFFFF", &[("rudder#0", -0.115 * DEG), ("rudder-order#0", -0.12 * DEG)]),
        (
            0x09F1_1205,
            "2A65A84CFE0C02FD",
            &[
                ("heading magnetic", 4.3109 * DEG),
                ("heading magnetic deviation", -0.0436 * DEG),
                ("heading magnetic variation", 0.0524 * DEG),
            ],
        ),
        (
            0x09F1_1205,
            "2B6900FF7FFF7FFC",
            &[
                ("heading true", 0.0105 * DEG),
                ("heading true deviation", NONE),
                ("heading true variation", NONE),
            ],
        ),
        (0x09F1_1305, "2A567AF7FFFFFFFF", &[("rate-of-turn", -558_506.0 / 32.0 * 1e-6 * DEG * 60.0)]),
        (
            0x0DF1_1905,
            "2AFF7F5D0197FCFF",
            &[("attitude yaw", NONE), ("attitude pitch", 0.0349 * DEG), ("attitude roll", -0.0873 * DEG)],
        ),
        (0x19F1_1A23, "2AF8E64FD1FDFFFF", &[("variation", -0.0559 * DEG)]),
        (
            0x0DF8_0923,
            "E64F88B2FF1AC4FF",
            &[("time days", 20_454.0), ("time of day", 45_296.5), ("local-time-offset", -60.0)],
        ),
    ]);
}

/// Engine, switches, tank, batteries: checked A.
#[test]
fn machinery() {
    check(&[
        (
            0x09F2_0040,
            "002923AA05FDFFFF",
            &[("engine#0", 2250.25), ("boost-pressure#0", 145_000.0), ("tilt#0", -3.0)],
        ),
        (
            0x09F2_0140,
            "601A00800D8C0EBB 618A82057D0059DA 624400FFFF4001FF 63060002002D34FF",
            &[
                ("voltage#0", 14.1),
                ("oil-pressure#0", 345_600.0),
                ("oil-temperature#0", 372.4 - 273.15),
                ("coolant-temperature#0", 82.0),
                ("fuel-rate#0", 12.5),
                ("engine-hours#0", 4_512_345.0 / 3600.0),
                ("fuel-pressure#0", 320_000.0),
                ("engine-load#0", 45.0),
                ("engine-torque#0", 52.0),
                ("engine-status-1#0", 6.0),
                ("engine-status-2#0", 2.0),
            ],
        ),
        (0x0DF2_0D50, "01F9FFFFFFFFFFFF", &[("switches-on#1", 1.0)]),
        (0x19F2_1151, "12093D08070000FF", &[("fresh-water-level#2", 62.5), ("tank-capacity#2", 180.0)]),
        (
            0x19F2_1252,
            "800B0900005763E0 81010C007C01FFFF",
            &[
                ("state-of-charge#0", 87.0),
                ("state-of-health#0", 99.0),
                ("time-remaining#0", 28_800.0),
                ("ripple-voltage#0", 0.012),
                ("remaining-capacity#0", 1_368_000.0 / 3600.0),
            ],
        ),
        (
            0x19F2_1452,
            "00FC04ACFFE77209",
            &[("voltage#0", 12.76), ("battery-current#0", -8.4), ("battery-temperature#0", 21.0)],
        ),
    ]);
}

/// Depth (A and B; the third from a document of crate kinavis-nmea2000 0.2.0), speed, log (A).
#[test]
fn depth_and_speed() {
    check(&[
        (0x09F5_0322, "313501FFFF00FFFF", &[("speed-through-water", 3.09 * KN)]),
        (0x09F5_0322, "313501FFFF00F1FF", &[("speed-through-water", -3.09 * KN)]),
        (
            0x0DF5_0B22,
            "31E60200005E010A",
            &[
                ("depth below-transducer", 7.42),
                ("depth below-transducer offset", 0.35),
                ("depth-range", 100.0),
            ],
        ),
        (
            0x0DF5_0B22,
            "32FFFFFFFF50FBFF",
            &[("depth below-transducer", NONE), ("depth below-transducer offset", -1.2)],
        ),
        (
            0x0DF5_0B22,
            "01D204000024FA0A",
            &[
                ("depth below-transducer", 12.34),
                ("depth below-transducer offset", -1.5),
                ("depth-range", 100.0),
            ],
        ),
        (
            0x19F5_1322,
            "A00EE64F88B2FF1A A1801C5301584800 A200FFFFFFFFFFFF",
            &[("total-log", 22_224_000.0), ("trip-log", 18_520.0)],
        ),
    ]);
}

/// Positions and courses: A and B; the last of each from tests of crate kinavis-nmea2000 0.2.0.
#[test]
fn position_and_course() {
    check(&[
        (0x09F8_0123, "E813612050260B06", &[("position lat", 54.3233), ("position lon", 10.1394)]),
        (0x09F8_0123, "C0DCD1EBC8ECE3D5", &[("position lat", -33.8568), ("position lon", -70.6483)]),
        (0x09F8_0123, "3099401EB09934FF", &[("position lat", 50.755), ("position lon", -1.333)]),
        (0x09F8_0123, "FFFFFF7FFFFFFF7F", &[("position lat", NONE), ("position lon", NONE)]),
        (0x09F8_0123, "0000000000000000", &[("position lat", 0.0), ("position lon", 0.0)]),
        (
            0x09F8_0223,
            "11FCB92F1B01FFFF",
            &[
                ("course-and-speed-over-ground true course", 1.2217 * DEG),
                ("course-and-speed-over-ground true speed", 2.83 * KN),
            ],
        ),
        (
            0x09F8_0223,
            "05FC09A77902FFFF",
            &[
                ("course-and-speed-over-ground true course", 4.2761 * DEG),
                ("course-and-speed-over-ground true speed", 6.33 * KN),
            ],
        ),
        (
            0x0DF8_0523,
            "402B11E64F88B2FF 411A0010450B89F3 42890700205B484E 4339680120BCBE00 \
             440000000024FD0B 455A00A0004E1100 460000FFFFFFFFFF",
            &[
                ("position lat", 54.3233),
                ("position lon", 10.1394),
                ("position satellites", 11.0),
                ("position hdop", 0.9),
                ("time days", 20_454.0),
                ("time of day", 45_296.5),
                ("altitude", 12.5),
            ],
        ),
        (
            0x0DF8_0523,
            "602F12E64F98D9FF 611A0080AFA3322A 624DFB00D0256174 631132F6D0A4111F \
             640000000020FD08 656E00C800FA0A00 66000180075E01FF",
            &[
                ("position lat", -33.8568),
                ("position lon", -70.6483),
                ("position satellites", 8.0),
                ("position hdop", 1.1),
                ("time days", 20_454.0),
                ("time of day", 45_297.5),
                ("altitude", 521.25),
            ],
        ),
        (
            0x0DF8_0523,
            "402B03EA50D2BDFF 411A00E0BF2F092E 420B0700E024856F 43A4D0FF200DE402 \
             440000000023FD09 455A009600681200 460000FFFFFFFFFF",
            &[
                ("position lat", 50.755),
                ("position lon", -1.333),
                ("position satellites", 9.0),
                ("position hdop", 0.9),
                ("time days", 20_714.0),
                ("time of day", 45_296.789),
                ("altitude", 48.5),
            ],
        ),
        (
            0x19FA_0323,
            "11D35A0082004600",
            &[("fix-quality fix", 1.0), ("fix-quality satellites", NONE), ("fix-quality hdop", 0.9)],
        ),
        (
            0x19FA_0423,
            "C01B11FF0205AE1E C15C3D9A10FFFFFF C27FF211D10614B8 C31C0CFFFFFF7FF1",
            &[("fix-quality fix", NONE), ("fix-quality satellites", 1.0), ("fix-quality hdop", NONE)],
        ),
    ]);
}

/// Way to a waypoint, wind, environment: checked A.
#[test]
fn navigation_wind_environment() {
    check(&[
        (0x0DF9_0360, "1130D7F6FFFFFFFF", &[("cross-track-error", -23.45)]),
        (
            0x0DF9_0460,
            "80221170D3020040 81006E0A1EE64FB9 822F683001000000 8302000000E02665 8420806514061301",
            &[
                ("distance-to-waypoint", 1852.0),
                ("bearing-to-waypoint", 1.2392 * DEG),
                ("waypoint-closing-speed", 2.75 * KN),
            ],
        ),
        (
            0x09FD_0230,
            "316B03AE1EFAFFFF",
            &[("wind apparent angle", 0.7854 * DEG), ("wind apparent speed", 8.75 * KN)],
        ),
        (0x15FD_0622, "31C170FFFFF503FF", &[("water-temperature", 15.5), ("air-pressure", 101_300.0)]),
        (
            0x15FD_0730,
            "3141BB71803EF103",
            &[("air-temperature", 18.0), ("humidity", 64.0), ("air-pressure", 100_900.0)],
        ),
        (0x15FD_0822, "310000C170FFFFFF", &[("water-temperature#0", 15.5)]),
        (0x15FD_0930, "310001803EFF7FFF", &[("humidity#0", 64.0)]),
        (0x15FD_0930, "310001FFFFFFFFFF", &[("humidity#0", NONE)]),
        (0x15FD_0A30, "31000002760F00FF", &[("air-pressure#0", 101_325.0)]),
    ]);
}

/// No second reader: 130316 and 130577 L, the others M. They show that the tables are followed, not that they are right.
#[test]
fn from_the_tables_alone() {
    check(&[
        (
            0x19F8_1423,
            "E014573834400000 E100000000000000 E200000057383440",
            &[("datum-latitude-offset", 0.0), ("datum-longitude-offset", 0.0)],
        ),
        (0x0DF9_0B23, "11FCB87A3300FFFF", &[("current-set", 3.1416 * DEG), ("current-drift", 0.51 * KN)]),
        (0x15FD_0C22, "3100008D6704FFFF", &[("water-temperature#0", 288.653 - 273.15)]),
        (0x15FD_0C22, "310000FFFF7FFFFF", &[("water-temperature#0", NONE)]),
        (
            0x0DFE_1123,
            "200EC011B92F1B01 2110300E01B87A33 2200FFFFFFFFFFFF",
            &[
                ("course-and-speed-over-ground true course", 1.2217 * DEG),
                ("course-and-speed-over-ground true speed", 2.83 * KN),
                ("heading true", 1.2304 * DEG),
                ("heading true deviation", NONE),
                ("heading true variation", NONE),
                ("speed-through-water", 2.7 * KN),
                ("current-set", 3.1416 * DEG),
                ("current-drift", 0.51 * KN),
            ],
        ),
        (
            0x09FE_1222,
            "400C8C0A88FF0E0B 413200FF7FFF7FFF",
            &[
                ("speed-through-water", 2.7 * KN),
                ("transverse-speed-through-water", -0.12 * KN),
                ("longitudinal-speed-over-ground", 2.83 * KN),
                ("transverse-speed-over-ground", 0.05 * KN),
            ],
        ),
    ]);
}

/// A fix whose method says "no fix", "estimated" (dead reckoning), "error" or "not available" gives no place though it repeats
/// coordinates.
#[test]
fn a_repeated_place_without_a_fix_is_none() {
    let frames = |method: &str| {
        format!(
            "402B11E64F88B2FF 411A0010450B89F3 42890700205B484E 4339680120BCBE00 \
             4400000000{method}4FD0B 455A00A0004E1100 460000FFFFFFFFFF"
        )
    };
    for (method, valid) in [("0", false), ("1", true), ("6", false), ("E", false), ("F", false)] {
        let Reading::Position { at, satellites, hdop } = &readings(0x0DF8_0523, &frames(method))[0] else {
            panic!()
        };
        assert_eq!((*satellites, *hdop), (Some(11), Some(0.9)));
        assert_eq!(at.is_ok(), valid, "method {method}");
        assert!(valid || *at == Err(Absent::MarkedInvalid));
    }
}

/// Reference 2 is "error", 3 "not available" (list REF): the direction counts from nothing known.
#[test]
fn a_heading_without_reference() {
    for (last, north) in [("FC", true), ("FD", true), ("FE", false), ("FF", false)] {
        let Reading::Heading { deg, north: got, .. } =
            &readings(0x09F1_1205, &format!("2A65A84CFE0C02{last}"))[0]
        else {
            panic!()
        };
        assert_eq!((deg.is_ok(), got.is_some()), (true, north));
    }
}
