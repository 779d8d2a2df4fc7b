"""Whole units proved over a pseudo-terminal, in real time and with every bad luck a cable can have."""

import os
import pathlib
import shutil
import signal
import subprocess
import sys
import tempfile
import time

import stand


def a_bad_unit():
    """a drifted unit fails over the wire; one that opens its lines without power is to be put in again, pin by pin"""
    for defect, verdict, word in (("gain", (1, "fail"), "pressure"), ("no_bypass", (3, "void"), "re-seat the connector")):
        with tempfile.TemporaryDirectory() as folder, stand.board(folder, more=("--defect", defect)) as (link, _):
            code, report, said = stand.run(folder, bench=stand.BOARD, more=("--device", str(link)))
            assert (code, report["verdict"]) == verdict, (defect, said)
            assert word in report["reason"], report["reason"]


def a_bench_that_does_not_answer():
    """a board that is not there is void and exit 3, and says what to check"""
    with tempfile.TemporaryDirectory() as folder:
        code, report, _ = stand.run(folder, bench=stand.BOARD, more=("--device", str(pathlib.Path(folder) / "nothing")))
        assert code == 3 and report["verdict"] == "void" and "Check the cable" in report["reason"], report["reason"]


def a_deaf_board():
    """a port that nobody listens on is void and exit 3"""
    with tempfile.TemporaryDirectory() as folder:
        deaf, port = os.openpty()
        code, report, _ = stand.run(folder, bench=stand.BOARD, more=("--device", os.ttyname(port)))
        os.close(deaf), os.close(port)
        assert code == 3 and report["verdict"] == "void", report
        assert "did not answer" in report["reason"], report["reason"]


def a_cable_pulled():
    """a board that dies in mid-run voids the run; the next run of the unit is attempt 2"""
    with tempfile.TemporaryDirectory() as folder:
        with stand.board(folder, pace="real") as (link, server):
            run = subprocess.Popen(
                [stand.PROGRAM, "run", str(stand.END_OF_LINE), "--bench", str(stand.BOARD), "--unit", "T00001", "--device", str(link),
                 *stand.WITHOUT_SHIFT_START,
                 "--store", f"{folder}/store.sqlite", "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE)
            time.sleep(2)
            server.kill()
            run.communicate(timeout=30)
            assert run.returncode == 3, run.returncode
        with stand.board(folder) as (link, _):
            code, report, said = stand.run(folder, bench=stand.BOARD, more=("--device", str(link)))
        assert code == 0 and report["attempt"] == 2, said


def a_person_stops():
    """Ctrl-C makes the outputs safe, closes the run as void and exits 4"""
    with tempfile.TemporaryDirectory() as folder, stand.board(folder, pace="real") as (link, _):
        run = subprocess.Popen(
            [stand.PROGRAM, "run", str(stand.END_OF_LINE), "--bench", str(stand.BOARD), "--unit", "T00001", "--device", str(link),
                 *stand.WITHOUT_SHIFT_START,
             "--store", f"{folder}/store.sqlite", "--json"], stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
        time.sleep(2)
        run.send_signal(signal.SIGINT)
        out, said = run.communicate(timeout=30)
        assert run.returncode == 4, (run.returncode, said)
        assert '"verdict": "void"' in out and '"outputs_safe": true' in out and "Ctrl-C" in out


def the_program_is_killed():
    """a run whose program is killed is closed as void at the next start, and the board takes the next one"""
    with tempfile.TemporaryDirectory() as folder, stand.board(folder, pace="real") as (link, _):
        run = subprocess.Popen(
            [stand.PROGRAM, "run", str(stand.END_OF_LINE), "--bench", str(stand.BOARD), "--unit", "T00001", "--device", str(link),
                 *stand.WITHOUT_SHIFT_START,
             "--store", f"{folder}/store.sqlite"], stdout=subprocess.DEVNULL, stderr=subprocess.DEVNULL)
        time.sleep(2)
        run.kill()
        run.wait()
        time.sleep(0.5)  # the board's lease runs out after 250 ms
        code, _, said = stand.run(folder, unit="T00002", more=())
        assert code == 0 and "cut off earlier and is closed as void" in said, said
        listed = subprocess.run([stand.PROGRAM, "list", "--store", f"{folder}/store.sqlite", "--unit", "T00001"], capture_output=True, text=True, check=True)
        assert "VOID" in listed.stdout, listed.stdout


def through_libserialport():
    """a unit is proved through libserialport itself, which opens and sets the port"""
    shim = stand.BUILD / "tests/libmodem_lines.so"
    assert shim.exists(), f"{shim} is not built"
    with tempfile.TemporaryDirectory() as folder, stand.board(folder) as (link, _):
        sign = pathlib.Path(folder) / "asked"
        # libserialport puts what follows /dev/ behind /sys/class/tty as well: this name passes both.
        name = f"/dev/../../..{link}"
        code, report, said = stand.run(folder, bench=stand.BOARD, more=("--device", name),
                                       env={"LD_PRELOAD": preload(shim), "MODEM_LINES_SEEN": str(sign)})
        assert code == 0 and report["verdict"] == "pass", said
        assert sign.exists(), "the port was not opened by libserialport"


def preload(shim):
    """With a sanitized program its run-time must come first."""
    linked = subprocess.run(["ldd", stand.PROGRAM], capture_output=True, text=True, check=False).stdout
    first = [line.split()[2] for line in linked.splitlines() if "libasan" in line]
    return ":".join([*first, str(shim)])


if __name__ == "__main__":
    assert shutil.which(stand.PROGRAM), stand.PROGRAM
    sys.exit(stand.verdicts([a_bad_unit, a_bench_that_does_not_answer, a_deaf_board, a_cable_pulled, a_person_stops,
                             the_program_is_killed, through_libserialport]))
