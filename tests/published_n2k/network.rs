//! Network management messages.

use crate::frames::message;
use leadsman::messages::n2k::{
    Answer, FunctionCode, GroupFunction, Heartbeat, Name, NetworkMessage, network,
};

fn read(id: u32, frames: &str) -> NetworkMessage {
    let (id, data) = message(id, frames);
    for length in 0..data.len() {
        let _ = network(id, &data[..length]);
    }
    network(id, &data).unwrap()
}

/// A fast packet of any payload (hexadecimal), as its frames.
fn fast(payload: &str) -> String {
    let mut frames = format!("00{:02X}{}", payload.len() / 2, &payload[..payload.len().min(12)]);
    for (n, chunk) in payload.as_bytes().get(12..).unwrap_or_default().chunks(14).enumerate() {
        frames += &format!(" {:02X}{}", n + 1, std::str::from_utf8(chunk).unwrap());
    }
    frames
}

/// Claim: A, PyPI can-j1939, crate kinavis-j1939; request and refusal: A.
#[test]
fn claims_and_requests() {
    let name = Name(0xC078_9100_FFFB_CD15);
    assert_eq!(read(0x18EE_FF23, "15CDFBFF009178C0"), NetworkMessage::Claim { name, cannot: false });
    assert_eq!(read(0x18EE_FFFE, "15CDFBFF009178C0"), NetworkMessage::Claim { name, cannot: true });
    assert_eq!(read(0x18EA_FF01, "14F001"), NetworkMessage::Request { pgn: 126_996 });
    assert_eq!(read(0x18EA_FF01, "14F001FFFFFFFFFF"), NetworkMessage::Request { pgn: 126_996 });
    let refused = NetworkMessage::Acknowledge {
        answer: Answer::Refused,
        group_function: None,
        address: None,
        pgn: 130_316,
    };
    assert_eq!(read(0x18E8_0122, "01FFFFFFFF0CFD01"), refused);
}

/// M: the fields of NMEA corrigendum 126993.
#[test]
fn heartbeat() {
    let want = Heartbeat {
        interval_raw: Some(60_000),
        counter: Some(7),
        controller_1: Some(0),
        controller_2: None,
        equipment: Some(0),
    };
    assert_eq!(read(0x1DF0_1123, "60EA07CCFFFFFFFF"), NetworkMessage::Heartbeat(want));
}

/// A.
#[test]
fn product_information() {
    let fill: Vec<String> = (0x20..=0x33).map(|head| format!("{head:02X}FFFFFFFFFFFFFF")).collect();
    let mut frames: Vec<&str> = fill.iter().map(String::as_str).collect();
    for (at, frame) in [
        (0, "20863408D2044465"),
        (1, "217074682053656E"),
        (2, "22736F72FFFFFFFF"),
        (5, "25FFFF312E3032FF"),
        (9, "29FFFFFFFFFFFF41"),
        (14, "2EFFFFFF534E3030"),
        (15, "2F30313233FFFFFF"),
        (19, "330103FFFFFFFFFF"),
    ] {
        frames[at] = frame;
    }
    let NetworkMessage::Product(got) = read(0x19F0_1422, &frames.join(" ")) else { panic!() };
    assert_eq!((got.database_version, got.product_code), (Some(2100), Some(1234)));
    assert_eq!((got.model.as_str(), got.software.as_str()), ("Depth Sensor", "1.02"));
    assert_eq!((got.version.as_str(), got.serial.as_str()), ("A", "SN000123"));
    assert_eq!((got.certification_level, got.load_equivalency), (Some(1), Some(3)));
}

/// A.
#[test]
fn configuration_information() {
    let frames = "401C0501424F5702 410115014578616D 42706C6520496E73 437472756D656E74 4473FFFFFFFFFFFF";
    let NetworkMessage::Configuration(got) = read(0x19F0_1622, frames) else { panic!() };
    assert_eq!(
        (got.description_1.as_str(), got.description_2.as_str(), got.manufacturer.as_str()),
        ("BOW", "", "Example Instruments")
    );
}

/// M: layouts of the standard's main text.
#[test]
fn group_functions_and_lists() {
    let plain = GroupFunction {
        function: FunctionCode::Request,
        pgn: 127_250,
        interval_ms: Some(1000),
        parameters: Some(0),
        pgn_error: None,
        interval_error: None,
    };
    let group = |payload: &str| read(0x0DED_DA01, &fast(payload));
    assert_eq!(group("0012F101E8030000FFFF00"), NetworkMessage::GroupFunction(plain));
    let unchanged = GroupFunction { interval_ms: None, ..plain };
    assert_eq!(group("0012F101FFFFFFFFFFFF00"), NetworkMessage::GroupFunction(unchanged));
    let done = GroupFunction {
        function: FunctionCode::Acknowledge,
        interval_ms: None,
        pgn_error: Some(0),
        interval_error: Some(0),
        ..plain
    };
    assert_eq!(group("0212F1010000"), NetworkMessage::GroupFunction(done));
    let refused = GroupFunction { pgn_error: Some(1), interval_error: Some(2), ..done };
    assert_eq!(group("0212F1012100"), NetworkMessage::GroupFunction(refused));
    let command = GroupFunction {
        function: FunctionCode::Command,
        pgn: 60_928,
        interval_ms: None,
        parameters: Some(2),
        ..plain
    };
    assert_eq!(group("0100EE00F80203010400"), NetworkMessage::GroupFunction(command));
    let list = NetworkMessage::PgnList { transmits: true, pgns: vec![126_996, 127_250] };
    assert_eq!(read(0x19EE_FF22, &fast("0014F00112F101")), list);
}
