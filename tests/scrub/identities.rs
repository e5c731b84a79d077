//! Identities: replaced alike wherever they stand, and nothing of them left.

use crate::messages::{DAY, content};
use leadsman::messages::n2k::{CanId, Name, NetworkMessage, network};
use leadsman::scrub::content::{Content, ContentOptions, Key, TextKind};

const NAME: u64 = 0xC078_9100_FFFB_CD15;

fn id(pgn: u32) -> CanId {
    CanId { priority: 6, pgn, source: 9, destination: 255 }
}

fn scrubbed(content: &mut Content, pgn: u32, message: &[u8]) -> Vec<u8> {
    let mut new = message.to_vec();
    content.n2k(pgn, 9, Some(DAY), &mut new);
    new
}

fn claimed(content: &mut Content, name: u64) -> Name {
    Name::from_claim(&scrubbed(content, 60_928, &name.to_le_bytes())).unwrap()
}

#[test]
fn a_name_keeps_what_the_device_is() {
    let mut content = content(1);
    let (old, new) = (Name(NAME), claimed(&mut content, NAME));
    assert!(old.unique_number() != new.unique_number() && old.manufacturer() != new.manufacturer());
    assert_eq!(old.0 >> 32, new.0 >> 32, "function, class, instances");
    let mut commanded = NAME.to_le_bytes().to_vec();
    commanded.push(77);
    let commanded = scrubbed(&mut content, 65_240, &commanded);
    assert_eq!((Name::from_claim(&commanded), commanded[8]), (Some(new), 77));
    assert_ne!(claimed(&mut content, NAME + 1).unique_number(), new.unique_number());
    let mut kept =
        Content::new(Key([1; 32]), ContentOptions { keep_makers: true, ..ContentOptions::default() });
    assert_eq!(claimed(&mut kept, NAME).manufacturer(), old.manufacturer());
    assert_ne!(claimed(&mut kept, NAME).unique_number(), old.unique_number());
}

fn product(model: &str, software: &str, version: &str, serial: &str) -> Vec<u8> {
    let mut message = vec![0x34, 0x08, 0x39, 0x30];
    for text in [model, software, version, serial] {
        message.extend(text.bytes().chain(std::iter::repeat(0xFF)).take(32));
    }
    message.extend([1, 6]);
    message
}

#[test]
fn product_information_stays_a_device_list() {
    let mut content = content(1);
    let read = |message: &[u8]| match network(id(126_996), message) {
        Some(NetworkMessage::Product(product)) => product,
        other => panic!("{other:?}"),
    };
    let old = product("Example Sounder", "1.02.3", "Mk 2", "SN-00417");
    let (a, b) = (read(&old), read(&scrubbed(&mut content, 126_996, &old)));
    assert_eq!(
        (a.database_version, a.certification_level, a.load_equivalency),
        (b.database_version, b.certification_level, b.load_equivalency)
    );
    assert_ne!(a.product_code, b.product_code);
    for (old, new) in
        [(&a.model, &b.model), (&a.software, &b.software), (&a.version, &b.version), (&a.serial, &b.serial)]
    {
        assert!(old != new && old.len() == new.len(), "{old} became {new}");
    }
    let twin =
        read(&scrubbed(&mut content, 126_996, &product("Example Sounder", "1.02.4", "Mk 2", "SN-00418")));
    assert_eq!((&twin.model, &twin.version, twin.product_code), (&b.model, &b.version, b.product_code));
    assert!(twin.software != b.software && twin.serial != b.serial);
    // What a sender leaves behind the end of a text is not passed either.
    let mut dirty = product("AB", "", "", "");
    dirty[7..36].copy_from_slice(b"the owner's name stands here.");
    let new = scrubbed(&mut content, 126_996, &dirty);
    assert!(new[6..36].iter().all(|b| *b == 0xFF), "{new:x?}");
}

#[test]
fn installation_texts_are_replaced_in_either_encoding() {
    let mut content = content(1);
    let mut message = vec![7, 1];
    message.extend(b"BOW 2");
    message.extend([12, 0]);
    message.extend("BOW 2".encode_utf16().flat_map(u16::to_le_bytes));
    message.extend([4, 1]);
    message.extend("ü".as_bytes());
    let new = scrubbed(&mut content, 126_998, &message);
    let Some(NetworkMessage::Configuration(new)) = network(id(126_998), &new) else { panic!("{new:x?}") };
    assert_eq!(new.description_1, new.description_2);
    assert!(new.description_1.len() == 5 && new.description_1 != "BOW 2");
    assert_eq!(new.manufacturer.len(), 2);
    // A text that claims more than there is.
    assert_eq!(scrubbed(&mut content, 126_998, &[200, 1, b'B', b'O', b'W']), [200, 0xFF, 0xFF, 0xFF, 0xFF]);
}

/// Two keys share nothing: no number and no text of one copy says which one of the other it is.
#[test]
fn copies_of_two_keys_cannot_be_joined() {
    let made = |key: u8| {
        let mut content = content(key);
        let mut out = Vec::new();
        let name = claimed(&mut content, NAME);
        out.push(format!("{}", name.unique_number()));
        out.push(format!("maker {}", name.manufacturer()));
        for kind in [TextKind::Host, TextKind::Model, TextKind::Serial, TextKind::Vessel] {
            let mut text = *b"bow-display-12";
            content.text(kind, &mut text);
            out.push(String::from_utf8(text.to_vec()).unwrap());
        }
        let mut mac = [0x00, 0x1B, 0xC5, 0x01, 0x02, 0x03];
        content.mac(&mut mac);
        out.push(format!("{:x?}", &mac[..3]));
        out.push(format!("{:x?}", &mac[3..]));
        let mut ip = [8, 8, 4, 4];
        content.ipv4(&mut ip);
        out.push(format!("{:?}", &ip[..2]));
        let mut line = b"$GPGLL,3023.9997,S,02435.9998,W,063000.00,A,A".to_vec();
        content.sentence(Some(DAY), &mut line);
        let line = String::from_utf8(line).unwrap();
        out.extend(line.split(',').filter(|f| f.len() > 8 && !f.starts_with("0630")).map(str::to_owned));
        let mut line = b"$PABC,1,2*13".to_vec();
        content.sentence(Some(DAY), &mut line);
        out.push(String::from_utf8(line).unwrap());
        out
    };
    let (a, b) = (made(1), made(2));
    assert_eq!(made(1), a, "and one key always gives the same");
    assert!(a.iter().zip(&b).all(|(a, b)| a != b), "{a:?}\n{b:?}");
}

/// Recordings of one boat, joined by key and anchor, lie in the same water though they begin elsewhere.
#[test]
fn one_key_and_anchor_join_recordings() {
    let line = |content: &mut Content, text: &str| {
        let mut line = text.as_bytes().to_vec();
        content.sentence(Some(DAY), &mut line);
        line
    };
    let (here, there) =
        ("$GPGLL,3023.9997,S,02435.9998,W,063000.00,A,A", "$GPGLL,3025.1000,S,02431.0000,W,063000.00,A,A");
    let mut first = content(1);
    let (a, b) = (line(&mut first, here), line(&mut first, there));
    let options = ContentOptions { anchor: first.anchor(), ..ContentOptions::default() };
    let mut second = Content::new(Key([1; 32]), options);
    assert_eq!((line(&mut second, there), line(&mut second, here)), (b, a));
}
