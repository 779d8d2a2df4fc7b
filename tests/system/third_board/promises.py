"""What a port promises since 1.1: three more bits of its options, and an addition behind all that 1.0 knows."""

import struct

import frames
import messages
import ports
import quantities

TEMPERATURE, SERVICE = 11, 9
SCANNED, SINKS, OPEN_DRAIN = 2, 4, 8
SIZE = 16   # bytes of an addition

quantities._UNITS["nA"] = 1e-9
ports.KINDS["temperature_sense"] = TEMPERATURE
ports._CAPTURES[TEMPERATURE] = ports._CAPTURES[ports.VOLTAGE]
ports._CAPTURES[SERVICE] = 1 << 4     # bytes
ports._SET_POINTS[SERVICE] = 1 << 7   # exchange


def describe(bench, changed):
    """The second board's descriptions with their additions. `changed`: PORT:KEY=VALUE, for a board that keeps less."""
    described = ports.describe(bench)
    for port, given in zip(described, bench["ports"]):
        port["options"] |= sum(bit for key, bit in (("scanned", SCANNED), ("sinks", SINKS), ("open_drain", OPEN_DRAIN))
                               if given.get(key))
        port["skew_error_ns"] = quantities.nanoseconds(given.get("skew_error", "0 s"))
        port["aperture_ns"] = quantities.nanoseconds(given.get("aperture", "0 s"))
        port["leakage"] = quantities.read(given.get("leakage", "0 A"))
    for change in changed:
        name, rest = change.split(":")
        key, value = rest.split("=")
        port = next(port for port in described if port["name"] == name)
        port[key] = type(port[key])(float(value))
    return described


def page(all_ports, first):
    """The payload of `ports` from port `first` on."""
    some, size = [], 6
    for port in all_ports[first:]:
        size += messages.port_size(port) + SIZE
        if size > frames.PAYLOAD:
            break
        some.append(port)
    return write_page(len(all_ports), first, some)


def write_page(total, first, some):
    payload = messages.write("ports", total=total, first=first, ports=some)
    return payload + bytes([SIZE]) + b"".join(
        struct.pack("<IId", port["skew_error_ns"], port["aperture_ns"], port["leakage"]) for port in some)


def read_page(payload):
    """The fields of a `ports` payload; of 1.0 too, where nothing is added."""
    fields = messages.read(messages.NUMBERS["ports"], payload)
    at = 5 + sum(messages.port_size(port) for port in fields["ports"])
    if at == len(payload):
        return fields
    size = payload[at]
    for number, port in enumerate(fields["ports"]):
        port["skew_error_ns"], port["aperture_ns"], port["leakage"] = struct.unpack_from("<IId", payload, at + 1 + number * size)
    return fields
