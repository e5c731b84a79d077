//! AIS reports, routes and datum.

use crate::frames::{message, near, readings};
use leadsman::messages::n2k::{AisReport, ais_report, datum, destination, route};
use leadsman::units::Place;

fn report(id: u32, frames: &str) -> AisReport {
    assert!(readings(id, frames).is_empty(), "other vessels give no readings");
    let (id, data) = message(id, frames);
    ais_report(id.pgn, &data).unwrap()
}

fn place(lat_deg: f64, lon_deg: f64) -> Option<Place> {
    Some(Place { lat_deg, lon_deg })
}

fn rad(value: Option<Result<f64, leadsman::messages::Absent>>, want: f64) -> bool {
    near(value.unwrap().unwrap(), want.to_degrees())
}

/// A and B.
#[test]
fn class_a_position() {
    let got = report(
        0x11F8_0E2B,
        "001C01C099D21500 013E0BB780D28716 028509A77902FFFF 030765A89603D0FF 04FFFFFFFFFFFFFF",
    );
    assert_eq!((got.message, got.mmsi, got.own), (Some(1), Some(366_123_456), false));
    assert_eq!(got.place.unwrap().ok(), place(37.8, -122.4));
    assert!(rad(got.course_deg, 4.2761) && rad(got.heading_deg, 4.3109));
    assert!(near(got.speed_kn.unwrap().unwrap(), 6.33 * 3600.0 / 1852.0));
    // Raw 918 of 3.125e-5 rad/s.
    assert!((got.rate_of_turn_deg_per_min.unwrap().unwrap() - 98.6204).abs() < 1e-4);
}

/// A and B.
#[test]
fn class_b_position() {
    let got = report(0x11F8_0F2B, "201B12C05A271480 2165140600C86C20 22F2FFFF0500FFFF 2307FFFFFF77FF07");
    assert_eq!((got.message, got.mmsi, got.own), (Some(18), Some(338_123_456), false));
    assert_eq!(got.place.unwrap().ok(), place(54.4, 10.2));
    assert!(got.course_deg.unwrap().is_err() && got.heading_deg.unwrap().is_err());
    assert!(near(got.speed_kn.unwrap().unwrap(), 0.05 * 3600.0 / 1852.0));
}

/// M.
#[test]
fn class_b_extended() {
    let got = report(
        0x11F8_102B,
        "C03613C15A2714C0 C1A72306400A7C20 C23C5C3D010100F0 C3250A3E1F55001D \
         C4000E0020004558 C554454E44454420 C642404040404040 C7404040403CF8FF",
    );
    assert_eq!((got.message, got.mmsi, got.own), (Some(19), Some(338_123_457), false));
    assert_eq!(got.place.unwrap().ok(), place(54.5, 10.3));
    assert!(rad(got.course_deg, 1.5708) && rad(got.heading_deg, 1.5882));
    assert_eq!((got.ship_type, got.size_m), (Some(37), Some((Ok(8.5), Ok(2.9)))));
    assert_eq!(got.name.as_deref(), Some("EXTENDED B"));
}

/// A.
#[test]
fn aid_to_navigation() {
    let got = report(
        0x11F8_112B,
        "402A15E06C223B60 41C40C0620697420 42311E001E00FFFF 43FFFF54E300E010 \
         44014558414D504C 45452042554F5920 4631FFFFFFFFFFFF",
    );
    assert_eq!((got.message, got.mmsi, got.own), (Some(21), Some(992_111_840), false));
    assert_eq!(got.place.unwrap().ok(), place(54.45, 10.15));
    assert_eq!(got.size_m, Some((Ok(3.0), Ok(3.0))));
    assert_eq!(got.name.as_deref(), Some("EXAMPLE BUOY 1"));
}

/// M.
#[test]
fn base_station() {
    let got = report(0x1DFB_012B, "001904B03F200060 01C40C0600936020 02FD009FFF1AFFFF 0307E64F1FFFFFFF");
    assert_eq!((got.message, got.mmsi), (Some(4), Some(2_113_456)));
    assert_eq!(got.place.unwrap().ok(), place(54.32, 10.15));
}

/// A.
#[test]
fn static_data() {
    let got = report(
        0x19FB_022B,
        "604C0540078D0E29 61788A0050443132 623334404558414D 63504C4520564553 6453454C40404040 \
         654040247D002600 6613002800E64F00 676E0A1EB4004B49 68454C4040404040 6940404040404040 6A4040404085E007",
    );
    assert_eq!((got.message, got.mmsi, got.imo), (Some(5), Some(244_123_456), Some(9_074_729)));
    assert_eq!((got.call_sign.as_deref(), got.name.as_deref()), (Some("PD1234"), Some("EXAMPLE VESSEL")));
    assert_eq!((got.ship_type, got.size_m), (Some(36), Some((Ok(12.5), Ok(3.8)))));
    assert_eq!((got.draught_m, got.destination.as_deref()), (Some(Ok(1.8)), Some("KIEL")));

    let got = report(0x19FB_112B, "801B18C05A271453 81414D504C452043 8252414654404040 834040404040E007");
    assert_eq!((got.mmsi, got.name.as_deref(), got.own), (Some(338_123_456), Some("SAMPLE CRAFT"), false));

    let got = report(
        0x19FB_122B,
        "A02318C05A271425 A141424331323334 A257445831323340 A35F00200010001E A400FFFFFFFFFFE0 A507FFFFFFFFFFFF",
    );
    assert_eq!((got.mmsi, got.ship_type, got.mothership), (Some(338_123_456), Some(37), None));
    assert_eq!((got.vendor.as_deref(), got.call_sign.as_deref()), (Some("ABC1234"), Some("WDX123")));
    assert_eq!(got.size_m, Some((Ok(9.5), Ok(3.2))));
}

/// Transceiver information 2, 3, 4 mark the own vessel (list AISTX): class B with its bits set accordingly.
#[test]
fn own_vessel() {
    for (byte, own) in [(0x07, false), (0x0F, false), (0x17, true), (0x1F, true), (0x27, true), (0x2F, false)]
    {
        let frames = format!("201B12C05A271480 2165140600C86C20 22F2FFFF0500FFFF 23{byte:02X}FFFFFF77FF07");
        assert_eq!(report(0x11F8_0F2B, &frames).own, own);
    }
}

/// A.
#[test]
fn route_and_destination() {
    let (_, data) = message(
        0x19F9_0560,
        "A02A000002000000 A10100E006015445 A25354FF01000301 A34100936020C03D A40B060200030142 \
         A5E0266520806514 A606FFFFFFFFFFFF",
    );
    let got = route(&data).unwrap();
    assert_eq!((got.name.as_str(), got.waypoints.len()), ("TEST", 2));
    let points: Vec<_> = got.waypoints.iter().map(|p| (p.id, p.name.as_str(), p.at.ok())).collect();
    assert_eq!(points, [(Some(1), "A", place(54.32, 10.14)), (Some(2), "B", place(54.35, 10.2))]);
    for length in 0..data.len() {
        let cut = route(&data[..length]);
        assert_eq!(cut.is_none(), length < 15);
        assert!(cut.is_none_or(|cut| cut.waypoints.len() == usize::from(length >= 29)));
    }
    let (_, data) = message(
        0x0DF9_0460,
        "80221170D3020040 81006E0A1EE64FB9 822F683001000000 8302000000E02665 8420806514061301",
    );
    assert_eq!(destination(&data).ok(), place(54.35, 10.2));
}

/// M.
#[test]
fn chart_datum() {
    let (_, data) = message(0x19F8_1423, "E014573834400000 E100000000000000 E200000057383440");
    let got = datum(&data).unwrap();
    assert_eq!((got.local.as_str(), got.reference.as_str()), ("W84", "W84"));
    assert_eq!((got.delta_lat_deg, got.delta_lon_deg), (Ok(0.0), Ok(0.0)));
}
