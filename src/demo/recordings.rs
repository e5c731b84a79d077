//! The list of demo recordings: file, what it shows, and how it is made.

use crate::demo::boat::Voyage;
use crate::demo::bus::{self, BOW_MOTOR, BusPlan, PUCK};
use crate::demo::line::{self, LinePlan};
use crate::demo::network::{self, Host, NetworkPlan};
use crate::demo::passed_on::PassedOn;
use crate::demo::pcap_write::{Clock, ETHERNET, SOCKETCAN, pcap, socketcan};
use crate::demo::pcapng_write::pcapng;
use crate::demo::sensors::{CompassFault, SounderFault};
use crate::demo::text_write;
use flate2::{Compression, write::GzEncoder};
use std::io::{self, Write as _};

/// One demo recording.
pub(super) struct Demo {
    /// Its file name; the name tells the fault.
    pub(super) file: &'static str,
    /// What it shows, in one line.
    pub(super) shows: &'static str,
    /// What was recorded.
    recording: Recording,
    /// How the file is compressed.
    packing: Packing,
}

/// A recording by its wire and its form.
enum Recording {
    /// The NMEA 2000 bus.
    Bus(BusPlan, BusForm),
    /// The NMEA 0183 line.
    Line(LinePlan, LineForm),
    /// The Ethernet.
    Network(NetworkPlan, NetworkForm),
    /// The Ethernet of the whole boat, whose console display passes on what it hears on this bus.
    WholeBoat(NetworkPlan, BusPlan),
}

enum BusForm {
    /// SocketCAN text log.
    Log,
    /// Plain text with the time of day.
    ByTheClock,
    /// pcap with SocketCAN frames.
    Pcap(Clock),
}

enum LineForm {
    Iso,
    Tagged,
    Bare,
}

enum NetworkForm {
    Pcapng,
    Pcap,
}

/// How a file is stored.
enum Packing {
    Plain,
    Gzip,
    Zstd,
    /// Plain, and cut off in the middle of its last record.
    CutShort,
}

const HEALTHY_BUS: BusPlan = BusPlan {
    seconds: 300.0,
    bow: STRAIGHT,
    puck_heading: None,
    sounder: SounderFault::None,
    console_position_aft_m: None,
    cut_off: &[],
    restart: None,
};
const STRAIGHT: CompassFault = CompassFault { askew_deg: 0.0, late_s: 0.0, pulled: &[] };
const HEALTHY_LINE: LinePlan = LinePlan { seconds: 300.0, true_heading: false, second_sounder_m: None };
const HEALTHY_NETWORK: NetworkPlan =
    NetworkPlan { seconds: 240.0, hosts: Host::FOUR, switch_off: None, link_down: &[] };

/// Every demo recording, the healthy ones first.
pub(super) const DEMOS: [Demo; 18] = [
    Demo {
        file: "healthy-bus.log.zst",
        shows: "a healthy NMEA 2000 bus",
        recording: Recording::Bus(HEALTHY_BUS, BusForm::Log),
        packing: Packing::Zstd,
    },
    Demo {
        file: "healthy-network.pcapng.gz",
        shows: "a healthy Ethernet with two displays, a sounder and a gateway",
        recording: Recording::Network(HEALTHY_NETWORK, NetworkForm::Pcapng),
        packing: Packing::Gzip,
    },
    Demo {
        file: "healthy-line.log",
        shows: "a healthy NMEA 0183 line",
        recording: Recording::Line(HEALTHY_LINE, LineForm::Iso),
        packing: Packing::Plain,
    },
    Demo {
        file: "whole-boat.pcapng.gz",
        shows: "the Ethernet of a whole healthy boat with four displays; its bus is healthy-bus.log.zst",
        recording: Recording::WholeBoat(
            NetworkPlan { seconds: 300.0, hosts: Host::WHOLE, ..HEALTHY_NETWORK },
            HEALTHY_BUS,
        ),
        packing: Packing::Gzip,
    },
    Demo {
        file: "bow-display-no-depth.log.zst",
        shows: "a sounder that speaks on without its transducer",
        recording: Recording::Bus(
            BusPlan { sounder: SounderFault::Deaf { from_s: 95.0 }, ..HEALTHY_BUS },
            BusForm::Log,
        ),
        packing: Packing::Zstd,
    },
    Demo {
        file: "two-headings.log.gz",
        shows: "two heading sensors 11 degrees apart, the puck mounted askew",
        recording: Recording::Bus(
            BusPlan { puck_heading: Some(CompassFault { askew_deg: -11.0, ..STRAIGHT }), ..HEALTHY_BUS },
            BusForm::Log,
        ),
        packing: Packing::Gzip,
    },
    Demo {
        file: "true-and-magnetic.log",
        shows: "two headings that differ by the magnetic variation: one counts from true north",
        recording: Recording::Line(LinePlan { true_heading: true, ..HEALTHY_LINE }, LineForm::Tagged),
        packing: Packing::Plain,
    },
    Demo {
        file: "lagging-heading.pcap.zst",
        shows: "two heading sensors, the bow motor's 1.5 seconds late",
        recording: Recording::Bus(
            BusPlan {
                bow: CompassFault { late_s: 1.5, ..STRAIGHT },
                puck_heading: Some(STRAIGHT),
                ..HEALTHY_BUS
            },
            BusForm::Pcap(Clock::Nano),
        ),
        packing: Packing::Zstd,
    },
    Demo {
        file: "heading-jumps.txt.gz",
        shows: "one heading sensor that something magnetic pulls away seven times",
        recording: Recording::Bus(
            BusPlan {
                bow: CompassFault {
                    pulled: &[
                        (34.2, 35.6, 38.0),
                        (91.7, 93.9, 41.0),
                        (118.3, 119.1, -34.0),
                        (156.0, 158.7, 47.0),
                        (201.4, 203.0, 36.0),
                        (229.8, 231.1, -39.0),
                        (263.5, 266.0, 44.0),
                    ],
                    ..STRAIGHT
                },
                ..HEALTHY_BUS
            },
            BusForm::ByTheClock,
        ),
        packing: Packing::Gzip,
    },
    Demo {
        file: "depth-lost-at-speed.pcap.gz",
        shows: "depth that goes away above 21 knots and comes back below",
        recording: Recording::Bus(
            BusPlan { sounder: SounderFault::LosesBottom { above_kn: 21.0 }, ..HEALTHY_BUS },
            BusForm::Pcap(Clock::Micro),
        ),
        packing: Packing::Gzip,
    },
    Demo {
        file: "second-sounder.txt",
        shows: "two sounders whose depths differ by 0.8 metres",
        recording: Recording::Line(LinePlan { second_sounder_m: Some(0.8), ..HEALTHY_LINE }, LineForm::Bare),
        packing: Packing::Plain,
    },
    Demo {
        file: "two-positions.log.zst",
        shows: "two position sources, the console's antenna 5 metres aft of the puck's",
        recording: Recording::Bus(BusPlan { console_position_aft_m: Some(5.0), ..HEALTHY_BUS }, BusForm::Log),
        packing: Packing::Zstd,
    },
    Demo {
        file: "sensor-drops-out.txt.gz",
        shows: "a bow motor that twice falls silent while the bus goes on",
        recording: Recording::Bus(
            BusPlan { cut_off: &[(BOW_MOTOR, 97.4, 102.6), (BOW_MOTOR, 218.1, 227.3)], ..HEALTHY_BUS },
            BusForm::ByTheClock,
        ),
        packing: Packing::Gzip,
    },
    Demo {
        file: "restarting-puck.pcap.zst",
        shows: "a GPS puck that loses its supply for 11 seconds and starts anew",
        recording: Recording::Bus(
            BusPlan { restart: Some((PUCK, 141.2, 152.2)), ..HEALTHY_BUS },
            BusForm::Pcap(Clock::Nano),
        ),
        packing: Packing::Zstd,
    },
    Demo {
        file: "switch-outage.pcapng.zst",
        shows: "a switch without supply for 8 seconds: everyone silent, then everyone announcing anew",
        recording: Recording::Network(
            NetworkPlan { switch_off: Some((131.0, 139.0)), ..HEALTHY_NETWORK },
            NetworkForm::Pcapng,
        ),
        packing: Packing::Zstd,
    },
    Demo {
        file: "flapping-display.pcap.gz",
        shows: "a bow display whose link goes down twice for 6 seconds",
        recording: Recording::Network(
            NetworkPlan {
                link_down: &[(Host::Bow, 88.3, 94.3), (Host::Bow, 176.9, 182.9)],
                ..HEALTHY_NETWORK
            },
            NetworkForm::Pcap,
        ),
        packing: Packing::Gzip,
    },
    Demo {
        file: "cut-short.pcap",
        shows: "a healthy bus in a file that ends in the middle of a record",
        recording: Recording::Bus(BusPlan { seconds: 90.0, ..HEALTHY_BUS }, BusForm::Pcap(Clock::Micro)),
        packing: Packing::CutShort,
    },
    Demo {
        file: "too-short.log",
        shows: "a healthy bus, recorded for 12 seconds only",
        recording: Recording::Bus(BusPlan { seconds: 12.0, ..HEALTHY_BUS }, BusForm::Log),
        packing: Packing::Plain,
    },
];

impl Demo {
    /// The file's bytes, the same for the same seed.
    ///
    /// # Errors
    /// When a compressor fails, which it has no reason to.
    pub(super) fn bytes(&self, seed: u64) -> io::Result<Vec<u8>> {
        let voyage = Voyage::new(seed);
        let plain = match &self.recording {
            Recording::Bus(plan, form) => {
                let frames = bus::frames(plan, &voyage, seed);
                match form {
                    BusForm::Log => text_write::can_log(&frames),
                    BusForm::ByTheClock => text_write::can_by_the_clock(&frames),
                    BusForm::Pcap(clock) => {
                        let packets: Vec<_> = frames.iter().map(|(t, f)| (*t, socketcan(f))).collect();
                        pcap(SOCKETCAN, *clock, packets.iter().map(|(t, p)| (*t, p.as_slice())))
                    }
                }
            }
            Recording::Line(plan, form) => {
                let heard = line::lines(plan, &voyage, seed);
                match form {
                    LineForm::Iso => text_write::lines_iso(&heard),
                    LineForm::Tagged => text_write::lines_tagged(&heard),
                    LineForm::Bare => text_write::lines_bare(&heard),
                }
            }
            Recording::Network(plan, form) => {
                let packets = network::packets(plan, &voyage, None, seed);
                match form {
                    NetworkForm::Pcapng => pcapng("eth0", &packets),
                    NetworkForm::Pcap => {
                        pcap(ETHERNET, Clock::Micro, packets.iter().map(|(t, p)| (*t, p.as_slice())))
                    }
                }
            }
            Recording::WholeBoat(plan, bus) => {
                let heard = PassedOn::of(&bus::frames(bus, &voyage, seed));
                pcapng("eth0", &network::packets(plan, &voyage, Some(&heard), seed))
            }
        };
        self.packing.pack(plain)
    }
}

impl Packing {
    fn pack(&self, mut plain: Vec<u8>) -> io::Result<Vec<u8>> {
        match self {
            Self::Plain => Ok(plain),
            Self::Gzip => {
                let mut encoder = GzEncoder::new(Vec::new(), Compression::best());
                encoder.write_all(&plain)?;
                encoder.finish()
            }
            Self::Zstd => zstd::encode_all(plain.as_slice(), 19),
            Self::CutShort => {
                plain.truncate(plain.len().saturating_sub(5));
                Ok(plain)
            }
        }
    }
}
