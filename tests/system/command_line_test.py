"""The program as a build server sees it: exit codes, JSON, what is kept. Started by tests/system/run."""

import json
import os
import re
import shutil
import signal
import subprocess
import tempfile
import time
import unittest

PROGRAM = os.environ.get("PROOFSTAND", "build/proofstand")
SCENARIO = "scenarios/end-of-line.yaml"
EMULATED = "scenarios/benches/emulated.yaml"
PRODUCT = "scenarios/products/two-pressure.yaml"

# What a defect must be found by: a failing characteristic that begins like this (a regular expression).
ABOUT = {
    "gain": r"sweep/", "offset": r"sweep/", "noise": r"sweep/noise/", "wrong_cell": r"sweep/", "swapped_axes": r"sweep/",
    "axis_off_by_one": r"sweep/", "no_interpolation": r"sweep/", "no_clamp": r"sweep/", "missing_derate": r"derate/",
    "stuck_output": r"sweep/", "slow_start": r"power_up/boot_time", "startup_glitch": r"power_up/glitch/",
    "tenth_start_glitch": r"power_up/glitch/", "channels_swapped": r"sweep/", "crosstalk": r"sweep/",
    "disagreement": r"sweep/", "excess_shift": r"(ceiling|sweep)/", "slow_settle": r"sweep/", "high_current": r"power_up/",
    "input_drag": r"loading/.*/input/", "input_leakage": r"loading/.*/input/", "rail_shy": r"sweep/",
    "wrong_sign": r"ceiling/", "weak_output": r"loading/output/", "own_pull_up": r"speed_line/own_pull_up",
    "dragged_speed": r"speed_line/high", "wrong_threshold": r"speed_line/raised_lows/", "cross_feed": r"loading/cross_feed/",
    "half_power_clamp": r"loading/.*/input/", "floating_without_ground": r"pass_through/no_ground/",
    "wrong_firmware": r"identify/firmware", "wrong_table": r"identify/table", "wrong_clamp": r"sweep/",
    "hysteresis": r"sweep/hysteresis/", "doubled_edges": r"sweep/", "no_ramp_in": r"power_up/ramp_in/",
}
# What looks like a unit that does not sit well: put in again twice, and a plug must sit well, before the unit is blamed.
CONTACTS = {"leaky_bypass", "no_bypass", "open_through", "worn_contact"}


class CommandLine(unittest.TestCase):
    def setUp(self):
        self.folder = tempfile.TemporaryDirectory(prefix="proofstand-system-")
        self.store = os.path.join(self.folder.name, "store.sqlite")

    def tearDown(self):
        self.folder.cleanup()

    def proofstand(self, *words, limit=120):
        return subprocess.run([PROGRAM, *words], capture_output=True, text=True, timeout=limit)

    def run_unit(self, *words, serial="T00101", bench=EMULATED, scenario=SCENARIO):
        done = self.proofstand("run", scenario, "--bench", bench, "--unit", serial, "--store", self.store, "--json", *words)
        return done.returncode, json.loads(done.stdout) if done.stdout.strip() else None, done.stderr

    def test_a_good_unit_passes_with_0_and_prints_one_object(self):
        code, run, _ = self.run_unit()
        self.assertEqual((code, run["verdict"], run["serial"]), (0, "pass", "T00101"))
        self.assertIsInstance(run["run"], int)
        self.assertIs(run["retest_due"], False)
        for key in ("id", "verdict", "value", "expected", "low", "high", "in"):
            self.assertIn(key, run["findings"][0])

    def test_every_shipped_scenario_passes_a_good_unit(self):
        for name in sorted(os.listdir("scenarios")):
            if name.endswith(".yaml"):
                with self.subTest(scenario=name):
                    text = open(os.path.join("scenarios", name), encoding="utf-8").read()
                    product = re.search(r"^product:\s*(\S+)", text, re.M).group(1)
                    pattern = re.search(r'^serial_pattern:\s*"([^"]*)"', open(os.path.join("scenarios", product),
                                                                            encoding="utf-8").read(), re.M)
                    serial = (pattern.group(1) if pattern else "T#####").replace("#", "7").replace("@", "A")
                    self.assertEqual(self.run_unit("--stress", serial=serial, scenario="scenarios/" + name)[0], 0)

    def test_every_defect_fails_with_1_about_the_right_thing(self):
        listed = json.loads(self.proofstand("emulate", "--list-defects", "--json").stdout)
        # That every defect of the catalogue has its place is held by tests/unit/run/proof_test.cpp.
        self.assertLessEqual(set(ABOUT) | CONTACTS, {defect["name"] for defect in listed["defects"]})
        for i, (name, about) in enumerate(ABOUT.items()):
            with self.subTest(defect=name):
                code, run, said = self.run_unit("--defect", name, serial=f"T{i:05}")
                self.assertEqual(code, 1, said)
                wrong = [f["id"] for f in run["findings"] if f["verdict"] == "fail"]
                self.assertTrue(any(re.match(about, one) for one in wrong), wrong[:5])

    def test_a_unit_that_sits_badly_is_put_in_again_and_blamed_only_once_a_plug_sits_well(self):
        for i, name in enumerate(sorted(CONTACTS)):
            serial = f"T01{i:03}"
            with self.subTest(defect=name):
                for _ in range(3):  # without a plug in between it may as well be the fixture
                    code, run, _ = self.run_unit("--defect", name, serial=serial)
                    self.assertEqual((code, run["verdict"], run["shown_as"]), (3, "void", "RE-SEAT"))
                self.assertEqual(self.run_unit(serial="PLUG-1", scenario="scenarios/shift-start.yaml")[0], 0)
                code, run, said = self.run_unit("--defect", name, serial=serial)
                self.assertEqual((code, run["verdict"]), (1, "fail"), said)
                self.assertTrue(any(f["id"].startswith("contacts/") for f in run["findings"] if f["verdict"] == "fail"))

    def test_a_fault_of_the_bench_is_void_with_3_and_never_a_fail(self):
        for i, trouble in enumerate(("dead_link", "dead_link=5", "drifted_source@charge_source",
                                     "saturated_capture@charge_pressure", "drifted_check_standard")):
            with self.subTest(trouble=trouble):
                done = self.proofstand("run", SCENARIO, "--bench", EMULATED, "--unit", f"T0020{i}", "--store", self.store,
                                       "--trouble", trouble)
                if done.returncode == 2:
                    self.skipTest(done.stderr)
                self.assertEqual(done.returncode, 3, done.stdout + done.stderr)

    def test_a_board_that_does_not_answer_is_3(self):
        self.assertEqual(self.run_unit("--device", os.path.join(self.folder.name, "nothing"), "--without-shift-start", "a test",
                                       bench="scenarios/benches/board.yaml")[0], 3)

    def test_a_file_with_a_mistake_is_2_with_its_place(self):
        done = self.proofstand("check", "scenarios/bad/product-missing-unit.yaml")
        self.assertEqual(done.returncode, 2)
        self.assertRegex(done.stdout + done.stderr, r"product-missing-unit\.yaml:\d+:\d+: ")

    def test_a_plug_is_not_run_under_a_units_number(self):
        code, run, said = self.run_unit(serial="T00101", scenario="scenarios/shift-start.yaml")
        self.assertEqual((code, run), (2, None))
        self.assertIn("'T00101' is not one of this product", said)

    def test_a_defect_that_the_product_cannot_have_is_2_and_leaves_no_run(self):
        code, run, said = self.run_unit("--defect", "worn_contact@nothing")
        self.assertEqual((code, run), (2, None))
        self.assertIn("it cannot act on 'nothing'", said)
        self.assertFalse(os.path.exists(self.store))

    def test_bad_usage_is_2(self):
        for words in ((), ("no-such-command",), ("run",), ("run", "missing.yaml", "--bench", EMULATED, "--unit", "T00101"),
                      ("run", SCENARIO, "--bench", EMULATED, "--unit", "T00101", "--defect", "no_such_defect")):
            with self.subTest(words=words):
                self.assertEqual(self.proofstand(*words).returncode, 2)

    def test_a_store_that_cannot_be_is_5(self):
        path = os.path.join(self.folder.name, "missing", "store.sqlite")
        done = self.proofstand("run", SCENARIO, "--bench", EMULATED, "--unit", "T00101", "--store", path)
        self.assertEqual(done.returncode, 5, done.stderr)

    def test_what_was_run_is_listed_shown_reported_and_verified(self):
        number = str(self.run_unit()[1]["run"])
        listed = json.loads(self.proofstand("list", "--store", self.store, "--json").stdout)
        self.assertIn("T00101", json.dumps(listed))
        shown = json.loads(self.proofstand("show", number, "--store", self.store, "--json").stdout)
        self.assertEqual((str(shown["run"]), shown["verdict"]), (number, "pass"))
        page = os.path.join(self.folder.name, "report.html")
        self.assertEqual(self.proofstand("report", number, "-o", page, "--store", self.store).returncode, 0)
        with open(page, encoding="utf-8") as text:
            self.assertIn("<h1>pass</h1>", text.read())
        self.assertEqual(self.proofstand("verify", "--store", self.store).returncode, 0)

    def test_an_unknown_command_is_answered_with_the_nearest(self):
        done = self.proofstand("lsit")
        self.assertEqual(done.returncode, 2)
        self.assertIn("'lsit': no such command. Did you mean 'list'?", done.stderr)

    def test_a_serial_number_of_another_product_is_refused_before_anything_is_energised(self):
        for serial in ("X1", "T0010", "S00101", "t00101"):
            with self.subTest(serial=serial):
                code, run, said = self.run_unit(serial=serial)
                self.assertEqual((code, run), (2, None))
                self.assertIn("is not one of this product (T#####: ", said)
        self.assertFalse(os.path.exists(self.store))

    def test_two_voids_in_a_row_set_a_unit_aside_until_a_person_says_why(self):
        for _ in range(2):
            self.assertEqual(self.run_unit("--trouble", "dead_link=5")[0], 3)
        code, run, said = self.run_unit()
        self.assertEqual((code, run), (2, None))
        self.assertIn("unit T00101 is set aside: its last two end-of-line runs", said)
        self.assertEqual(self.run_unit(serial="T00102")[0], 0)
        self.assertEqual(self.run_unit("--after-void", "")[0], 2)
        code, run, _ = self.run_unit("--after-void", "the cable was loose", "--operator", "Ann")
        self.assertEqual((code, run["attempt"]), (0, 3))
        self.assertIn({"kind": "after void", "text": "the cable was loose", "who": "Ann"}, run["events"])
        self.assertEqual(self.run_unit()[0], 0)

    def test_a_bench_that_asks_for_a_shift_start_refuses_units_until_it_has_passed(self):
        scenarios = os.path.join(self.folder.name, "scenarios")
        shutil.copytree("scenarios", scenarios)
        bench = os.path.join(scenarios, "benches/emulated.yaml")
        with open(bench, "a", encoding="utf-8") as text:
            text.write("\nshift_start: {scenario: ../end-of-line-one-pressure.yaml, every: 12 h}\n")
        code, run, said = self.run_unit(bench=bench)
        self.assertEqual((code, run), (2, None))
        self.assertIn("has not passed its shift-start scenario within 12 h (last passed: never on this fixture)", said)
        code, run, _ = self.run_unit("--without-shift-start", "the plug is lent", bench=bench)
        self.assertEqual(code, 0)
        self.assertIn({"kind": "without shift start", "text": "the plug is lent", "who": ""}, run["events"])
        self.assertEqual(self.run_unit(bench=bench, scenario=os.path.join(scenarios, "end-of-line-one-pressure.yaml"),
                                       serial="S00001")[0], 0)
        self.assertEqual(self.run_unit(bench=bench)[0], 0)
        state = json.loads(self.proofstand("bench", bench, "--store", self.store, "--json").stdout)
        self.assertEqual((state["matings"], state["shift_start"]["every_h"]), (3, 12))
        self.assertEqual(state["shift_start"]["passed"]["serial"], "S00001")

    def test_a_bench_says_how_its_fixture_fares(self):
        self.run_unit()
        state = json.loads(self.proofstand("bench", EMULATED, "--store", self.store, "--json").stdout)
        self.assertEqual((state["matings"], state["fixture"], state["lately"]["reseats"]), (1, None, 0))
        done = self.proofstand("bench", EMULATED, "--store", self.store, "--new-fixture", "pins worn", "--operator", "Ann")
        self.assertEqual(done.returncode, 0)
        self.assertRegex(done.stdout, r"0 matings since \S+ \(Ann: pins worn\)")
        self.assertEqual(self.proofstand("bench", EMULATED, "--store", self.store, "--new-fixture", "").returncode, 2)

    def test_the_same_seed_gives_the_same_findings(self):
        first, second = (self.run_unit("--seed", "7")[1]["findings"] for _ in range(2))
        self.assertEqual(json.dumps(first), json.dumps(second))

    def test_a_unit_is_proved_over_a_pseudo_terminal_and_a_stop_ends_it_with_4(self):
        link = os.path.join(self.folder.name, "board")
        for pace in ("max", "real"):
            board = subprocess.Popen([PROGRAM, "emulate", EMULATED, "--product", PRODUCT, "--unit", "T00101", "--link", link,
                                      "--pace", pace], stdout=subprocess.PIPE, text=True)
            try:
                self.assertRegex(board.stdout.readline(), "^ready: ")
                words = [PROGRAM, "run", SCENARIO, "--bench", "scenarios/benches/board.yaml", "--device", link, "--unit", "T00101",
                         "--store", self.store, "--json", "--without-shift-start", "a test"]
                host = subprocess.Popen(words, stdout=subprocess.PIPE, stderr=subprocess.PIPE, text=True)
                if pace == "real":
                    time.sleep(3)
                    host.send_signal(signal.SIGINT)
                said, talk = host.communicate(timeout=240)
                self.assertEqual(host.returncode, 0 if pace == "max" else 4, talk)
                if said.strip():
                    self.assertEqual(json.loads(said)["verdict"], "pass" if pace == "max" else "void")
            finally:
                board.terminate()
                board.communicate(timeout=10)


if __name__ == "__main__":
    unittest.main()
