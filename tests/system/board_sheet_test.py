"""Holds drivers/board/BOARD.md to the shipped bench: every port with its figures, the connector to its drawing, and each
line of the bring-up list to what carries it out. Needs Debian's python3-yaml."""

import re
import sys
import xml.etree.ElementTree as xml

import stand
import yaml

SHEET = stand.SOURCE / "drivers/board/BOARD.md"
BRING_UP = stand.SCENARIOS / "bring-up.yaml"
COLUMNS = ("name", "kind", "range", "resolution", "accuracy", "settling", "resistance", "limit", "more")


def port_row(port):
    """A port of the bench file as a row of the sheet. Every key of it is in the row."""
    left = dict(port)
    name, kind = left.pop("name"), left.pop("kind").replace("_", " ")
    reach = " to ".join(left.pop("range")) if "range" in left else ""
    accuracy = left.pop("accuracy", {})
    limits = [text for text in (left.pop("current_limit", ""), left.pop("leakage", "")) if text]
    fixed = [left.pop(key, "") for key in ("resolution", "settling", "resistance")]
    more = [key.replace("_", " ") + ("" if value is True else f" {value}") for key, value in left.items() if value is not False]
    cells = [f"`{name}`", kind, reach, fixed[0], " + ".join(accuracy.values()), fixed[1], fixed[2], ", ".join(limits), ", ".join(more)]
    return "| " + " | ".join(cells) + " |"


def section(title):
    """What stands under a heading of the sheet."""
    return re.search(rf"^## {re.escape(title)}\n(.*?)(?=^## |\Z)", SHEET.read_text(encoding="utf-8"), re.M | re.S).group(1)


def every_port_with_its_figures():
    """the sheet names every port of the shipped bench, in its order, with the figures that the bench file promises"""
    bench = yaml.safe_load(stand.BOARD.read_text(encoding="utf-8"))
    expected = [port_row(port) for port in bench["ports"]]
    found = [line for line in section("3. Ports").splitlines() if line.startswith("| `")]
    assert found == expected, "the table of ports should be:\n" + "\n".join(expected)


def plain(text):
    """The number of `13.8 V` or `10 kohm`, in the unit without its prefix."""
    number, unit = text.split()
    return float(number) * (1000 if unit.startswith("k") else 1)


def ticked(relay):
    """A port's name as the sheet writes it; nothing for none."""
    return f"`{relay}`" if relay else ""


def wire_row(wire, wiring):
    """A wire of the fault bus as a row of the sheet: where it breaks, what is worn across it, how it joins the bus."""
    elsewhere = {("ground", "controller"): wiring["ground"]["break"]}
    elsewhere.update({(line["channel"], "sensor"): line["fault_switch"] for line in wiring["lines"]})
    opens = wire.get("break") or elsewhere.get((wire["wire"], wire["side"]))
    worn = f"{ticked(wire['worn']['relay'])}, {wire['worn']['resistance']}" if "worn" in wire else ""
    return [ticked(wire["wire"]), wire["side"], ticked(opens), worn, ticked(wire.get("to_bus"))]


def the_fault_bus():
    """every tie and wire of the fault bus is in the sheet, with relays and resistances; a tie of some ohms says what flows at most"""
    bench = yaml.safe_load(stand.BOARD.read_text(encoding="utf-8"))
    faults = bench["wiring"]["faults"]
    text = section("4. What each kind must stand and do").split("### The fault bus")[1]
    rows = [[cell.strip() for cell in line.split("|")[1:-1]] for line in text.splitlines() if line.startswith("| `")]
    ties, wires = rows[:len(faults["bus"])], rows[len(faults["bus"]):]
    assert [row[0] for row in ties] == [ticked(tie["relay"]) for tie in faults["bus"].values()], ties
    most = max(plain(end) for end in next(port for port in bench["ports"] if port["name"] == "battery")["range"])
    for (kind, tie), (_, _, ohms, flows, _) in zip(faults["bus"].items(), ties):
        assert ohms == tie["resistance"], (kind, ohms)
        if kind in ("ground", "battery"):
            said = [float(number) for number in re.findall(r"([\d.]+) [AW]\b", flows)]
            reckoned = [value for level in (13.8, most) for value in (level / plain(ohms), level ** 2 / plain(ohms))]
            assert len(said) == 4 and all(abs(a - b) <= 0.05 * b for a, b in zip(said, reckoned)), (kind, flows, reckoned)
    expected = [wire_row(wire, bench["wiring"]) for wire in faults["wires"]]
    assert [row[:5] for row in wires] == expected, "the table of wires should be:\n" + "\n".join("| " + " | ".join(row) + " |" for row in expected)


def the_connector_as_drawn():
    """every contact of the table is in the drawing, with the same words, and the other way round"""
    rows = re.findall(r"^\| (\d+) \| ([^|]+) \| ([^|]+) \|", section("7. Connector"), re.M)
    table = sorted(name for _, a, b in rows for name in (a, b))
    drawing = xml.parse(SHEET.parent / "drawings/connector.svg")
    turned = sorted(text.text for text in drawing.iter("{http://www.w3.org/2000/svg}text") if "rotate" in text.get("transform", ""))
    assert [int(number) for number, _, _ in rows] == list(range(1, 25)), rows
    assert table == turned, set(table) ^ set(turned)


def drawings_are_there():
    """every drawing that the sheet shows is there, is sound, and says in words what it shows"""
    shown = re.findall(r"!\[[^\]]+\]\((drawings/[^)]+)\)", SHEET.read_text(encoding="utf-8"))
    assert len(shown) >= 4, shown
    for name in shown:
        drawing = xml.parse(SHEET.parent / name).getroot()
        assert drawing.find("{http://www.w3.org/2000/svg}title").text and drawing.find("{http://www.w3.org/2000/svg}desc").text, name
    kept = {path.name for path in (SHEET.parent / "drawings").iterdir()}
    assert kept == {name.removeprefix("drawings/") for name in shown}, kept


def the_list_is_carried_out():
    """every line of the bring-up list has a limit and says by what it is carried out: a step that the scenario has, or a hand"""
    rows = re.findall(r"^\| (\d+) \| (.+?) \| (.+?) \| (.+?) \| (.+?) \|$", section("11. Bring-up"), re.M)
    assert [int(row[0]) for row in rows] == list(range(1, len(rows) + 1)) and len(rows) >= 20, [row[0] for row in rows]
    steps = set()
    for number, _, _, limit, by in rows:
        assert re.search(r"\d|no complaint|same", limit), f"line {number} has no limit: {limit}"
        named = re.findall(r"step `(\w+)`", by)
        assert named or "by hand" in by or "`proofstand" in by, f"line {number}: {by}"
        steps.update(named)
    if BRING_UP.exists():
        scenario = yaml.safe_load(BRING_UP.read_text(encoding="utf-8"))
        has = {next(iter(step)) if "step" not in step else step["step"] for step in scenario["steps"]}
        assert steps <= has, f"bring-up.yaml has no step {sorted(steps - has)}"


if __name__ == "__main__":
    sys.exit(stand.verdicts([every_port_with_its_figures, the_fault_bus, the_connector_as_drawn, drawings_are_there, the_list_is_carried_out]))
