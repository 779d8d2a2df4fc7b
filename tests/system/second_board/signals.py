"""Every wire of the bench: outputs as they were set, the fitted module, and what each sense sees.

Voltages are worked out in slices, between which nothing is switched: inside one a voltage is a straight line and at
most one exponential. Times are ticks since start.
"""

import math

import module as modules
import ports
import quantities
import wheel

STILL = 2e-6   # volts: closer than this an output has arrived
SENSE = 10e6   # ohm: every sense across its pin


class Output:
    """A supply's or source's level: a value that may be on its way to another, high impedance, or ground."""

    def __init__(self):
        self.rest()

    def rest(self, driven=False):
        self.value, self.driven, self.grounded = 0.0, driven, False
        self._from = self._slope = 0.0
        self._start, self.ramp_end = 0, None

    def step(self, value):
        self.value, self.driven, self.grounded, self.ramp_end = value, True, False, None

    def ramp(self, now, value, duration):
        if duration == 0:
            return self.step(value)
        self._from, self._start, self.ramp_end = (self.value if self.driven else 0.0), now, now + duration
        self._slope, self._to, self.driven, self.grounded = (value - self._from) / duration, value, True, False

    def leave(self, grounded):
        self.value, self.driven, self.grounded, self.ramp_end = 0.0, grounded, grounded, None

    def move(self, now):
        if self.ramp_end is not None:
            self.value = self._from + self._slope * (now - self._start)
            if now >= self.ramp_end:
                self.value, self.ramp_end = self._to, None


class Line:
    """One of the product's lines: source, fault switch, sense, module, sense, load."""

    def __init__(self, wires, channel, product_part, names):
        self.source = names[wires["source"]]
        self.sense_in, self.sense_out = names[wires["sense_in"]], names[wires["sense_out"]]
        self.switch, self.load = names[wires["fault_switch"]], names[wires["load"]]
        self.channel = channel  # number of the pressure; None: the wire goes straight through
        controller = product_part.get("controller", {})
        self.pull_down = quantities.read(controller["pull_down"]) if "pull_down" in controller else None
        self.pull_up = quantities.read(product_part["pull_up"]) if "pull_up" in product_part else None


class Rig:
    """All wires and the module, played from one event to the next."""

    def __init__(self, bench, product, descriptions, rate, fault=None):
        self.rate = rate
        self._ports = descriptions
        names = {port["name"]: number for number, port in enumerate(descriptions)}
        wiring = bench["wiring"]
        self.module = modules.Module(product, rate, fault)
        pressures = {channel.name: number for number, channel in enumerate(self.module.channels)}
        parts = {pressure["name"]: pressure for pressure in product["pressures"]}
        if "temperature" in product:
            parts[product["temperature"]["name"]] = product["temperature"]
        self.lines = [Line(wires, pressures.get(wires["channel"]), parts[wires["channel"]], names)
                      for wires in wiring["lines"] if wires["channel"] in parts]
        self._battery = {key: names[name] for key, name in wiring["battery"].items()}
        self._rail = {key: names[name] for key, name in wiring["rails"][0].items() if key != "rail"}
        self._speed = {key: names[name] for key, name in wiring["speed"].items()}
        self._request, self._isolator, self._loop_back = (names[wiring[key]] for key in
                                                         ("bypass_request", "isolator", "loop_back"))
        standard = wiring["check_standard"]
        self._standard = names[standard["port"]], quantities.read(standard["value"])
        self._outputs = {number: Output() for number, port in enumerate(descriptions)
                         if port["kind"] in (ports.SUPPLY, ports.SOURCE)}
        self._relays = {}
        self.wheels = {}
        self._edges = {}   # (angles, rising) by port, as loaded
        self.new_start()

    # What the outputs are told.

    def make_safe(self):
        for number, output in self._outputs.items():
            output.rest(driven=self._ports[number]["kind"] == ports.SUPPLY)
        self._relays = {number: port["safe"] == ports.SAFE_RELAY_CLOSED for number, port in enumerate(self._ports)
                        if port["kind"] == ports.RELAY}
        self.wheels = {}

    def new_start(self, edges=None):
        """Everything safe and long dead; time since start is 0."""
        self.make_safe()
        self._edges = edges or {}
        self.module.forget()
        self._held = [0.0] * len(self.module.channels)   # where each output stage stands
        self._solved = {}
        self._was_working = False
        for number, (angles, rising) in self._edges.items():
            self.wheels[number] = wheel.Wheel(angles, rising, self.rate)

    def apply(self, name, event, now):
        """Carries out an event. `now` is its tick since start."""
        number = event["port"]
        if name == "relay":
            self._relays[number] = bool(event["closed"])
        elif name == "step":
            self._outputs[number].step(event["value"] / 1e6)
        elif name == "ramp":
            self._outputs[number].ramp(now, event["value"] / 1e6, event["duration"])
        elif name in ("open", "grounded"):
            self._outputs[number].leave(grounded=name == "grounded")
        elif name == "speed_piece":
            self.wheels[number].piece(now, event["millirpm"], event["millirpm_per_second"], event["ticks"])

    def highest_supply(self):
        return max((output.value for number, output in self._outputs.items()
                    if self._ports[number]["kind"] == ports.SUPPLY), default=None)

    # What the senses see.

    def play(self, begin, end):
        """Plays on to `end`, without an event between. Gives pieces of voltage and edges by port.

        A piece is [begin, end, volts at begin, volts at end, exponential, its time constant in ticks].
        """
        number = self._speed["source"]
        edges = self.wheels[number].edges(end) if number in self.wheels else []
        unit = self._relays[self._isolator]
        seen = {self._speed["edges_in"]: edges,
                self._speed["edges_out"]: edges if unit or self._relays[self._loop_back] else []}
        pieces = {}
        fed = 0
        now = begin
        while now < end:
            while fed < len(edges) and edges[fed][0] <= now:
                self.module.meter.edge(*edges[fed])
                fed += 1
            period = self.module.sample_period
            if now % period == 0:
                self._sample(now, unit)
            until = min([end, now - now % period + period]
                        + [output.ramp_end for output in self._outputs.values() if output.ramp_end is not None])
            self._slice(now, until, unit, pieces)
            now = until
        for edge in edges[fed:]:
            self.module.meter.edge(*edge)
        return pieces, seen

    def _sample(self, now, unit):
        battery = self._outputs[self._battery["source"]].value if unit else 0.0
        rail = self._outputs[self._rail["source"]].value if unit else 0.0
        inputs = [0.0] * len(self.module.channels)
        temperature = 0.0
        for line in self.lines:
            at_input = self._voltages(line, unit)[0] if unit else 0.0
            if line.channel is None:
                temperature = at_input
            else:
                inputs[line.channel] = at_input
        self.module.sample(now, battery, rail, inputs, temperature, self._relays[self._request])
        if self.module.working and not self._was_working:
            self._held = list(inputs)  # takes over where the relays left off
        self._was_working = self.module.working

    def _topology(self, line, unit):
        source = self._outputs[line.source]
        return (line.sense_in, source.driven and self._relays[line.switch], unit, unit and self.module.working,
                self._relays[self._loop_back], self._relays[line.load])

    def _solve(self, line, topology):
        """Both pins of a line, each as shares of the source, the module's output stage and the rail."""
        _, driven, unit, working, looped, loaded = topology
        g_source = 1 / self._ports[line.source]["resistance"] if driven else 0.0
        g_in = 1 / SENSE + (1 / self.module.leakage if unit and line.channel is not None else 0.0)
        g_out, g_rail, g_stage, g_through = 1 / SENSE, 0.0, 0.0, 0.0
        if loaded and line.pull_down:
            g_out += 1 / line.pull_down
        if loaded and line.pull_up:
            g_rail = 1 / line.pull_up
        if unit and line.channel is None:
            g_through = 1e6
        elif unit and working:
            g_stage = 1 / self.module.output_resistance
        elif unit and self.module.has_bypass:
            g_through = 1 / self.module.bypass_resistance
        if looped:
            g_through += 10.0
        a, d, b = g_source + g_in + g_through, g_out + g_rail + g_stage + g_through, -g_through
        det = a * d - b * b
        return ((g_source * d / det, -b * g_stage / det, -b * g_rail / det),
                (-b * g_source / det, a * g_stage / det, a * g_rail / det))

    def _shares(self, line, unit):
        topology = self._topology(line, unit)
        if topology not in self._solved:
            self._solved[topology] = self._solve(line, topology)
        return self._solved[topology]

    def _voltages(self, line, unit):
        stage = self._held[line.channel] if line.channel is not None else 0.0
        source, rail = self._outputs[line.source].value, self._outputs[self._rail["source"]].value
        return [s * source + m * stage + r * rail for s, m, r in self._shares(line, unit)]

    def _slice(self, begin, end, unit, pieces):
        """Everything from one tick to another, with nothing switched between."""
        targets, working = self.module.targets, self.module.working and unit
        gaps = [0.0] * len(self._held)
        if working:
            for number, target in enumerate(targets):
                gaps[number] = self._held[number] - target
                if abs(gaps[number]) < STILL:
                    self._held[number], gaps[number] = target, 0.0
        shares = [self._shares(line, unit) for line in self.lines]
        levels = [self._levels(line, targets, working) for line in self.lines]
        rail, battery = self._outputs[self._rail["source"]], self._outputs[self._battery["source"]]
        before = rail.value, battery.value
        for output in self._outputs.values():
            output.move(end)
        for line, (at_in, at_out), level in zip(self.lines, shares, levels):
            gap = gaps[line.channel] if line.channel is not None else 0.0
            after = self._levels(line, targets, working)
            for port, (s, m, r) in ((line.sense_in, at_in), (line.sense_out, at_out)):
                self._put(pieces, port, begin, end, s * level[0] + m * level[1] + r * level[2],
                          s * after[0] + m * after[1] + r * after[2], m * gap)
        fade = math.exp((begin - end) / self.module.time_constant)
        for number, gap in enumerate(gaps):
            if gap:
                self._held[number] = targets[number] + gap * fade
        current = self.module.current if unit else 0.0
        drop = current * self._ports[self._battery["source"]]["resistance"]
        looped = self._relays[self._loop_back]
        self._put(pieces, self._battery["sense"], begin, end, before[1] - drop, battery.value - drop, 0.0)
        self._put(pieces, self._battery["current"], begin, end, current, current, 0.0)
        self._put(pieces, self._rail["sense_controller"], begin, end, before[0], rail.value, 0.0)
        there = 1.0 if unit or looped else 0.0
        self._put(pieces, self._rail["sense_sensor"], begin, end, before[0] * there, rail.value * there, 0.0)
        self._put(pieces, self._standard[0], begin, end, self._standard[1], self._standard[1], 0.0)

    def _levels(self, line, targets, working):
        stage = 0.0 if line.channel is None else targets[line.channel] if working else 0.0
        return self._outputs[line.source].value, stage, self._outputs[self._rail["source"]].value

    def _put(self, pieces, port, begin, end, first, last, exponential):
        rows = pieces.setdefault(port, [])
        if rows and not exponential and first == last:
            before = rows[-1]
            if before[2] == before[3] == first and not before[4]:
                before[1] = end
                return
        rows.append([begin, end, first, last, exponential, self.module.time_constant])
