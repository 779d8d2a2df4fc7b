#!/usr/bin/python3
"""A real browser looks at reports of runs: tests/page/report_page_test.py BUILD_FOLDER"""

import os
import subprocess
import sys
import tempfile
import unittest

sys.path.insert(0, os.path.dirname(os.path.abspath(__file__)))
from browser import Browser  # noqa: E402

BUILD = "build"
WIDTHS = (1280, 400)
VERDICTS = ("pass", "fail", "undecided", "void")

# Every piece of text with the ground behind it, as WCAG 2.1 (1.4.3) reckons contrast.
CONTRAST = """
(() => {
  const light = v => { v /= 255; return v <= 0.03928 ? v / 12.92 : ((v + 0.055) / 1.055) ** 2.4; };
  const parse = c => c.match(/[\\d.]+/g).map(Number);
  const luminance = c => 0.2126 * light(c[0]) + 0.7152 * light(c[1]) + 0.0722 * light(c[2]);
  const ground = e => { for (; e; e = e.parentElement) { const c = parse(getComputedStyle(e).backgroundColor);
    if (c.length < 4 || c[3] > 0) return c; } return [255, 255, 255]; };
  const poor = new Map();
  const walker = document.createTreeWalker(document.body, NodeFilter.SHOW_TEXT);
  while (walker.nextNode()) {
    const e = walker.currentNode.parentElement;
    if (!walker.currentNode.textContent.trim() || !e.getClientRects().length) continue;
    const style = getComputedStyle(e);
    const a = luminance(parse(e.closest('svg') ? style.fill : style.color)), b = luminance(ground(e));
    const ratio = (Math.max(a, b) + 0.05) / (Math.min(a, b) + 0.05);
    if (ratio < 4.5) poor.set(e.tagName + '.' + e.getAttribute('class'), ratio.toFixed(2));
  }
  return JSON.stringify([...poor]);
})()
"""

SMALLEST_TEXT = """
Math.min(...[...document.querySelectorAll('main *')].filter(e => [...e.childNodes].some(n => n.nodeType == 3 && n.data.trim())
  && e.getClientRects().length && !e.closest('svg')).map(e => parseFloat(getComputedStyle(e).fontSize)))
"""

CLIPPED_CELLS = """
[...document.querySelectorAll('.heat td')].filter(e => e.getClientRects().length && e.scrollWidth > e.clientWidth + 1).length
"""


class ReportPage(unittest.TestCase):
    @classmethod
    def setUpClass(cls):
        cls.folder = tempfile.TemporaryDirectory(prefix="proofstand-page-")
        subprocess.run([os.path.join(BUILD, "write_samples"), cls.folder.name], check=True)
        cls.browser = Browser().__enter__()
        cls.opened = {}

    @classmethod
    def tearDownClass(cls):
        cls.browser.__exit__()
        cls.folder.cleanup()


    def page(self, name, width=1280):
        """Each page is opened once; nothing that a test asks changes it."""
        if (name, width) not in self.opened:
            self.opened[name, width] = self.browser.open(f"file://{self.folder.name}/{name}.html", width=width)
        return self.opened[name, width]

    def for_each(self, check):
        for name in (*VERDICTS, "hostile", "faults"):
            for width in WIDTHS:
                with self.subTest(report=name, width=width):
                    check(name, self.page(name, width))

    def test_nothing_is_fetched_and_the_console_stays_silent(self):
        def check(name, page):
            asked = [e["params"]["request"]["url"] for e in page.events("Network.requestWillBeSent")]
            self.assertEqual(asked, [f"file://{self.folder.name}/{name}.html"])
            self.assertEqual(page.events("Log.entryAdded", "Runtime.exceptionThrown", "Runtime.consoleAPICalled"), [])
        self.for_each(check)

    def test_no_page_is_wider_than_its_window(self):
        self.for_each(lambda _, page: self.assertLessEqual(page.value("document.documentElement.scrollWidth"),
                                                           page.value("innerWidth")))

    def test_every_text_stands_out_from_its_ground(self):
        self.for_each(lambda _, page: self.assertEqual(page.value(CONTRAST), "[]"))

    def test_no_text_is_too_small_to_read_and_no_cell_is_cut_off(self):
        def check(_, page):
            self.assertGreaterEqual(page.value(SMALLEST_TEXT), 11)
            self.assertEqual(page.value(CLIPPED_CELLS), 0)
        self.for_each(check)

    def test_the_verdict_is_the_largest_thing_and_in_view_at_once(self):
        for verdict in VERDICTS:
            for width in WIDTHS:
                with self.subTest(verdict=verdict, width=width):
                    page = self.page(verdict, width)
                    self.assertEqual(page.value("document.querySelector('h1').innerText"), verdict)
                    size = page.value("parseFloat(getComputedStyle(document.querySelector('h1')).fontSize)")
                    largest = page.value("Math.max(...[...document.querySelectorAll('body *:not(h1)')]"
                                         ".map(e => parseFloat(getComputedStyle(e).fontSize)))")
                    self.assertGreater(size, 1.5 * largest)
                    self.assertLess(page.value("document.querySelector('h1').getBoundingClientRect().bottom"), 500)

    def test_each_verdict_has_a_shape_of_its_own(self):
        shapes = {self.page(v).value("document.querySelector('.mark').innerHTML") for v in VERDICTS}
        self.assertEqual(len(shapes), len(VERDICTS))

    def test_the_map_of_margins_has_numbers_and_axes_with_units(self):
        page = self.page("fail")
        self.assertEqual(page.value("document.querySelectorAll('.map').length"), 4)
        self.assertGreater(page.value("[...document.querySelectorAll('.heat td')]"
                                      ".filter(e => /[0-9]\\.[0-9]/.test(e.innerText)).length"), 1000)
        text = page.value("document.querySelector('.map').textContent")
        self.assertIn("engine speed, rpm", text)
        self.assertIn("pressure at the sensor, kPa", text)
        self.assertGreater(page.value("document.querySelectorAll('.heat td.out b').length"), 100)

    def test_a_strip_has_a_time_axis_with_its_unit_and_marks_with_words(self):
        page = self.page("faults")
        self.assertEqual(page.value("document.querySelectorAll('.strips:not(.compact) .strip').length"), 3)
        self.assertEqual(page.value("document.querySelectorAll('details.passed .strip').length"), 37)
        texts = "JSON.stringify([...document.querySelector('.strip svg[role=img]').querySelectorAll('text')].map(t => t.textContent))"
        for word in ("onset", "deadline", "removed", "ms from the onset", "manifold pressure, V", "charge pressure, V"):
            self.assertIn(f'"{word}"', page.value(texts))

    def test_the_words_of_a_strip_do_not_run_into_one_another(self):
        for width in WIDTHS:
            with self.subTest(width=width):
                self.assertEqual(self.page("faults", width).value("""
                    [...document.querySelectorAll('.strips:not(.compact) svg[role=img]')].filter(svg => {
                      const box = [...svg.querySelectorAll('text.word')].map(t => t.getBoundingClientRect());
                      return box.some((a, i) => box.some((b, j) => i < j && a.left < b.right - 1 && b.left < a.right - 1
                        && a.top < b.bottom - 2 && b.top < a.bottom - 2));
                    }).length"""), 0)

    def test_strips_that_passed_are_folded_on_the_screen_and_printed_on_paper(self):
        page = self.page("faults")
        self.assertFalse(page.value("document.querySelector('details.passed').open"))
        path = os.path.join(self.folder.name, "faults.pdf")
        page.print_to(path)
        text = subprocess.run(["pdftotext", path, "-"], capture_output=True, text=True, check=True).stdout
        self.assertEqual(text.count("ms from the onset"), 40)

    def test_typed_text_stays_text(self):
        page = self.page("hostile")
        self.assertTrue(page.value("document.title").startswith("fail: unit <img"))
        self.assertEqual(page.value("document.querySelectorAll('img, script, style + style').length"), 0)
        self.assertEqual(page.value("getComputedStyle(document.querySelector('h1')).display"), "block")

    def test_it_prints_on_paper(self):
        for name in VERDICTS:
            with self.subTest(report=name):
                path = os.path.join(self.folder.name, name + ".pdf")
                self.page(name).print_to(path)
                said = subprocess.run(["pdfinfo", path], capture_output=True, text=True, check=True).stdout
                self.assertIn("A4", said)
                pages = int(said.split("Pages:")[1].split()[0])
                self.assertLessEqual(pages, 30)
                text = subprocess.run(["pdftotext", "-layout", path, "-"], capture_output=True, text=True, check=True).stdout
                self.assertIn(name, text)
                self.assertIn("A00412", text)
                self.assertIn("licensed practice and local law", " ".join(text.split()))


if __name__ == "__main__":
    if len(sys.argv) > 1:
        BUILD = sys.argv.pop(1)
    unittest.main()
