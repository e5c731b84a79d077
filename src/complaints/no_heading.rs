//! "There is no heading."

use super::{Cause, Complaint, Scope, exclude, never, unsaid};

pub(super) const COMPLAINT: Complaint = Complaint {
    name: "no-heading",
    scope: Scope::Quantity("heading"),
    causes: &[
        Cause {
            name: "no-heading-source",
            shown: unsaid,
            excluded: exclude::somebody_supplies,
            open: "No heading message was seen, but little was recorded.",
            check: "See that the heading sensor has power and is on the wire that was recorded.",
        },
        Cause {
            name: "device-dropout",
            shown: unsaid,
            excluded: exclude::devices_steady,
            open: "Too short, or no heading sensor in it, to tell whether the sensor drops out.",
            check: "Wiggle the connector and cable of the heading sensor while someone watches the heading.",
        },
        Cause {
            name: "device-restart",
            shown: unsaid,
            excluded: exclude::no_restart,
            open: "No NMEA 2000 bus in it, or too short, to see a restart.",
            check: "Measure the supply of the heading sensor while pumps and motors start.",
        },
        Cause {
            name: "message-dropout",
            shown: unsaid,
            excluded: exclude::messages_steady,
            open: "Too short, or no steady heading in it, to tell pauses.",
            check: "Look at the heading sensor and its cable.",
        },
        Cause {
            name: "low-supply-voltage",
            shown: unsaid,
            excluded: exclude::voltage_up,
            open: "No device reports a supply voltage.",
            check: "Measure the voltage at the heading sensor's plug while pumps and motors start.",
        },
        Cause {
            name: "address-conflict",
            shown: unsaid,
            excluded: exclude::no_contention,
            open: "No address claims in it.",
            check: "Record the start of all devices: the address claims show who contends.",
        },
        Cause {
            name: "address-claim-failed",
            shown: unsaid,
            excluded: exclude::no_contention,
            open: "No address claims in it.",
            check: "Record the start of all devices: a device without an address says so.",
        },
        Cause {
            name: "wire-outage",
            shown: unsaid,
            excluded: exclude::wires_steady,
            open: "Too short to tell whether the whole wire goes.",
            check: "Look at the supply plug and fuse of the switch or backbone.",
        },
        Cause {
            name: "link-flap",
            shown: unsaid,
            excluded: exclude::devices_steady,
            open: "No Ethernet host that carries heading in it.",
            check: "Swap the network cable of the device that carries the heading, then its port.",
        },
        Cause {
            name: "heading-frozen",
            shown: unsaid,
            excluded: exclude::heading_follows,
            open: "The boat hardly turned: a heading that stands still would not show.",
            check: "Turn the boat slowly and watch whether the heading follows.",
        },
        Cause {
            name: "bus-error",
            shown: unsaid,
            excluded: never,
            open: "The recorder wrote no error frames; it may not write any.",
            check: "Measure the resistance between the data lines with the power off: about 60 ohm.",
        },
        Cause {
            name: "display-set-to-another-source",
            shown: unsaid,
            excluded: never,
            open: "Which source a display follows is never visible on the wire.",
            check: "Look at the heading entry of the display's source list, and choose the sensor that is there.",
        },
        Cause {
            name: "heading-paired-by-radio",
            shown: unsaid,
            excluded: never,
            open: "A heading sensor that is paired by radio cannot be seen on the wire.",
            check: "Look at the bow motor's own display; pair the sensor again.",
        },
    ],
};
