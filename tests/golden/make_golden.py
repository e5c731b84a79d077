"""Makes the golden values of tests/golden.rs by independent decoders.

Versions: n2k 0.5.0, pynmea2 1.19.0, pyais 3.3.1, python-can 4.6.1, dpkt 1.9.8 (requirements.txt); zstd as a program.
Run from the project's root in a virtual environment outside of it: `python tests/golden/make_golden.py`. The output
is deterministic. All inputs are this project's own: demo recordings of captures/, and generated values.

A number in "want" stands with its tolerance, null is "no value", anything else is compared as it is.
"""

import gzip
import io
import json
import pathlib
import random
import subprocess
import tempfile

import can
from n2k import messages as m
from n2k import types
from n2k.can_tools import can_id_to_n2k
from n2k.device_information import DeviceInformation
from n2k.message import Message
from n2k.utils import n2k_get_status_on_binary_status

import golden_0183
import golden_ais
import golden_n2k as g
import golden_net

HERE = pathlib.Path(__file__).parent
CAPTURES = HERE.parent.parent / "captures"
PER_PGN = 4


def unpacked(name):
    """The bytes of a demo recording."""
    path = CAPTURES / name
    if name.endswith(".zst"):
        return subprocess.run(["zstd", "-dcq", str(path)], check=True, capture_output=True).stdout
    return gzip.decompress(path.read_bytes()) if name.endswith(".gz") else path.read_bytes()


def write(name, rows):
    lines = [json.dumps(row, separators=(",", ":")) for row in rows]
    (HERE / name).write_text("\n".join(lines) + "\n")
    print(name, len(lines))


def row(pgn, data, want, sequence):
    frames = g.frames(pgn, data, sequence)
    return {"pgn": pgn, "source": 0x23, "data": data.hex(), "frames": frames, "want": want}


def generated():
    """Every PGN that the library encodes and decodes, with edge values."""
    sequence = 0
    for pgn in g.PGNS:
        rng = random.Random(pgn)
        for data in g.payloads(pgn, rng):
            sequence += 1
            yield row(pgn, data, g.parse(pgn, data), sequence)


def network():
    """Claims, requests, product and configuration information."""
    for name in (0xC0789100FFFBCD15, 0x200234000430744D, 0xFFFFFFFFFFFFFFFF, 0, 0xC09B823500123456):
        data = bytes(m.create_n2k_iso_address_claim_message_by_name(255, name).data)
        d = DeviceInformation.from_name(name)
        want = {"unique": d.unique_number, "manufacturer": d.manufacturer_code, "instance": d.device_instance,
                # The library's class is the whole byte; bit 0 of it is the reserved one (corrigendum 060928).
                "function": d.device_function, "class": d.device_class >> 1,
                "industry": d.industry_group, "system": d.system_instance}
        yield row(60928, data, {k: [v, 0] for k, v in want.items()}, 0)
    for pgn in (60928, 126996, 129029, 0, 131071):
        data = bytes(m.create_n2k_pgn_iso_request_message(255, pgn).data)
        yield row(59904, data, {"pgn": [m.parse_n2k_pgn_iso_request(Message(pgn=59904, data=bytearray(data))), 0]}, 0)
    for n, texts in enumerate((["MODEL A", "1.02", "REV 3", "000123"], ["M" * 32, "S" * 32, "V" * 32, "N" * 32])):
        p = types.ProductInformation(n2k_version=2100, product_code=65000 + n, n2k_model_id=texts[0],
                                     n2k_sw_code=texts[1], n2k_model_version=texts[2],
                                     n2k_model_serial_code=texts[3], certification_level=n, load_equivalency=2 + n)
        data = bytes(m.create_n2k_product_information_message(p, 255).data)
        p = m.parse_n2k_pgn_product_information(Message(pgn=126996, data=bytearray(data)))
        want = {"database": [p.n2k_version, 0], "product": [p.product_code, 0], "model": g.text(p.n2k_model_id),
                "software": g.text(p.n2k_sw_code), "version": g.text(p.n2k_model_version),
                "serial": g.text(p.n2k_model_serial_code), "level": [p.certification_level, 0],
                "load": [p.load_equivalency, 0]}
        yield row(126996, data, want, n)
    # The library's encoder cuts the second text to the length of the first: both are of one length here.
    for n, texts in enumerate((("BOW", "AFT", "MAKER"), ("D" * 60, "E" * 60, "F" * 60))):
        c = types.ConfigurationInformation(installation_description1=texts[0], installation_description2=texts[1],
                                           manufacturer_information=texts[2])
        data = bytes(m.create_n2k_configuration_information_message(c).data)
        c = m.parse_n2k_pgn_configuration_information(Message(pgn=126998, data=bytearray(data)))
        yield row(126998, data, {"description-1": g.text(c.installation_description1),
                                 "description-2": g.text(c.installation_description2),
                                 "maker": g.text(c.manufacturer_information)}, n)


def lists():
    """Messages with repeated parts: switches, routes, satellites."""
    for n, bits in enumerate((0, 0x55555555555555, 0xFFFFFFFFFFFFFF, 0xF0000000000001, 0x1B1B1B1B1B1B1B)):
        data = bytes(m.create_n2k_binary_status_report_message(
            m.BinaryStatusReport(device_bank_instance=n, bank_status=bits)).data)
        report = m.parse_n2k_binary_status_report(Message(pgn=127501, data=bytearray(data)))
        states = [n2k_get_status_on_binary_status(report.bank_status, item) for item in range(1, 29)]
        known = [s for s in states if s in (types.N2kOnOff.Off, types.N2kOnOff.On)]
        on = known.count(types.N2kOnOff.On)
        yield row(127501, data, {f"switches-on#{n}": [on, 0] if known else None}, n)
    for n, points in enumerate(([], [("PIER", 54.5, -10.25)], [("A", -89.9, 179.9), ("BUOY 7", None, None)])):
        route = m.RouteWaypointInformation(
            start=0, database=1, route=n, nav_direction=types.N2kNavigationDirection(0),
            route_name="HOME", supplementary_data=types.N2kGenericStatusPair(0),
            waypoints=[types.Waypoint(id=i, name=w[0], latitude=w[1], longitude=w[2]) for i, w in enumerate(points)])
        data = bytes(m.create_n2k_route_waypoint_information_message(route).data)
        route = m.parse_n2k_route_waypoint_information(Message(pgn=129285, data=bytearray(data)))
        want = {"route": g.text(route.route_name), "waypoints": [len(route.waypoints), 0]}
        for i, w in enumerate(route.waypoints):
            want |= {f"waypoint-{i}-id": [w.id, 0], f"waypoint-{i}-name": g.text(w.name),
                     **{f"waypoint-{i}-{k}": v for k, v in g.place(w.latitude, w.longitude).items()}}
        yield row(129285, data, want, n)
    for n, count in enumerate((0, 1, 11, 18)):
        view = m.GNSSSatellitesInView(mode=types.N2kRangeResidualMode(0), satellites=[
            types.SatelliteInfo(prn=i + 1, elevation=0.1 * i, azimuth=0.3 * i, snr=40.0, range_residuals=None,
                                usage_status=types.N2kPRNUsageStatus(i % 6)) for i in range(count)])
        data = bytes(m.create_n2k_gnss_satellites_in_view_message(view).data)
        view = m.parse_n2k_gnss_satellites_in_view(Message(pgn=129540, data=bytearray(data)))
        # 2 is used, 5 is used with corrections.
        used = sum(1 for s in view.satellites if int(s.usage_status) in (2, 5))
        yield row(129540, data, {"fix-satellites": [used, 0]}, n)


def recorded():
    """Messages of the demo bus: the log read by python-can, identifiers and fields by n2k."""
    with tempfile.NamedTemporaryFile(suffix=".log") as file:
        file.write(unpacked("healthy-bus.log.zst"))
        file.flush()
        seen, parts = {}, {}
        for frame in can.CanutilsLogReader(file.name):
            head, data = can_id_to_n2k(frame.arbitration_id), bytes(frame.data)
            # The library knows no variation model of 2025 and later, and refuses the whole message.
            if head.pgn not in g.PGNS or head.pgn == 127258 or seen.get(head.pgn, 0) >= PER_PGN:
                continue
            frames = [[f"{frame.arbitration_id:08X}", data.hex()]]
            if head.pgn in g.FAST:
                key = (head.pgn, head.source)
                if data[0] & 31 == 0:
                    parts[key] = (data[1], bytearray(data[2:]), frames)
                elif key in parts:
                    parts[key][1].extend(data[1:])
                    parts[key][2].extend(frames)
                if key not in parts or len(parts[key][1]) < parts[key][0]:
                    continue
                length, whole, frames = parts.pop(key)
                data = bytes(whole[:length])
            seen[head.pgn] = seen.get(head.pgn, 0) + 1
            yield {"pgn": head.pgn, "source": head.source, "data": data.hex(), "frames": frames,
                   "want": g.parse(head.pgn, data)}


write("golden_n2k.jsonl", [*generated(), *network(), *lists(), *recorded()])
write("golden_0183.jsonl", golden_0183.rows(unpacked("healthy-line.log").decode()))
write("golden_ais.jsonl", golden_ais.rows())
write("golden_net.jsonl", golden_net.rows(io.BytesIO(unpacked("healthy-network.pcapng.gz"))))
