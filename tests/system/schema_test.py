"""Holds the JSON Schemas in scenarios/schemas to the loader: editors must not promise what the program refuses.

Started by tests/system/run. Needs Debian's python3-yaml and python3-jsonschema.
"""

import copy
import json
import os
import pathlib
import subprocess
import sys
import tempfile

import jsonschema
import yaml

PROGRAM = os.environ.get("PROOFSTAND", "build/proofstand")
ROOT = pathlib.Path(os.environ.get("PROOFSTAND_SOURCE", ".")).resolve() / "scenarios"
DUMPER = getattr(yaml, "CSafeDumper", yaml.SafeDumper)  # the one in C is ten times as fast
KINDS = ("product", "scenario", "bench")

ANOTHER_PART = "a schema sees one value at a time: names that must match, sums and limits across a file are the loader's"
ANOTHER_FILE = "a schema sees one file: what the product says is the loader's"
ORDER = "to a schema a mapping has no order"
SYNTAX = "YAML itself allows it: a schema sees the tree, not how it was written"
SIZE = "a pattern cannot weigh a number that carries a unit"
NAN = "no limit of a schema holds not-a-number"
EXPRESSION = "an editor does not read regular expressions as the program does"

# Bad examples that the loader alone refuses, and why.
DIFFERENCES = {
    "bench-bias-that-is-a-short": SIZE,
    "bench-break-of-a-line-named-twice": ANOTHER_PART,
    "bench-calibrated-source": ANOTHER_PART,
    "bench-channel-wired-twice": ANOTHER_PART,
    "bench-fault-on-no-such-wire": ANOTHER_PART,
    "bench-fault-relay-for-two-things": ANOTHER_PART,
    "bench-fault-wire-twice": ANOTHER_PART,
    "bench-no-such-port": ANOTHER_PART,
    "bench-port-name-twice": ANOTHER_PART,
    "bench-port-of-the-wrong-kind": ANOTHER_PART,
    "bench-port-wired-twice": ANOTHER_PART,
    "bench-relay-for-two-things": ANOTHER_PART,
    "bench-service-on-a-relay": ANOTHER_PART,
    "bench-tie-that-is-a-sense": ANOTHER_PART,
    "product-anchor-and-alias": SYNTAX,
    "product-curve-that-falls": SIZE,
    "product-derate-without-temperature": ANOTHER_PART,
    "product-duplicate-key": SYNTAX,
    "product-hexadecimal": SYNTAX,
    "product-hidden-character": SYNTAX,
    "product-high-that-is-not-reached": SIZE,
    "product-hysteresis-without-room": SIZE,
    "product-lobes-not-one-cycle": ANOTHER_PART,
    "product-low-that-is-not-read": SIZE,
    "product-merge-key": SYNTAX,
    "product-neighbour-on-the-other-side": ANOTHER_PART,
    "product-neighbours-one-sided": ANOTHER_PART,
    "product-no-such-index-pressure": ANOTHER_PART,
    "product-no-such-rail": ANOTHER_PART,
    "product-no-such-table": ANOTHER_PART,
    "product-out-of-range": SIZE,
    "product-pin-name-twice": ANOTHER_PART,
    "product-pin-next-to-itself": ANOTHER_PART,
    "product-pin-of-a-line-missing": ANOTHER_PART,
    "product-pin-that-carries-nothing-known": ANOTHER_PART,
    "product-question-name-twice": ANOTHER_PART,
    "product-question-pattern-of-two-groups": EXPRESSION,
    "product-question-pattern-unclosed": EXPRESSION,
    "product-ramp-in-beyond-the-start": SIZE,
    "product-range-upside-down": SIZE,
    "product-reaction-of-no-wire": ANOTHER_PART,
    "product-reaction-that-hides-a-fault": ANOTHER_PART,
    "product-same-pressure-twice": ANOTHER_PART,
    "product-sensor-range-at-the-rails": ANOTHER_PART,
    "product-shift-beyond-hard-ceiling": ANOTHER_PART,
    "product-table-axes-swapped": ANOTHER_PART,
    "product-table-not-a-number": NAN,
    "product-table-ragged-row": ANOTHER_PART,
    "product-table-too-few-rows": ANOTHER_PART,
    "product-table-unsorted-axis": ANOTHER_PART,
    "product-value-in-quotes": SYNTAX,
    "product-window-of-odd-bins": SIZE,
    "product-works-again-in-brown-out": SIZE,
    "scenario-agreement-with-one-pressure": ANOTHER_FILE,
    "scenario-asked-too-late": ANOTHER_FILE,
    "scenario-band-beyond-hard-ceiling": ANOTHER_FILE,
    "scenario-beyond-but-inside": ANOTHER_FILE,
    "scenario-bypassed-without-a-line": ANOTHER_FILE,
    "scenario-contacts-levels-too-near": SIZE,
    "scenario-contacts-wider-than-promised": ANOTHER_FILE,
    "scenario-fault-after-the-sweep": ANOTHER_PART,
    "scenario-fault-band-beyond-hard-ceiling": ANOTHER_FILE,
    "scenario-fault-hang-that-lasts": ANOTHER_PART,
    "scenario-fault-hang-that-nobody-can-ask-for": ANOTHER_FILE,
    "scenario-fault-left-out": ANOTHER_FILE,
    "scenario-fault-of-no-wire": ANOTHER_FILE,
    "scenario-fault-on-the-wrong-side": ANOTHER_FILE,
    "scenario-fault-that-ends-before-its-deadline": ANOTHER_PART,
    "scenario-fault-that-is-hidden": ANOTHER_FILE,
    "scenario-fault-that-makes-no-sense": ANOTHER_FILE,
    "scenario-fault-twice": ANOTHER_PART,
    "scenario-fault-where-nothing-is-shifted": ANOTHER_FILE,
    "scenario-fault-with-a-foreign-key": ANOTHER_PART,
    "scenario-format-not-first": ORDER,
    "scenario-identify-without-a-port": ANOTHER_FILE,
    "scenario-idle-where-the-table-is-not-zero": ANOTHER_FILE,
    "scenario-last-step-powered": ANOTHER_PART,
    "scenario-loading-that-is-never-powered": ANOTHER_PART,
    "scenario-never-asked": ANOTHER_FILE,
    "scenario-no-such-product": ANOTHER_FILE,
    "scenario-not-asked-again": ANOTHER_FILE,
    "scenario-plug-that-counts-edges": ANOTHER_FILE,
    "scenario-plug-that-is-powered": ANOTHER_FILE,
    "scenario-plug-that-is-shipped": ANOTHER_FILE,
    "scenario-plug-that-should-start": ANOTHER_FILE,
    "scenario-point-outside-the-sensor": ANOTHER_FILE,
    "scenario-product-is-a-bench": ANOTHER_FILE,
    "scenario-replay-of-an-unknown-column": ANOTHER_FILE,
    "scenario-replay-of-no-file": ANOTHER_FILE,
    "scenario-replay-with-bad-rows": ANOTHER_FILE,
    "scenario-speed-above-the-highest": ANOTHER_FILE,
    "scenario-speed-band-beyond-hard-ceiling": ANOTHER_FILE,
    "scenario-speed-line-of-good-edges": ANOTHER_PART,
    "scenario-speed-seen-where-nothing-is-shifted": ANOTHER_FILE,
    "scenario-start-that-cannot-be-seen": ANOTHER_FILE,
    "scenario-state-left-out": ANOTHER_PART,
    "scenario-step-name-twice": ANOTHER_PART,
    "scenario-step-outside-the-sensor": ANOTHER_FILE,
    "scenario-supply-band-beyond-hard-ceiling": ANOTHER_FILE,
    "scenario-supply-course-above-the-battery": ANOTHER_FILE,
    "scenario-supply-course-that-goes-back": SIZE,
    "scenario-supply-course-twice": ANOTHER_PART,
    "scenario-supply-left-out": ANOTHER_FILE,
    "scenario-supply-rail-outside-its-range": ANOTHER_FILE,
    "scenario-supply-seen-where-nothing-is-shifted": ANOTHER_FILE,
    "scenario-sweep-of-breakpoints": ANOTHER_FILE,
    "scenario-temperatures-without-the-channel": ANOTHER_FILE,
    "scenario-unknown-question": ANOTHER_FILE,
    "scenario-unshifted-start-that-is-shifted": ANOTHER_FILE,
    "scenario-volts-beyond-hard-ceiling": ANOTHER_FILE,
}

wrong = []


def expect(holds, text):
    if not holds:
        wrong.append(text)


def load_schemas():
    schemas = {}
    for kind in KINDS:
        body = json.loads((ROOT / "schemas" / f"{kind}.schema.json").read_text(encoding="utf-8"))
        expect(body["$schema"] == "http://json-schema.org/draft-07/schema#", f"{kind}: editors read draft-07 and below")
        jsonschema.Draft7Validator.check_schema(body)
        schemas[kind] = jsonschema.Draft7Validator(body)
    return schemas


def check(files):
    """What the program says of each file: its list of complaints."""
    done = subprocess.run([PROGRAM, "check", "--json", *map(str, files)], capture_output=True, text=True, timeout=120)
    said = json.loads(done.stdout)
    report = said["files"]
    expect(len(report) == len(files), "the program must report on every file it is given")
    any_wrong = any(entry["complaints"] for entry in report + said["together"])
    expect(done.returncode == (2 if any_wrong else 0), f"exit {done.returncode} although files are {'bad' if any_wrong else 'good'}")
    return [entry["complaints"] for entry in report]


def schema_named_in(path):
    """The schema that an editor finds: the first line names it, relative to the file."""
    first = path.read_bytes().split(b"\n", 1)[0].decode("utf-8", "replace")
    marker = "# yaml-language-server: $schema="
    if not first.startswith(marker):
        return None
    target = (path.parent / first[len(marker):]).resolve()
    return target.name.split(".")[0] if target.is_file() and target.parent == ROOT / "schemas" else None


def refused_by_schema(schemas, kind, tree):
    return next(schemas[kind].iter_errors(tree), None) is not None


def shipped_files_please_both(schemas):
    files = sorted(p for p in ROOT.rglob("*.yaml") if p.parent != ROOT / "bad")
    for path, complaints in zip(files, check(files)):
        name = path.relative_to(ROOT)
        kind = schema_named_in(path)
        expect(kind in KINDS, f"{name}: its first line names no schema that is there")
        if kind not in KINDS:
            continue
        tree = yaml.safe_load(path.read_bytes())
        expect(next(iter(tree)) == kind, f"{name}: its first key is not '{kind}'")
        for error in schemas[kind].iter_errors(tree):
            wrong.append(f"{name}: the schema refuses {list(error.path)}: {error.message[:200]}")
        expect(not complaints, f"{name}: the loader refuses it: {complaints}")


def bad_examples_please_neither(schemas):
    files = sorted((ROOT / "bad").glob("*.yaml"))
    expect(len(files) >= 25, "fewer than 25 bad examples")
    seen = set()
    for path, complaints in zip(files, check(files)):
        expect(complaints, f"{path.name}: the loader accepts it")
        expect(all(one["what"] and one["remedy"] for one in complaints), f"{path.name}: a complaint without a remedy")
        try:
            tree = yaml.safe_load(path.read_bytes())
            kind = path.name.split("-")[0]
            # A file of no kind pleases none of them.
            refused = all(refused_by_schema(schemas, k, tree) for k in ([kind] if kind in KINDS else KINDS))
        except (yaml.YAMLError, UnicodeDecodeError):
            refused = True
        seen.add(path.stem)
        if path.stem in DIFFERENCES:
            expect(not refused, f"{path.name}: the schema refuses it too: take it out of DIFFERENCES")
        else:
            expect(refused, f"{path.name}: the schema accepts it, and DIFFERENCES does not say why")
    for name in set(DIFFERENCES) - seen:
        wrong.append(f"DIFFERENCES names {name}, which is not there")


def mappings(tree):
    """Every mapping in a tree."""
    if isinstance(tree, dict):
        yield tree
    for value in tree.values() if isinstance(tree, dict) else tree if isinstance(tree, list) else []:
        yield from mappings(value)


def variants(tree):
    """The same file with one key taken away, or one added that nobody knows."""
    count = sum(1 for _ in mappings(tree))
    for number in range(count):
        keys = list(list(mappings(tree))[number])
        for key in keys:
            changed = copy.deepcopy(tree)
            del list(mappings(changed))[number][key]
            yield f"without '{key}' in mapping {number}", changed
        changed = copy.deepcopy(tree)
        list(mappings(changed))[number]["no_such_key"] = 1
        yield f"with 'no_such_key' in mapping {number}", changed


def both_know_the_same_keys(schemas):
    """Each key of the shipped files in turn: the two agree on what may be left out and on what is unknown."""
    sources = [
        "products/two-pressure.yaml",
        "products/one-pressure.yaml",
        "products/straight-plug-one-pressure.yaml",
        "end-of-line.yaml",
        "benches/emulated.yaml",
        "benches/board.yaml",
        "bad/sound/bench.yaml",
        "bad/sound/full-bench.yaml",
        "bad/sound/talking-product.yaml",
    ]
    with tempfile.TemporaryDirectory() as scratch:
        folder = pathlib.Path(scratch)
        (folder / "products").mkdir()
        (folder / "drives").mkdir()
        for beside in ("products/two-pressure.yaml", "drives/pull.csv"):
            (folder / beside).write_bytes((ROOT / beside).read_bytes())
        cases = []
        for source in sources:
            tree = yaml.safe_load((ROOT / source).read_bytes())
            kind = next(iter(tree))
            for what, changed in variants(tree):
                path = folder / f"{len(cases)}.yaml"
                path.write_text(yaml.dump(changed, Dumper=DUMPER, sort_keys=False, width=900), encoding="utf-8")
                cases.append((source, what, kind, changed, path))
        for start in range(0, len(cases), 200):
            batch = cases[start:start + 200]
            for (source, what, kind, changed, _), complaints in zip(batch, check([case[4] for case in batch])):
                refused = refused_by_schema(schemas, kind, changed)
                # Which columns a drive must have is for its product to say, which is another file.
                about_keys = [c["what"] for c in complaints
                              if ("is missing in" in c["what"] or "no such key" in c["what"]) and "`columns`" not in c["what"]]
                expect(complaints or not refused, f"{source} {what}: the schema refuses what the loader accepts")
                expect(refused or not about_keys, f"{source} {what}: the schema accepts, the loader says {about_keys}")
    expect(len(cases) > 500, "too few keys were tried")
    return len(cases)


def main():
    schemas = load_schemas()
    shipped_files_please_both(schemas)
    bad_examples_please_neither(schemas)
    tried = both_know_the_same_keys(schemas)
    for text in wrong[:40]:
        print(text)
    print(f"{tried} variants of shipped files tried, {len(wrong)} wrong")
    return 1 if wrong else 0


if __name__ == "__main__":
    sys.exit(main())
