"""A module between sensors and controller, as simple as it can be and still be judged.

It looks at its inputs once a sample period. Not powered, starting, or asked to: its outputs are its inputs, through
relays. Working: each output goes to the expected level by one time constant.
"""

import bisect
import collections
import math

import quantities


def along(points, x, back=False):
    """y of a polyline at x, held at its ends; `back`: x of it at y."""
    xs, ys = points if not back else (points[1], points[0])
    if x <= xs[0]:
        return ys[0]
    if x >= xs[-1]:
        return ys[-1]
    at = bisect.bisect_right(xs, x) - 1
    return ys[at] + (ys[at + 1] - ys[at]) * (x - xs[at]) / (xs[at + 1] - xs[at])


class Table:
    """Rows over speed and columns over pressure, or one row alone: linear between breakpoints, held at the edges."""

    def __init__(self, table):
        self._rows = [float(row) for row in table["rows"]["breakpoints"]] if "rows" in table else [0.0]
        self._columns = [float(column) for column in table["columns"]["breakpoints"]]
        self._cells = table["cells"] if "rows" in table else [table["cells"]]

    def at(self, row, column):
        across = [along((self._columns, cells), column) for cells in self._cells]
        return along((self._rows, across), row) if len(across) > 1 else across[0]


class Channel:
    """One pressure: its sensor's curve and what is taken from it."""

    def __init__(self, pressure, tables):
        self.name = pressure["name"]
        sensor, reported = pressure["sensor"], pressure["reported"]
        self.curve = ([quantities.read(p) for p, _ in sensor["curve"]], [quantities.read(v) for _, v in sensor["curve"]])
        self.at_rail = quantities.read(sensor["at_rail"])
        self.rails = [quantities.read(v) for v in sensor["diagnostic_rails"]]
        self.range = [quantities.read(p) for p in reported["range"]]
        self.index = reported.get("index", self.name)
        self.minus = tables[reported["minus"]] if "minus" in reported else None
        self.times = tables[reported["times"]] if "times" in reported else None

    def pressure(self, volts, rail):
        return along(self.curve, volts * self.at_rail / rail, back=True)

    def volts(self, pressure, rail):
        return along(self.curve, pressure) * rail / self.at_rail


class SpeedMeter:
    """Speed from falling edges: the mean of the last intervals, none before there are enough, zero when they stay out."""

    def __init__(self, speed, timing, build, rate):
        wheel = speed["wheel"]
        self._wanted = int(timing["speed_intervals"])
        self._patience = int(build["speed_timeout_intervals"])
        self._rate = rate
        if "missing_tooth" in wheel:
            self._degrees = 360 / wheel["missing_tooth"]["positions"]
            self._teeth = True
        else:
            self._degrees = 720 / len(wheel["lobes"])
            self._teeth = False
        self._falls = collections.deque(maxlen=self._wanted + 1)

    def forget(self):
        self._falls.clear()

    def edge(self, tick, level):
        if not level:
            self._falls.append(tick)

    def speed(self, now):
        falls = self._falls
        if len(falls) <= self._wanted:
            return 0.0
        span = falls[-1] - falls[0]
        if now - falls[-1] > self._patience * span / self._wanted:
            falls.clear()
            return 0.0
        positions = self._wanted
        if self._teeth:  # an interval over the gap counts as many positions as it is long
            intervals = [b - a for a, b in zip(falls, list(falls)[1:])]
            positions = sum(round(interval / min(intervals)) for interval in intervals)
        return positions * self._degrees * self._rate / span / 6


class Thermistor:
    def __init__(self, temperature):
        beta = temperature["sensor"]["beta"]
        self._at = (quantities.read(beta["resistance"]), quantities.read(beta["at"]) + 273.15, quantities.read(beta["beta"]))
        self.pull_up = quantities.read(temperature["pull_up"])

    def celsius(self, volts, rail):
        share = min(max(volts / rail, 1e-6), 1 - 1e-6)
        resistance, at, beta = self._at
        return 1 / (1 / at + math.log(self.pull_up * share / (1 - share) / resistance) / beta) - 273.15


class Module:
    """`working` tells whether it drives its outputs, `targets` where to."""

    def __init__(self, product, rate, fault=None):
        build = product["build"]
        tables = {name: Table(table) for name, table in product["tables"].items()}
        self.channels = [Channel(pressure, tables) for pressure in product["pressures"]]
        self.thermistor = Thermistor(product["temperature"]) if "temperature" in product else None
        self.meter = SpeedMeter(product["speed"], product["timing"], build, rate)
        self.sample_period = quantities.ticks(build["sample_period"], rate)
        self.time_constant = quantities.read(build["output_filter"]) * rate
        self.output_resistance = quantities.read(build["output_resistance"])
        self.bypass_resistance = quantities.read(build["bypass_resistance"])
        self.leakage = quantities.read(build["input_leakage"])
        self._boot = quantities.ticks(build["boot"], rate)
        self._idle = quantities.read(build["idle_current"])
        self._inrush = quantities.read(build["inrush_current"])
        self._inrush_time = quantities.ticks(build["inrush_time"], rate)
        self._least_battery = 0.9 * quantities.read(product["battery"]["range"][0])
        self._least_rail = 0.9 * min(quantities.read(rail["range"][0]) for rail in product["rails"].values())
        self.has_bypass = fault != "no_bypass"
        self._offset = 0.04 if fault == "offset" else 0.0
        self.forget()

    def forget(self):
        """As it comes from the shelf."""
        self.working = False
        self.current = 0.0
        self.targets = [0.0] * len(self.channels)
        self._battery_since = self._ready = None
        self.meter.forget()

    def sample(self, now, battery, rail, inputs, temperature, request):
        """Looks at everything once. `inputs` in the order of `channels`."""
        if battery < self._least_battery:
            self.forget()
            return
        if self._battery_since is None:
            self._battery_since = now
        self.current = self._inrush if now - self._battery_since < self._inrush_time else self._idle
        if rail < self._least_rail:
            self.working, self._ready = False, None
            return
        if self._ready is None:
            self._ready = now + self._boot
        self.working = now >= self._ready and not request
        if self.working:
            self._reckon(self.meter.speed(now), rail, inputs, temperature)

    def _reckon(self, speed, rail, inputs, temperature):
        pressures = {channel.name: channel.pressure(v, rail) for channel, v in zip(self.channels, inputs)}
        celsius = self.thermistor.celsius(temperature, rail) if self.thermistor else 25.0
        for number, (channel, volts) in enumerate(zip(self.channels, inputs)):
            target = volts
            if speed and channel.minus and channel.rails[0] < volts < channel.rails[1]:
                measured = pressures[channel.name]
                shift = channel.minus.at(speed, pressures[channel.index])
                if shift and channel.times:
                    shift *= channel.times.at(0, celsius)
                reported = min(max(measured - shift, channel.range[0]), channel.range[1])
                target += channel.volts(reported, rail) - channel.volts(measured, rail)
            self.targets[number] = target + self._offset
