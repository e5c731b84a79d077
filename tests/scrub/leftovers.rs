//! Nothing of the owner is left in the messages of every demo recording, and of recordings with everything in them.

use crate::messages::{DAY, content, rows};
use crate::secrets::{Search, Secrets};
use crate::walk::{Piece, walk};
use leadsman::scrub::content::Content;
use std::fs::{self, File};
use std::io::Write;
use std::net::IpAddr;
use std::path::PathBuf;

/// What is left of a recording's secrets in its messages, addresses and lines once they are rewritten.
fn left(recording: &str, secrets: &Secrets, content: &mut Content) -> Vec<String> {
    let mut search = Search::new(secrets);
    walk(recording, &mut |piece| match piece {
        // The bytes around messages are the carriers' concern.
        Piece::Raw(_) => {}
        Piece::N2k(id, data) => {
            let mut data = data.to_vec();
            content.n2k(id.pgn, id.source, Some(DAY), &mut data);
            search.piece(Piece::N2k(id, &data));
        }
        Piece::Line(line) => {
            let start = line.iter().position(|b| matches!(b, b'$' | b'!')).unwrap_or(line.len());
            let mut line = line[start..].to_vec();
            content.sentence(Some(DAY), &mut line);
            search.piece(Piece::Line(&line));
        }
        Piece::Stations(macs, ips) => {
            let (mut macs, mut ips) = (macs.to_vec(), ips.to_vec());
            macs.iter_mut().for_each(|mac| content.mac(mac));
            for ip in &mut ips {
                *ip = match *ip {
                    IpAddr::V4(v4) => {
                        let mut bytes = v4.octets();
                        content.ipv4(&mut bytes);
                        IpAddr::from(bytes)
                    }
                    IpAddr::V6(v6) => {
                        let mut bytes = v6.octets();
                        content.ipv6(&mut bytes);
                        IpAddr::from(bytes)
                    }
                };
            }
            search.piece(Piece::Stations(&macs, &ips));
        }
    });
    search.end()
}

fn nothing_left(recording: &str, at_least: usize) {
    let secrets = Secrets::of(recording);
    assert!(secrets.count() >= at_least, "{recording}: only {} secrets were seen", secrets.count());
    assert!(!secrets.found_in(recording).is_empty(), "{recording}: the search finds nothing in the original");
    let found = left(recording, &secrets, &mut content(0x5A));
    assert!(
        found.is_empty(),
        "{recording}: {} left, such as {:#?}",
        found.len(),
        &found[..found.len().min(8)]
    );
}

/// The demo recordings.
pub(crate) fn captures() -> Vec<String> {
    let captures = format!("{}/captures", env!("CARGO_MANIFEST_DIR"));
    let paths = fs::read_dir(captures).unwrap().map(|file| file.unwrap().path());
    let paths: Vec<String> = paths
        .filter(|path| path.extension().is_some_and(|e| e != "md" && e != "gitattributes"))
        .map(|path| path.to_str().unwrap().to_owned())
        .collect();
    assert!(paths.len() > 10);
    paths
}

/// A log of every message that the golden rows hold: routes, AIS of all kinds, product information, texts.
pub(crate) fn bus_with_everything(dir: &tempfile::TempDir) -> PathBuf {
    let path = dir.path().join("everything.log");
    let mut log = File::create(&path).unwrap();
    let mut at = 0;
    for row in rows(include_str!("../golden/golden_n2k.jsonl")) {
        for frame in row["frames"].as_array().unwrap() {
            at += 1;
            let (id, data) = (frame[0].as_str().unwrap(), frame[1].as_str().unwrap().to_uppercase());
            writeln!(log, "({}.{:03}000) can0 {id}#{data}", 1_778_308_200 + at / 500, at % 500 * 2).unwrap();
        }
    }
    path
}

/// Sentences that give no readings but names and places.
const NAMED: [&str; 12] = [
    "$GPWPL,3024.1234,S,02436.5678,W,REEF7",
    "$GPRMB,A,0.66,L,HARBOUR,REEF7,3024.1234,S,02436.5678,W,1.3,52.5,0.5,V",
    "$GPBWC,063000,3024.1234,S,02436.5678,W,213.8,T,218.0,M,4.6,N,REEF7",
    "$GPRTE,2,1,c,FISHING1,HARBOUR,REEF7,WRECK12",
    "$GPBOD,97.0,T,103.2,M,REEF7,HARBOUR",
    "$GPAPB,A,A,0.1,R,N,V,V,11,M,REEF7,11,M,11,M",
    "$RATTM,11,11.4,13.6,T,7.0,20.0,T,0.0,0.0,N,GULLFLIGHT,T,,063000.00,M",
    "$GPTXT,01,01,02,GULLFLIGHT AT REEF7",
    "$IIALR,063000.00,012,A,V,GULLFLIGHT ANCHOR DRAG",
    "$GPGLL,3024.1234,S,02436.5678,W,063000.00,A,A",
    "$CVTLL,01,3024.1234,S,02436.5678,W,GULLFLIGHT,063000.00,T,",
    "$PABC,3024.1234,S,02436.5678,W,GULLFLIGHT",
];

/// A log of every sentence that the golden rows hold, AIS too, and of those with names.
pub(crate) fn line_with_everything(dir: &tempfile::TempDir) -> PathBuf {
    let path = dir.path().join("everything.txt");
    let mut log = File::create(&path).unwrap();
    let lines = rows(include_str!("../golden/golden_0183.jsonl"));
    let ais = rows(include_str!("../golden/golden_ais.jsonl"));
    let lines = lines.iter().map(|row| row["line"].as_str().unwrap());
    let ais = ais.iter().flat_map(|row| row["lines"].as_array().unwrap().iter().map(|l| l.as_str().unwrap()));
    for (n, line) in lines.chain(ais).chain(NAMED).enumerate() {
        writeln!(log, "2026-05-09T06:{:02}:{:02}.000Z {line}", n / 60, n % 60).unwrap();
    }
    path
}

#[test]
fn nothing_is_left_of_the_demo_boat() {
    captures().iter().for_each(|path| nothing_left(path, 8));
}

#[test]
fn nothing_is_left_of_a_bus_with_everything() {
    let dir = tempfile::tempdir().unwrap();
    nothing_left(bus_with_everything(&dir).to_str().unwrap(), 200);
}

#[test]
fn nothing_is_left_of_a_line_with_everything() {
    let dir = tempfile::tempdir().unwrap();
    nothing_left(line_with_everything(&dir).to_str().unwrap(), 100);
}
