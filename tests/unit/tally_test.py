#!/usr/bin/python3
"""What counts what passed must itself be right: tests/tally.py against what the test programs print."""

import os
import subprocess
import sys
import tempfile
import unittest

HERE = os.path.dirname(os.path.abspath(__file__))
sys.path.insert(0, os.path.dirname(HERE))
import tally  # noqa: E402


class Counting(unittest.TestCase):
    def test_catch_programs_are_counted_by_test_case(self):
        self.assertEqual(tally.counted("====\nAll tests passed (90 assertions in 24 test cases)\n\n", 0), (24, 0))
        self.assertEqual(tally.counted("All tests passed (1 assertion in 1 test case)\n", 0), (1, 0))
        self.assertEqual(tally.counted("test cases: 12 | 11 passed | 1 failed\nassertions: 42 | 41 passed | 1 failed\n", 1),
                         (11, 1))
        self.assertEqual(tally.counted("test cases: 3 | 3 failed\nassertions: 3 | 3 failed\n", 3), (0, 3))

    def test_python_tests_are_counted_one_by_one(self):
        self.assertEqual(tally.counted("Ran 9 tests in 1.2s\n\nOK\n", 0), (9, 0))
        self.assertEqual(tally.counted("Ran 9 tests in 1.2s\n\nFAILED (failures=1, errors=2)\n", 1), (6, 3))
        self.assertEqual(tally.counted("Ran 9 tests in 1.2s\n\nOK (skipped=4)\n", 0), (5, 0))

    def test_a_script_may_say_its_own_count_on_its_last_line(self):
        self.assertEqual(tally.counted("talk\n5 passed, 2 failed\n", 1), (5, 2))
        self.assertEqual(tally.counted("5 passed, 0 failed\nbut then more talk\n", 0), (1, 0))

    def test_anything_else_is_one_test_by_its_exit_status(self):
        self.assertEqual(tally.counted("Done 1000 runs in 20 second(s)\n", 0), (1, 0))
        self.assertEqual(tally.counted("==1==ERROR\n", 1), (0, 1))

    def test_a_program_that_dies_after_saying_that_all_passed_has_failed(self):
        self.assertEqual(tally.counted("All tests passed (90 assertions in 24 test cases)\n", -11), (24, 1))

    def test_a_program_without_a_test_has_failed(self):
        self.assertEqual(tally.counted("Ran 0 tests in 0.0s\n\nOK\n", 0), (0, 1))


class Running(unittest.TestCase):
    def tally(self, *programs, limit="60"):
        with tempfile.TemporaryDirectory() as folder:
            count = os.path.join(folder, "count")
            done = subprocess.run([sys.executable, os.path.join(HERE, "..", "tally.py"), "--limit", limit, "--log", folder,
                                   "--count", count, *programs], capture_output=True, text=True)
            with open(count) as text:
                return done.returncode, text.read().split(), done.stdout

    def test_the_sum_of_all_programs_is_written_down(self):
        code, total, _ = self.tally("a=echo 3 passed, 0 failed", "b=true")
        self.assertEqual((code, total), (0, ["4", "0"]))

    def test_one_failure_fails_the_whole_and_shows_its_output(self):
        code, total, said = self.tally("a=true", "b=sh -c 'echo the reason; exit 1'")
        self.assertEqual((code, total), (1, ["1", "1"]))
        self.assertIn("the reason", said)

    def test_a_program_over_its_limit_is_stopped_and_fails(self):
        code, total, said = self.tally("a=sleep 30", limit="0.3")
        self.assertEqual((code, total), (1, ["0", "1"]))
        self.assertIn("stopped after", said)


if __name__ == "__main__":
    unittest.main()
