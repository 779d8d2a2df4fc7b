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
    sys.exit(stand.verdicts([every_port_with_its_figures, the_connector_as_drawn, drawings_are_there, the_list_is_carried_out]))
