"""The same seed and unit give the same bytes: in process or over a wire, from g++ or from clang."""

import sys
import tempfile

import stand

# What may differ from run to run: ids and times, and what says which bench file it was.
RUN_ONLY = {"run", "id", "attempt", "opened_at", "closed_at", "host_s"}
BENCH_ONLY = {"bench", "inputs"}


def without(report, keys):
    kept = {key: value for key, value in report.items() if key not in keys}
    # A board asks for a shift start, which these runs do without and say so.
    kept["events"] = [event for event in report.get("events", []) if event["kind"] != "without shift start"]
    return kept


def in_process(folder, program=stand.PROGRAM, more=()):
    code, report, said = stand.run(folder, program=program, more=more)
    assert code in (0, 1) and report, said
    return report


def twice():
    """two runs of one unit on one bench are the same but for run id and times"""
    with tempfile.TemporaryDirectory() as folder:
        first, second = in_process(folder), in_process(folder)
        assert without(first, RUN_ONLY) == without(second, RUN_ONLY)
        assert first["run"] != second["run"] and second["attempt"] == 2


def over_a_wire():
    """a run over a pseudo-terminal finds the very same as one in process"""
    for more in ((), ("--defect", "gain")):
        with tempfile.TemporaryDirectory() as folder:
            here = in_process(folder, more=more)
            with stand.board(folder, more=more) as (link, _):
                code, there, said = stand.run(folder, bench=stand.BOARD, more=("--device", str(link)))
            assert there, said
            skip = RUN_ONLY | BENCH_ONLY | {"defects"}
            assert without(here, skip) == without(there, skip), "the wire changes what is found"
            assert code == (1 if more else 0)


def both_compilers():
    """the program built by clang finds the very same as the one built by g++"""
    other = stand.BUILD / "clang/proofstand"
    if not other.exists():
        print(f"      ({other} is not built: not compared)")
        return
    with tempfile.TemporaryDirectory() as folder:
        ours, theirs = in_process(folder), in_process(folder, program=str(other))
        assert without(ours, RUN_ONLY) == without(theirs, RUN_ONLY)


def another_seed():
    """another seed gives other readings"""
    with tempfile.TemporaryDirectory() as folder:
        one, other = in_process(folder, more=("--seed", "1")), in_process(folder, more=("--seed", "2"))
        assert [f["value"] for f in one["findings"]] != [f["value"] for f in other["findings"]]


if __name__ == "__main__":
    sys.exit(stand.verdicts([twice, over_a_wire, both_compilers, another_seed]))
