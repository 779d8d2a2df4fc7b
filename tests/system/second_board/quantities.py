"""Numbers with a unit, as the shipped files write them: `5 mV`, `1.2 kohm`, `0.1 % of value`."""

_UNITS = {
    "V": 1, "mV": 1e-3, "uV": 1e-6, "A": 1, "mA": 1e-3, "uA": 1e-6, "ohm": 1, "kohm": 1e3, "Mohm": 1e6,
    "s": 1, "ms": 1e-3, "us": 1e-6, "ns": 1e-9, "kPa": 1, "rpm": 1, "degC": 1, "K": 1, "deg": 1, "%": 1e-2,
}


def read(text):
    """The value in V, A, ohm, s, kPa, rpm, degC, K, degrees, or a share of one."""
    number, unit = str(text).split()[:2]
    # In decimals as far as possible: 0.02 % is 0.0002, not the double beside it.
    shift = {1e-3: -3, 1e-6: -6, 1e-9: -9, 1e-2: -2, 1e3: 3, 1e6: 6}.get(_UNITS[unit], 0)
    return float(f"{number}e{shift}")


def ticks(text, rate):
    return round(read(text) * rate)


def nanoseconds(text):
    return round(read(text) * 1e9)
