"""NMEA 2000 inputs, encoded and decoded by PyPI n2k 0.5.0; see make_golden.py.

Payloads are written by the independent library's own encoder, so no layout of this project takes part. Known oddities
of that library, and how they are kept out:
- it knows only the "not available" code, so no input holds the codes for "out of range" and "reserved";
- load and torque of 127489, and humidity, are read as unsigned, AIS sizes and draught as signed: inputs stay where both agree;
- a ninth byte (SID) is written into 129033, whose frame has room for eight: it is cut off;
- the bit behind DTE in 129794 is not masked: DTE is no value that is compared;
- 129040, 129044, 129291, 129793, 130316, 130577, 130578 and network messages without a parser there (59392, 126993, 126464, 65240) are not compared.
"""

import enum
import math
import typing

from n2k import messages as m
from n2k import types
from n2k.can_tools import MsgHeader, n2k_id_to_can
from n2k.message import Message

KN = 3600 / 1852
DEG = 180 / math.pi
PI = math.pi

NORTH = {0: "true", 1: "magnetic"}
WIND = {0: "true-north", 1: "magnetic-north", 2: "apparent", 3: "true-from-bow", 4: "true-from-bow"}
FLUID = ["fuel", "fresh-water", "waste-water", "live-well", "oil", "black-water", "petrol"]
TEMPERATURE = [
    "water-temperature", "air-temperature", "inside-temperature", "engine-room-temperature",
    "main-cabin-temperature", "live-well-temperature", "bait-well-temperature", "refrigerator-temperature",
    "heating-temperature", "dew-point", "apparent-wind-chill", "theoretical-wind-chill", "heat-index",
    "freezer-temperature", "exhaust-gas-temperature", "shaft-seal-temperature",
]
PRESSURE = [
    "air-pressure", "water-pressure", "steam-pressure", "compressed-air-pressure", "hydraulic-pressure",
    "filter-pressure", "altimeter-setting", "oil-pressure", "fuel-pressure",
]


def num(value, factor=1.0, tol=1e-6, offset=0.0):
    """A number with its tolerance, or none."""
    return None if value is None else [value * factor + offset, tol]


def deg(value):
    """Radians as degrees."""
    return num(value, DEG, 1e-6)


def turn(value):
    """A direction: on the circle; more than a full turn (raw above 62832) cannot be."""
    if value is None or value > 6.28325:
        return None
    # Raw 62832 is a full turn rounded to 1e-4 rad: north, and not 0.0008 degrees past it.
    return [0.0 if round(value * 1e4) == 62832 else value * DEG, 1e-6]


def kn(value):
    return num(value, KN, 1e-6)


def celsius(value):
    return num(value, 1, 1e-6, -273.15)


def place(lat, lon):
    if lat is None or lon is None:
        return {"lat": None, "lon": None}
    return {"lat": [lat, 1e-9], "lon": [lon, 1e-9]}


def clock(days, seconds):
    return {"days": num(days, 1, 0), "of-day": num(seconds, 1, 1e-6)}


def at(name, instance):
    return name if instance is None else f"{name}#{instance}"


def north(name, reference):
    return f"{name}/{NORTH.get(int(reference), '?')}"


def text(value):
    return (value or "").replace("@", " ").strip()


def ais(x, **more):
    return {"message": num(int(x.message_id), 1, 0), "mmsi": num(x.user_id, 1, 0), **more}


def sizes(x):
    """Length, beam and draught; where the library has none it wrote the code of a signed field."""
    keys = [key for key in ("length", "beam", "draught") if getattr(x, key, None) is not None]
    return {key: num(getattr(x, key)) for key in keys}


def ais_moving(x, **more):
    return ais(x, **place(x.latitude, x.longitude), course=turn(x.cog), speed=kn(x.sog), heading=turn(x.heading),
               own=int(x.ais_transceiver_information) in (2, 3, 4), **more)


ANGLE = (-3.2767, 3.2764)
TURN = (0.0, 2 * PI)
SPEED = (0.0, 655.32)
LAT, LON = (-90.0, 90.0), (-180.0, 180.0)
DAYS, DAY_S = (0, 65532), (0.0, 86400.9999)
KELVIN = (0.0, 655.32)
ID = (0, 252)
AIS = dict(user_id=(0, 999_999_999), latitude=LAT, longitude=LON, cog=TURN, sog=SPEED, heading=TURN,
           length=(0.0, 3276.0), beam=(0.0, 3276.0))

# PGN: stem of the library's encoder and parser, ranges of the fields that matter, what the library's values are in this project's units.
PGNS = {
    126992: ("system_time", dict(system_date=DAYS, system_time=DAY_S),
             lambda x: clock(x.system_date, x.system_time)),
    127237: ("heading_track_control",
             dict(commanded_rudder_angle=ANGLE, heading_to_steer_course=TURN, track=TURN, rudder_limit=TURN,
                  off_heading_limit=TURN, vessel_heading=TURN),
             lambda x: {"commanded-rudder": deg(x.commanded_rudder_angle),
                        "heading-to-steer": turn(x.heading_to_steer_course), "commanded-track": turn(x.track),
                        "rudder-limit": turn(x.rudder_limit), "off-heading-limit": turn(x.off_heading_limit),
                        "autopilot-heading": turn(x.vessel_heading)}),
    127245: ("rudder", dict(rudder_position=ANGLE, angle_order=ANGLE, instance=ID),
             lambda x: {at("rudder", x.instance): deg(x.rudder_position),
                        at("rudder-order", x.instance): deg(x.angle_order)}),
    127250: ("heading", dict(heading=TURN, deviation=ANGLE, variation=ANGLE, ref=[0, 1, 2, 3]),
             lambda x: {north("heading", x.ref): turn(x.heading), "deviation": deg(x.deviation),
                        "carried-variation": deg(x.variation)}),
    127251: ("rate_of_turn", dict(rate_of_turn=(-67.1, 67.1)),
             lambda x: {"rate-of-turn": num(x.rate_of_turn, DEG * 60, 1e-5)}),
    127257: ("attitude", dict(yaw=ANGLE, pitch=ANGLE, roll=ANGLE),
             lambda x: {"yaw": deg(x.yaw), "pitch": deg(x.pitch), "roll": deg(x.roll)}),
    127258: ("magnetic_variation", dict(variation=ANGLE), lambda x: {"variation": deg(x.variation)}),
    127488: ("engine_parameters_rapid",
             dict(engine_instance=ID, engine_speed=(0.0, 16383.0), engine_boost_pressure=(0.0, 6553200.0),
                  engine_tilt_trim=(-128, 124)),
             lambda x: {at("engine", x.engine_instance): num(x.engine_speed),
                        at("boost-pressure", x.engine_instance): num(x.engine_boost_pressure),
                        at("tilt", x.engine_instance): num(x.engine_tilt_trim)}),
    127489: ("engine_parameters_dynamic",
             dict(engine_instance=ID, engine_oil_press=(0.0, 6553200.0), engine_oil_temp=(0.0, 6553.2),
                  engine_coolant_temp=KELVIN, alternator_voltage=(-327.68, 327.64), fuel_rate=(-3276.8, 3276.4),
                  engine_hours=(0.0, 4294967292.0), engine_coolant_press=(0.0, 6553200.0),
                  engine_fuel_press=(0.0, 65532000.0), engine_load=(0, 124), engine_torque=(0, 124)),
             lambda x: {at(key, x.engine_instance): value for key, value in {
                 "voltage": num(x.alternator_voltage), "oil-pressure": num(x.engine_oil_press),
                 "oil-temperature": celsius(x.engine_oil_temp),
                 "coolant-temperature": celsius(x.engine_coolant_temp), "fuel-rate": num(x.fuel_rate),
                 "engine-hours": num(x.engine_hours, 1 / 3600), "coolant-pressure": num(x.engine_coolant_press),
                 "fuel-pressure": num(x.engine_fuel_press),
                 # 0xFF is -1 of the signed field, and "not available" to the library.
                 **({} if x.engine_load is None else {"engine-load": num(x.engine_load)}),
                 **({} if x.engine_torque is None else {"engine-torque": num(x.engine_torque)})}.items()}),
    127505: ("fluid_level",
             dict(instance=(0, 12), fluid_type=list(range(7)), level=(-131.072, 131.056), capacity=(0.0, 4e8)),
             lambda x: {at(FLUID[x.fluid_type] + "-level", x.instance): num(x.level),
                        at("tank-capacity", x.instance): num(x.capacity)}),
    127506: ("dc_detailed_status",
             dict(dc_instance=ID, state_of_charge=ID, state_of_health=ID, time_remaining=(0.0, 3931920.0),
                  ripple_voltage=(0.0, 65.532), capacity=(0.0, 235_915_200.0)),
             lambda x: {at(key, x.dc_instance): value for key, value in {
                 "state-of-charge": num(x.state_of_charge), "state-of-health": num(x.state_of_health),
                 "time-remaining": num(x.time_remaining), "ripple-voltage": num(x.ripple_voltage),
                 # The library gives coulombs.
                 "remaining-capacity": num(x.capacity, 1 / 3600)}.items()}),
    127508: ("battery_status",
             dict(battery_instance=ID, battery_voltage=(-327.68, 327.64), battery_current=(-3276.8, 3276.4),
                  battery_temperature=KELVIN),
             lambda x: {at("voltage", x.battery_instance): num(x.battery_voltage),
                        at("battery-current", x.battery_instance): num(x.battery_current),
                        at("battery-temperature", x.battery_instance): celsius(x.battery_temperature)}),
    128259: ("boat_speed", dict(water_referenced=SPEED, ground_referenced=SPEED),
             lambda x: {"water-speed": kn(x.water_referenced), "speed-over-ground": kn(x.ground_referenced)}),
    128267: ("water_depth",
             dict(depth_below_transducer=(0.0, 42949672.92), offset=(-32.768, 32.764), max_range=(0.0, 2520.0)),
             lambda x: {"depth/below-transducer": num(x.depth_below_transducer), "depth-offset": num(x.offset),
                        "depth-range": num(x.max_range)}),
    128275: ("distance_log", dict(log=(0, 4294967292), trip_log=(0, 4294967292)),
             lambda x: {"total-log": num(x.log), "trip-log": num(x.trip_log)}),
    129025: ("lat_long_rapid", dict(latitude=LAT, longitude=LON), lambda x: place(x.latitude, x.longitude)),
    129026: ("cog_sog_rapid", dict(heading_reference=[0, 1, 2, 3], cog=TURN, sog=SPEED),
             lambda x: {north("course", x.heading_reference): turn(x.cog),
                        north("ground-speed", x.heading_reference): kn(x.sog)}),
    129029: ("gnss_data",
             dict(days_since_1970=DAYS, seconds_since_midnight=DAY_S, latitude=LAT, longitude=LON,
                  altitude=(-400.0, 9000.0), gnss_method=[1, 2, 3, 4, 5, 0, 14, 15], n_satellites=ID,
                  hdop=(0.0, 327.64)),
             # Without a fix the place does not count, whatever stands there.
             lambda x: {**(place(x.latitude, x.longitude) if x.gnss_method not in (0, 14, 15) else place(None, None)),
                        **clock(x.days_since_1970, x.seconds_since_midnight),
                        "satellites": num(x.n_satellites, 1, 0), "hdop": num(x.hdop),
                        **({"altitude": num(x.altitude)} if x.gnss_method not in (0, 14, 15)
                           and None not in (x.latitude, x.longitude) else {})}),
    129033: ("date_time_local_offset",
             dict(days_since_1970=DAYS, seconds_since_midnight=DAY_S, local_offset=(-1440, 1440)),
             lambda x: {**clock(x.days_since_1970, x.seconds_since_midnight),
                        "local-time-offset": num(x.local_offset)}),
    129038: ("ais_class_a_position", dict(AIS, rot=(-1.024, 1.0238), ais_transceiver_information=range(5)),
             lambda x: ais_moving(x, **{"rate-of-turn": num(x.rot, DEG * 60, 1e-5)})),
    129039: ("ais_class_b_position", dict(AIS, ais_transceiver_information=range(5)), ais_moving),
    129041: ("ais_aids_to_navigation_report", dict(AIS, a_to_n_name=["REEF NORTH", "B", "WRECK 12"]),
             lambda x: ais(x, **place(x.latitude, x.longitude), **sizes(x),
                           name=text(x.a_to_n_name))),
    129283: ("cross_track_error", dict(xte=(-21474836.48, 21474836.44)),
             lambda x: {"cross-track-error": num(x.xte)}),
    129284: ("navigation_info",
             dict(distance_to_waypoint=(0.0, 42949672.92), bearing_position_to_destination_waypoint=TURN,
                  destination_latitude=LAT, destination_longitude=LON, waypoint_closing_velocity=(-327.68, 327.64)),
             lambda x: {"distance-to-waypoint": num(x.distance_to_waypoint),
                        "bearing-to-waypoint": turn(x.bearing_position_to_destination_waypoint),
                        "waypoint-closing-speed": kn(x.waypoint_closing_velocity),
                        **{f"destination-{k}": v for k, v in
                           place(x.destination_latitude, x.destination_longitude).items()}}),
    129539: ("gnss_dop", dict(actual_mode=[0, 1, 2, 3, 7], hdop=(-327.68, 327.64)),
             lambda x: {"fix-hdop": num(x.hdop)}),
    129794: ("ais_class_a_static_data",
             dict(AIS, imo_number=(1, 9_999_999), callsign=["QX1A", "ABCDEFG"],
                  name=["GREY HERON", "ABCDEFGHIJKLMNOPQRST"], vessel_type=ID, draught=(0.0, 25.5),
                  destination=["NORTH PIER", "X"]),
             lambda x: ais(x, imo=num(x.imo_number, 1, 0), call_sign=text(x.callsign), name=text(x.name),
                           ship_type=num(x.vessel_type, 1, 0), **sizes(x),
                           destination=text(x.destination))),
    129809: ("ais_class_b_static_data_part_a", dict(AIS, name=["GREY HERON", "ABCDEFGHIJKLMNOPQRST"]),
             lambda x: ais(x, name=text(x.name))),
    129810: ("ais_class_b_static_data_part_b",
             dict(AIS, vessel_type=ID, vendor=["VND", "ABCDEFG"], callsign=["QX1A", "ABCDEFG"],
                  mothership_id=(0, 999_999_999)),
             lambda x: ais(x, ship_type=num(x.vessel_type, 1, 0), vendor=text(x.vendor), call_sign=text(x.callsign),
                           **sizes(x), mothership=num(x.mothership_id, 1, 0))),
    130306: ("wind_speed", dict(wind_speed=SPEED, wind_angle=TURN, wind_reference=[0, 1, 2, 3, 4, 7]),
             lambda x: {f"wind-angle/{WIND.get(int(x.wind_reference), '?')}": turn(x.wind_angle),
                        f"wind-speed/{WIND.get(int(x.wind_reference), '?')}": kn(x.wind_speed)}),
    130310: ("outside_environmental_parameters",
             dict(water_temperature=KELVIN, outside_ambient_air_temperature=KELVIN,
                  atmospheric_pressure=(0.0, 6553200.0)),
             lambda x: {"water-temperature": celsius(x.water_temperature),
                        "air-temperature": celsius(x.outside_ambient_air_temperature),
                        "air-pressure": num(x.atmospheric_pressure)}),
    130311: ("environmental_parameters",
             dict(temp_source=range(16), temperature=KELVIN, humidity_source=[0, 1], humidity=(0.0, 100.0),
                  atmospheric_pressure=(0.0, 6553200.0)),
             lambda x: {TEMPERATURE[x.temp_source]: celsius(x.temperature),
                        ["inside-humidity", "humidity"][x.humidity_source]: humidity(x.humidity),
                        "air-pressure": num(x.atmospheric_pressure)}),
    130312: ("temperature",
             dict(temp_instance=ID, temp_source=range(16), actual_temperature=KELVIN, set_temperature=KELVIN),
             lambda x: {at(TEMPERATURE[x.temp_source], x.temp_instance): celsius(x.actual_temperature),
                        at("set-temperature", x.temp_instance): celsius(x.set_temperature)}),
    130313: ("humidity",
             dict(humidity_instance=ID, humidity_source=[0, 1], actual_humidity=(0.0, 100.0),
                  set_humidity=(0.0, 100.0)),
             lambda x: {at(["inside-humidity", "humidity"][x.humidity_source], x.humidity_instance):
                        humidity(x.actual_humidity),
                        at("set-humidity", x.humidity_instance): humidity(x.set_humidity)}),
    130314: ("actual_pressure",
             dict(pressure_instance=ID, pressure_source=range(9), actual_pressure=(-2e8, 2e8)),
             lambda x: {at(PRESSURE[x.pressure_source], x.pressure_instance): num(x.actual_pressure)}),
}
FAST = {127237, 127489, 127506, 128275, 129029, 129038, 129039, 129041, 129284, 129794, 129809, 129810,
        126996, 126998, 129285, 129540}


def humidity(value):
    # 0x7FFF is "not available" of a signed field, which the library reads as a number.
    return None if value is not None and value > 131 else num(value)


def pick(field, annotation, spec, case, rng):
    """A value of one field: middle, lowest, highest, not available, then random ones."""
    enums = [t for t in (annotation, *typing.get_args(annotation)) if isinstance(t, enum.EnumMeta)]
    if annotation in (types.N2kEngineDiscreteStatus1, types.N2kEngineDiscreteStatus2):
        return annotation()
    if field in ("seconds", "instance") and case == 3 and spec != ID:
        case = 4  # The encoder cannot write "not available" here.
    if enums:
        members = list(spec) if spec is not None else [enums[0](list(enums[0])[0]).value]
        return enums[0](members[case % len(members)])
    if typing.get_origin(annotation) is typing.Literal:
        return typing.get_args(annotation)[0]
    if isinstance(spec, list):
        return None if case == 3 else spec[case % len(spec)]
    names = str(annotation)
    if "bool" in names:
        return False
    if "str" in names:
        return "A"
    if spec is None:
        return None if case == 3 else (1 if "int" in names else 1.0)
    low, high = spec
    if case == 3 or (case > 4 and field != "instance" and rng.random() < 0.2):
        return None
    value = [(low + high) / 2, low, high, None][case] if case < 3 else rng.uniform(low, high)
    return int(value) if "int" in names and "float" not in names else value


def payloads(pgn, rng):
    """Payloads by the library's encoder."""
    stem, spec, _ = PGNS[pgn]
    create = next(getattr(m, n) for n in dir(m) if n in (f"create_n2k_{stem}_message", f"create_n2k_{stem}"))
    kind = typing.get_type_hints(create)["data"]
    hints = typing.get_type_hints(kind)
    cases = 18 if any(isinstance(v, range) and len(v) > 9 for v in spec.values()) else 10
    for case in range(cases):
        values = {f: pick(f, t, spec.get(f), case, rng) for f, t in hints.items()}
        data = bytes(create(kind(**values)).data)
        yield data if pgn in FAST else data[:8]


def parse(pgn, data):
    """What the library reads out of a payload."""
    stem = PGNS[pgn][0]
    message = Message(pgn=pgn, data=bytearray(data))
    return PGNS[pgn][2](getattr(m, f"parse_n2k_{stem}")(message))


def frames(pgn, data, sequence, source=0x23, priority=3):
    """The CAN frames of a payload; fast packets are split by the rule of NMEA 2000 (6 bytes, then 7 each)."""
    can_id = n2k_id_to_can(MsgHeader(source=source, priority=priority, destination=255, pgn=pgn))
    if pgn not in FAST:
        return [[f"{can_id:08X}", data[:8].hex()]]
    parts = [bytes([len(data)]) + data[:6]] + [data[n:n + 7] for n in range(6, len(data), 7)]
    return [[f"{can_id:08X}", (bytes([(sequence % 8) << 5 | n]) + part).ljust(8, b"\xff").hex()]
            for n, part in enumerate(parts)]
