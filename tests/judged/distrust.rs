//! Recordings that exclude nothing: in the wrong order, with holes, cut packets, or no checksums.

use crate::hosts::{GROUP, Traffic};
use crate::make::{ALL, START_US, ethernet, ipv4, mac, pcap_head, pcap_record, sentence, tcp, udp};
use crate::silences::{depths, standing, without};
use crate::wires::sensors;
use crate::{alarms, ask, judge};
use leadsman::report::model::Standing;

/// Two parts of a log, put together the wrong way round: what lies between them is not what was sent between them.
#[test]
fn parts_in_the_wrong_order_exclude_no_silence() {
    let frames = || [sensors(0, 200), depths(0, 200)].concat();
    let (first, second) = (without(frames(), &[(100.0, 300.0)]), without(frames(), &[(-1.0, 100.0)]));
    let (told, why) = standing([second, first].concat(), "no-depth", "device-dropout");
    assert_eq!(told, Standing::Open);
    assert!(why.contains("steps back by"), "{why}");
}

/// Who restarts while the recorder sleeps claims its address unseen.
#[test]
fn a_hole_excludes_no_restart() {
    let frames = without([sensors(0, 200), depths(0, 200)].concat(), &[(90.0, 110.0)]);
    let (told, why) = standing(frames, "data-drops-out", "device-restart");
    assert_eq!(told, Standing::Open);
    assert!(why.contains("gap of 20"), "{why}");
}

/// A capture of so many bytes of each packet: discovers of DHCP are longer.
#[test]
fn cut_packets_are_told_and_exclude_no_refused_address() {
    const KEPT: usize = 60;
    let mut file = pcap_head(1);
    for i in 0..400_u64 {
        let payload = ipv4(0x0A2F_0101, 0xEFFE_0702, 17, (0, 0, false), &udp(5000, 5000, &[7; 200]));
        let packet = ethernet(1, [1, 0, 0x5E, 0x7E, 7, 2], 0x0800, &payload);
        let at = file.len();
        pcap_record(&mut file, START_US + i * 250_000, &packet[..KEPT]);
        file[at + 12..at + 16].copy_from_slice(&(packet.len() as u32).to_le_bytes());
    }
    let report = ask(&[file], "display-disconnects");
    let problem = "400 packets were cut by the recorder behind 60 bytes";
    assert!(
        report.recordings[0].problems.iter().any(|text| text.contains(problem)),
        "{:?}",
        report.recordings
    );
    for cause in ["dhcp-unanswered", "rival-dhcp-servers"] {
        let row = report.complaints[0].causes.iter().find(|row| row.cause == cause).unwrap();
        assert_eq!(row.standing, Standing::Open);
        assert!(row.because.contains("cut behind 60 bytes"), "{}", row.because);
    }
}

/// A port that shows groups alone says nothing of what one host sends another.
#[test]
fn a_port_without_mirror_excludes_no_full_link() {
    let mut file = pcap_head(1);
    for i in 0..400_u64 {
        let to = if i % 2 == 0 { ALL } else { [1, 0, 0x5E, 0x7E, 7, 2] };
        let payload = ipv4(0x0A2F_0101, 0xEFFE_0702, 17, (0, 0, false), &udp(5000, 5000, &[7; 200]));
        pcap_record(&mut file, START_US + i * 250_000, &ethernet(1 + i % 3, to, 0x0800, &payload));
    }
    assert_eq!(standing(file, "display-disconnects", "link-saturated").0, Standing::Open);
}

/// Sentences without checksums cannot show a bad one.
#[test]
fn who_sends_no_checksums_shows_no_bad_ones() {
    let said = |i: u32| sentence(&format!("SDDPT,{}.{},0.3,", 7 + i % 3, i % 10));
    let line = |i: u32| format!("2026-06-01T08:{:02}:{:02}.000Z {}", i / 60, i % 60, said(i));
    let with: String = (0..300).map(line).collect();
    let bare: String = with.lines().map(|line| format!("{}\n", &line[..line.len() - 3])).collect();
    assert_eq!(standing(with.into_bytes(), "data-drops-out", "bad-checksum").0, Standing::RuledOut);
    assert_eq!(standing(bare.into_bytes(), "data-drops-out", "bad-checksum").0, Standing::Open);
}

/// The second half of a connection before the first: its bytes come with lower numbers, and none was sent again.
#[test]
fn parts_in_the_wrong_order_send_nothing_again() {
    let half = |from: u32| {
        let mut out = Vec::new();
        for i in from..from + 300 {
            let packet = tcp((0x0A2F_0101, 0x0A2F_0102), (9000, 9001), 1000 + 100 * i, 0x10, &[9; 100]);
            let packet = ethernet(1, mac(2), 0x0800, &packet);
            pcap_record(&mut out, START_US + u64::from(i) * 100_000, &packet);
        }
        out
    };
    let report = judge(&[[pcap_head(1), half(300), half(0)].concat()]);
    assert!(report.findings.iter().all(|f| f.kind != "tcp-retransmission"), "{:?}", report.findings);
}

/// A gateway sends each sentence in a datagram of its own, and the recorder cuts those of the position. A sounder whose sentences are
/// whole is missed when it pauses; where a datagram in ten holds two lines, its sentences may stand behind the cut.
#[test]
fn who_is_seen_whole_is_judged_in_a_cut_capture() {
    for joins in [false, true] {
        let mut traffic = Traffic::of_two_displays(240.0);
        let mut send = |at: f64, lines: &str| {
            let datagram = ipv4(0xC0A8_2F04, GROUP, 17, (0, 0, false), &udp(10110, 10110, lines.as_bytes()));
            traffic.0.push((at, ethernet(4, [1, 0, 0x5E, 0x7E, 7, 1], 0x0800, &datagram)));
        };
        for i in 0..240_u32 {
            let at = f64::from(i);
            let deg = |tenth: u32| sentence(&format!("HCHDG,{}.{tenth},,,,", 90 + i % 3));
            let place = format!("5430.{i:04},N,01010.0000,E,1,09,0.9,2.0,M,44.0,M,,");
            send(at + 0.2, &sentence(&format!("GPGGA,1200{:02}.00,{place}", i % 60)));
            send(at + 0.4, &deg(1));
            send(at + 0.6, &if joins && i % 10 == 0 { deg(3) + &deg(4) } else { deg(3) });
            if !(100..118).contains(&i) && !(160..180).contains(&i) {
                send(at + 0.8, &sentence(&format!("SDDPT,{:.1},0.4,", 7.4 + f64::from(i % 7) / 10.0)));
            }
        }
        let report = judge(&[traffic.recorded_up_to(96)]);
        let expected: &[&str] = if joins { &[] } else { &["device-dropout"] };
        assert_eq!(alarms(&report), expected, "{:?}", report.findings);
    }
}
