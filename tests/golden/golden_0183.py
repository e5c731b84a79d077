"""NMEA 0183 inputs, read by PyPI pynmea2 1.19.0; see make_golden.py.

The library names and splits the fields and reads latitude, longitude, date and time; units are turned here. It does
not know DBK. DTM, OSD, THS, TTM, VWT and XDR are not compared yet.
"""

import datetime
import functools
import operator

import pynmea2

NM = 1852.0
KN = 3600 / 1852

BODIES = """
GPRMC,063000.00,A,3023.9997,S,02435.9998,W,0.2,115.8,090526,24.3,W,A
GPRMC,235959.99,A,8959.9999,N,17959.9999,E,99.9,359.9,311299,0.1,E,A
GPRMC,000000.00,V,,,,,,,010100,,,N
GPGGA,063000.00,3023.9997,S,02435.9998,W,1,10,0.9,19.6,M,-18.4,M,,
GPGGA,120000.50,0000.0001,N,00000.0001,E,2,04,12.5,-3.0,M,40.0,M,3.0,0120
GPGGA,120001.00,,,,,0,00,,,M,,M,,
GPGLL,4717.1125,N,00833.9159,E,092321.00,A,A
GPGLL,4717.1125,S,17933.9159,W,092321.00,V,N
GNGNS,092321.00,4717.1125,N,00833.9159,E,AA,14,0.8,500.1,48.0,,
GPVTG,54.7,T,34.4,M,5.5,N,10.2,K,A
GPVTG,,T,,M,0.0,N,0.0,K,A
GPVTG,359.9,T,,M,0.1,N,0.2,K,D
HCHDG,98.3,1.5,E,12.6,W
HCHDG,0.0,0.5,W,3.1,E
HCHDG,359.9,,,,
HEHDT,274.1,T
HEHDT,0.0,T
HEHDT,,T
HCHDM,238.5,M
SDDPT,36.4,-0.7
SDDPT,0.5,0.5
SDDPT,,
SDDBT,7.9,f,2.4,M,1.3,F
SDDBT,,f,,M,,F
SDDBS,7.9,f,2.4,M,1.3,F
WIMWV,214.8,R,0.1,K,A
WIMWV,359.9,T,12.4,N,A
WIMWV,90.0,R,8.0,M,A
WIMWV,,R,,N,V
WIMWD,10.1,T,10.1,M,12.0,N,6.2,M
WIVWR,75.0,R,1.0,N,0.51,M,1.85,K
WIVWR,20.0,L,15.0,N,7.7,M,27.8,K
YXMTW,17.8,C
YXMTW,-1.5,C
YXMTW,,C
VWVHW,45.0,T,48.0,M,3.5,N,6.4,K
VWVHW,,T,,M,0.0,N,0.0,K
VWVBW,10.1,-0.2,A,9.8,0.1,A
VWVLW,2.8,N,1.4,N
TIROT,-30.5,A
TIROT,720.0,A
TIROT,12.0,V
IIRSA,10.5,A,,V
IIRSA,-2.5,A,3.5,A
IIRPM,E,1,2418.2,10.5,A
GPXTE,A,A,0.67,L,N
GPXTE,A,A,1.25,R,N
GPXTE,V,V,,,N
GPAPB,A,A,0.10,R,N,V,V,011,M,DEST,011,M,011,M
GPRMB,A,0.66,L,003,004,4917.24,N,12309.57,W,001.3,052.5,000.5,V
GPBWC,225444,4917.24,N,12309.57,W,051.9,T,031.6,M,001.3,N,004
GPZDA,201530.00,04,07,2026,00,00
GPZDA,000000.00,29,02,2024,,
GPGSA,A,3,01,02,03,,,,07,,,,,,1.8,1.0,1.5
GPGSA,A,1,,,,,,,,,,,,,,,
GPGSV,3,1,11,03,03,111,00,04,15,270,00,06,01,010,00,13,06,292,00
GPGST,172814.0,0.006,0.023,0.020,273.6,0.023,0.020,0.031
"""


def checksum(body):
    return f"${body}*{functools.reduce(operator.xor, body.encode()):02X}"


def number(text, factor=1.0, ok=True, tol=1e-9):
    if not ok or text in ("", None):
        return None
    return [float(text) * factor, tol]


def signed(text, side, minus):
    return None if text in ("", None) else [-float(text) if side == minus else float(text), 1e-9]


def corrected(s):
    """Magnetic heading: the sensor's, which the library gives, plus its easterly deviation (IEC 61162-1, HDG)."""
    sensor, by = number(s.heading), signed(s.deviation, s.dev_dir, "W")
    return sensor and [(sensor[0] + (by[0] if by else 0)) % 360, 1e-9]


def place(s, ok=True):
    if not ok or not s.lat:
        return {"lat": None, "lon": None}
    return {"lat": [s.latitude, 1e-9], "lon": [s.longitude, 1e-9]}


def of_day(time):
    if not isinstance(time, datetime.time):
        return None
    return [time.hour * 3600 + time.minute * 60 + time.second + time.microsecond / 1e6, 1e-6]


def days(date):
    return [(date - datetime.date(1970, 1, 1)).days, 0]


def cross_track(error, side, ok):
    return number(error, NM if side == "L" else -NM, ok, 1e-6)


def rsa(s):
    if not s.rsa_port:
        return {"rudder": number(s.rsa_starboard)}
    return {"rudder#0": number(s.rsa_starboard), "rudder#1": number(s.rsa_port)}


def mwv(s):
    reference = {"R": "apparent", "T": "true-from-bow"}[s.reference]
    factor = {"K": 1000 / NM, "N": 1.0, "M": KN}[s.wind_speed_units]
    return {f"wind-angle/{reference}": number(s.wind_angle, ok=s.status == "A"),
            f"wind-speed/{reference}": number(s.wind_speed, factor, s.status == "A")}


def vwr(s):
    angle = float(s.deg_r)
    return {"wind-angle/apparent": [360 - angle if s.l_r == "L" else angle, 1e-9],
            "wind-speed/apparent": number(s.wind_speed_kn)}


def depth(below):
    return lambda s: {f"depth/{below}": number(s.depth_meters if hasattr(s, "depth_meters") else s.data[2])}


def rmc(s):
    ok = s.status == "A"
    return {**place(s, ok), "course/true": number(s.true_course, ok=ok),
            "ground-speed/true": number(s.spd_over_grnd, ok=ok), "days": days(s.datestamp),
            "of-day": of_day(s.timestamp), "variation": signed(s.mag_variation, s.mag_var_dir, "W")}


WANT = {
    "RMC": rmc,
    "GGA": lambda s: {**place(s, s.gps_qual != 0), "satellites": number(s.num_sats),
                      "hdop": number(s.horizontal_dil), "of-day": of_day(s.timestamp)},
    "GLL": lambda s: {**place(s, s.status == "A"), "of-day": of_day(s.timestamp)},
    "GNS": lambda s: {**place(s), "satellites": number(s.num_sats), "hdop": number(s.hdop)},
    "VTG": lambda s: {"course/true": number(s.true_track), "ground-speed/true": number(s.spd_over_grnd_kts)},
    "HDG": lambda s: {"heading/magnetic": corrected(s), "deviation": signed(s.deviation, s.dev_dir, "W"),
                      "carried-variation": signed(s.variation, s.var_dir, "W")},
    "HDT": lambda s: {"heading/true": number(s.heading)},
    "HDM": lambda s: {"heading/magnetic": number(s.heading)},
    "DPT": lambda s: {"depth/below-transducer": number(s.depth), "depth-offset": number(s.offset)},
    "DBT": depth("below-transducer"),
    "DBS": depth("below-surface"),
    "MWV": mwv,
    "MWD": lambda s: {"wind-angle/true-north": number(s.direction_true),
                      "wind-angle/magnetic-north": number(s.direction_magnetic),
                      "wind-speed/true-north": number(s.wind_speed_knots)},
    "VWR": vwr,
    "MTW": lambda s: {"water-temperature": number(s.temperature)},
    "VHW": lambda s: {"heading/true": number(s.heading_true), "heading/magnetic": number(s.heading_magnetic),
                      "water-speed": number(s.water_speed_knots)},
    "VBW": lambda s: {"water-speed": number(s.lon_water_spd),
                      "ground-speed/?": [(float(s.lon_grnd_spd) ** 2 + float(s.trans_grnd_spd) ** 2) ** 0.5, 1e-9]},
    "VLW": lambda s: {"log": number(s.trip_distance, NM, tol=1e-6),
                      "trip-log": number(s.trip_distance_reset, NM, tol=1e-6)},
    "ROT": lambda s: {"rate-of-turn": number(s.rate_of_turn, ok=s.status == "A")},
    "RSA": rsa,
    "RPM": lambda s: {f"engine#{s.engine_no}": number(s.speed), "propeller-pitch": number(s.pitch)},
    "XTE": lambda s: {"cross-track-error": cross_track(s.cross_track_err_dist, s.data[3], s.data[0] == "A")},
    "APB": lambda s: {"cross-track-error": cross_track(s.cross_track_err_mag, s.dir_steer, True)},
    "RMB": lambda s: {"cross-track-error": cross_track(s.cross_track_error, s.cte_correction_dir, s.status == "A"),
                      "waypoint-distance": number(s.dest_range, NM, tol=1e-6),
                      "waypoint-bearing": number(s.dest_true_bearing)},
    "BWC": lambda s: {"waypoint-distance": number(s.range_next, NM, tol=1e-6),
                      "waypoint-bearing": number(s.true_track)},
    "ZDA": lambda s: {"days": days(s.datestamp), "of-day": of_day(s.timestamp)},
    "GSA": lambda s: {"fix": s.mode_fix_type != "1", "fix-hdop": number(s.hdop),
                      "fix-satellites": [sum(1 for n in range(1, 13) if getattr(s, f"sv_id{n:02d}")), 0]},
    "GSV": lambda s: {"satellites-in-view": number(s.num_sv_in_view)},
    "GST": lambda s: {"position-deviation":
                      [(float(s.std_dev_latitude) ** 2 + float(s.std_dev_longitude) ** 2) ** 0.5, 1e-9]},
}


def rows(recording):
    """One row a sentence: ours, and some of each kind of the demo recording."""
    lines = [checksum(body) for body in BODIES.split()]
    seen = {}
    for line in recording.splitlines():
        sentence = line.split(" ", 1)[-1]
        kind = sentence[3:6]
        if kind in WANT and seen.setdefault(kind, 0) < 4:
            seen[kind] += 1
            lines.append(sentence)
    out = []
    for line in lines:
        s = pynmea2.parse(line, check=True)
        try:
            out.append({"line": line, "want": WANT[s.sentence_type](s)})
        except (AttributeError, TypeError, ValueError, KeyError) as error:
            raise ValueError(f"{line}: {s.fields}") from error
    return out
