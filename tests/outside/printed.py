"""Prints a page of HTML with two printers that are not ours, and says as JSON what is read on the paper.

    printed.py < book.html

WeasyPrint knows page numbers of links (W3C, CSS Generated Content Module Level 3); Chromium knows named pages and what
stands in their margins. "contents": each line of the contents, the page that it names, and the page on which what it
leads to stands. "margins": what stands in the upper margin of each page. "anchors": the page of each anchor.
"""

import io
import json
import re
import shutil
import sys

from playwright.sync_api import sync_playwright
from pypdf import PdfReader
from weasyprint import HTML


def contents(html):
    """The lines of the contents by WeasyPrint."""
    document = HTML(string=html).render()
    stands = {anchor: n for n, page in enumerate(document.pages, 1) for anchor in page.anchors}
    pdf = PdfReader(io.BytesIO(document.write_pdf()))
    text = "\n".join(pdf.pages[n].extract_text() for n in range(stands["part:reading"]))
    leads = re.findall(r'<li><a href="#([^"]+)">(\d+)\. ', html)
    named = dict(re.findall(r"^(\d+)\. [^\n]*?[. ]{3,}(\d+)$", text, re.M))
    return [[anchor, int(named.get(n, 0)), stands.get(anchor)] for anchor, n in leads]


def margins(html):
    """What Chromium prints over each page, and on which page each anchor stands."""
    with sync_playwright() as driver:
        chromium = shutil.which("chromium") or shutil.which("chromium-browser") or shutil.which("google-chrome")
        assert chromium, "these tests need Chromium"
        browser = driver.chromium.launch(executable_path=chromium, args=["--no-sandbox"])
        page = browser.new_page()
        page.set_content(html)
        pdf = PdfReader(io.BytesIO(page.pdf(prefer_css_page_size=True)))
        browser.close()
    over = []
    for page in pdf.pages:
        top = []
        height = float(page.mediabox.height)
        page.extract_text(visitor_text=lambda text, cm, tm, *_: is_in_margin(cm, tm, height) and top.append(text))
        over.append("".join(top).strip())
    # Chromium writes each name as a PDF name, with its slash.
    anchors = {name.removeprefix("/"): pdf.get_destination_page_number(it) + 1 for name, it in pdf.named_destinations.items()}
    return over, anchors


def is_in_margin(cm, tm, height):
    """Whether a text with these matrices starts within the upper 15 mm of a page."""
    return tm[4] * cm[1] + tm[5] * cm[3] + cm[5] > height - 15 / 25.4 * 72


html = sys.stdin.read()
over, anchors = margins(html)
print(json.dumps({"contents": contents(html), "margins": over, "anchors": anchors}))
