"""The bench's ports, as the bench file lists them, and what each is told as over the wire."""

import quantities

KINDS = {"supply": 1, "voltage_source": 2, "resistance_source": 3, "pulse_source": 4, "relay": 5, "voltage_sense": 6,
         "current_sense": 7, "edge_sense": 8, "service_port": 9, "interlock": 10}
SUPPLY, SOURCE, PULSES, RELAY, VOLTAGE, CURRENT, EDGES = 1, 2, 4, 5, 6, 7, 8

# What a port stands at, and where it goes when all is made safe.
SAFE_OPEN, SAFE_GROUNDED, SAFE_OFF, SAFE_RELAY_OPEN, SAFE_RELAY_CLOSED, NO_OUTPUT = 0, 1, 2, 3, 4, 255

_STEP, _RAMP, _SPEED, _OPEN, _GROUNDED, _RELAY, _CURRENT_LIMIT = (1 << kind for kind in range(7))
_SET_POINTS = {SUPPLY: _STEP | _RAMP | _OPEN | _GROUNDED | _CURRENT_LIMIT, SOURCE: _STEP | _RAMP | _OPEN | _GROUNDED | _CURRENT_LIMIT,
               PULSES: _SPEED, RELAY: _RELAY}
_ORDER = {SUPPLY: 0, SOURCE: 1, PULSES: 2, RELAY: 3}
_SAMPLES, _ENVELOPE, _EDGE_CAPTURE, _TRIGGERED = (1 << kind for kind in range(4))
# What is usual for a sense, and what a bench file means that names no captures. `plan` refuses some of it all the same.
_CAPTURES = {VOLTAGE: _SAMPLES | _ENVELOPE | _TRIGGERED, CURRENT: _SAMPLES | _ENVELOPE | _TRIGGERED, EDGES: _EDGE_CAPTURE}


def describe(bench):
    """A list of port descriptions, in the order of the bench file: their numbers on the wire."""
    wiring = bench["wiring"]
    closed_at_rest = {line["fault_switch"] for line in wiring["lines"] if "fault_switch" in line}
    beyond_switch = {line["sense_in"] for line in wiring["lines"] if "fault_switch" in line and "sense_in" in line}
    return [_describe(port, closed_at_rest, beyond_switch) for port in bench["ports"]]


def _describe(port, closed_at_rest, beyond_switch):
    kind = KINDS[port["kind"]]
    low, high = (quantities.read(end) for end in port.get("range", ["0 V", "0 V"]))
    if kind == PULSES:
        high = quantities.read(port.get("highest", "12000 rpm"))
    accuracy = port.get("accuracy", {})
    safe = {SUPPLY: SAFE_OFF, SOURCE: SAFE_OPEN, PULSES: SAFE_OFF, RELAY: SAFE_RELAY_OPEN}.get(kind, NO_OUTPUT)
    if port["name"] in closed_at_rest:
        safe = SAFE_RELAY_CLOSED

    def value(key):
        return quantities.read(port[key]) if key in port else 0.0

    return {
        "name": port["name"], "kind": kind, "options": int(port["name"] in beyond_switch), "safe": safe,
        "order": _ORDER.get(kind, 0), "low": low, "high": high, "resolution": value("resolution"),
        "accuracy_offset": quantities.read(accuracy["offset"]) if "offset" in accuracy else 0.0,
        "accuracy_gain": quantities.read(accuracy["gain"]) if "gain" in accuracy else 0.0,
        "resistance": value("resistance"), "current_limit": value("current_limit"), "slew": value("slew_per_second"),
        "captures": _CAPTURES.get(kind, 0), "set_points": _SET_POINTS.get(kind, 0),
        "shortest_period_ns": quantities.nanoseconds(port.get("shortest_period", "0 s")),
        "settling_ns": quantities.nanoseconds(port.get("settling", "0 s")),
        "skew_ns": quantities.nanoseconds(port.get("skew", "0 s")),
        "travel_ns": quantities.nanoseconds(port.get("travel", "0 s")),
    }


def range_of(port):
    """What a set-point of an output may be at all, in its own unit: microvolts, millirpm, closed or not."""
    if port["kind"] == PULSES:
        return 0, round(port["high"] * 1000)
    if port["kind"] == RELAY:
        return 0, 1
    return round(port["low"] * 1e6), round(port["high"] * 1e6)
