"""AIS inputs, encoded and decoded by PyPI pyais 3.3.1; see make_golden.py."""

import random

import pyais

POSITIONS = [
    dict(lat=54.3233, lon=10.1394, speed=6.1, course=123.4, heading=120, second=30, turn=0),
    dict(lat=-33.8, lon=-151.2, speed=0.0, course=0.0, heading=0, second=0, turn=-20),
    dict(lat=89.99, lon=179.99, speed=102.1, course=359.9, heading=359, second=59, turn=126.0),
    # Nothing is available.
    dict(lat=91.0, lon=181.0, speed=102.3, course=360.0, heading=511, second=60, turn=-128),
]


def near(value, tol, none=()):
    return None if value is None or any(abs(float(value) - n) < 1e-6 for n in none) else [float(value), tol]


def text(value):
    return (value or "").strip() or None


def want(d):
    """What pyais reads, with the values that stand for "not available" (ITU-R M.1371) as none."""
    out = {"kind": [d.msg_type, 0], "mmsi": [int(d.mmsi), 0]}
    if d.msg_type in (1, 2, 3, 18, 19):
        no_place = abs(d.lat - 91) < 1e-6 or abs(d.lon - 181) < 1e-6
        # pyais rounds to six decimals: half a millionth of a degree.
        out |= {"lat": None if no_place else [d.lat, 6e-7], "lon": None if no_place else [d.lon, 6e-7],
                "speed": near(d.speed, 1e-6, [102.3]), "course": near(d.course, 1e-6, [360.0]),
                "heading": near(d.heading, 0, [511]),
                "second": None if d.second >= 60 else [d.second, 0]}
    if d.msg_type in (1, 2, 3):
        out["status"] = [int(d.status), 0]
        turn = d.turn
        # The library gives the special values 127, -127, -128 as an enumeration, and rounds the others
        # to whole degrees a minute.
        out["turn"] = None if isinstance(turn, pyais.constants.TurnRate) else [float(turn), 0.5]
    if d.msg_type == 4:
        out |= {"lat": [d.lat, 6e-7], "lon": [d.lon, 6e-7],
                "date": f"{d.year:04d}-{d.month:02d}-{d.day:02d}",
                "of-day": [d.hour * 3600 + d.minute * 60 + d.second, 0]}
    if d.msg_type == 5:
        out |= {"imo": None if d.imo == 0 else [d.imo, 0], "draught": near(d.draught, 1e-6, [0.0]),
                "destination": text(d.destination)}
    if d.msg_type in (5, 19) or (d.msg_type == 24 and d.partno == 1):
        out |= {"ship-type": [int(d.ship_type), 0],
                "dimensions": [d.to_bow, d.to_stern, d.to_port, d.to_starboard]}
    if d.msg_type == 5 or (d.msg_type == 24 and d.partno == 1):
        out["call-sign"] = text(d.callsign)
    if d.msg_type in (5, 19) or (d.msg_type == 24 and d.partno == 0):
        out["name"] = text(d.shipname)
    return out


def rows():
    """One row a message, with the sentences that carry it."""
    rng = random.Random(1371)
    cases = [dict(msg_type=kind, mmsi=rng.randint(200_000_000, 775_999_999), status=n, **p)
             for kind in (1, 2, 3, 18, 19) for n, p in enumerate(POSITIONS)]
    for case in cases:
        if case["msg_type"] in (18, 19):
            del case["turn"], case["status"]
        if case["msg_type"] == 19:
            case |= dict(shipname="GREY HERON", ship_type=36, to_bow=7, to_stern=5, to_port=2, to_starboard=2)
    cases += [
        dict(msg_type=4, mmsi=2_111_111, year=2026, month=5, day=9, hour=23, minute=59, second=58, lat=54.0, lon=-9.5),
        dict(msg_type=5, mmsi=211_000_111, imo=1234567, callsign="QX1A", shipname="GREY HERON", ship_type=70,
             to_bow=100, to_stern=50, to_port=11, to_starboard=12, draught=7.1, destination="NORTH PIER"),
        dict(msg_type=5, mmsi=211_000_112, imo=0, callsign="ABCDEFG", shipname="ABCDEFGHIJKLMNOPQRST", ship_type=0,
             to_bow=511, to_stern=511, to_port=63, to_starboard=63, draught=25.5, destination="ABCDEFGHIJKLMNOPQRST"),
        dict(msg_type=24, mmsi=211_000_113, partno=0, shipname="LITTLE TERN"),
        dict(msg_type=24, mmsi=211_000_113, partno=1, ship_type=37, callsign="QX2B", to_bow=6, to_stern=4, to_port=1,
             to_starboard=2),
    ]
    out = []
    for n, case in enumerate(cases):
        own = n % 3 == 0
        lines = pyais.encode_dict(case, talker_id="AI", sentence_type="VDO" if own else "VDM", radio_channel="AB"[n % 2], seq_id=n % 10)
        decoded = pyais.decode(*lines)
        out.append({"lines": lines, "want": {**want(decoded), "own": own}})
    return out
