"""Make the two pictures in the README: what `sidegate check` prints for the demo, and the HTML page of the same report.

    python tests/picture.py

Makes the demo, judges it and has Debian's chromium draw both. The text that examples/report.png shows is also in its
comment, and the comment of examples/page.png is the SHA-256 of the words on the page; tests/demo/test_words.py compares
both with what the command writes, so a picture that is out of date fails.
"""

from __future__ import annotations

import hashlib
import html
import io
import re
import struct
import subprocess
import sys
import tempfile
import zlib
from pathlib import Path

EXAMPLES = Path(__file__).resolve().parents[1] / "examples"
PICTURE, PAGE = EXAMPLES / "report.png", EXAMPLES / "page.png"
PAGE_SIZE = (1280, 1500)
"""Pixels of the window in which the page is drawn: its first screens, not all of it."""
WIDTH, LINE, MARGIN = 880, 18, 18
"""Pixels of the picture's width, of a line, around the text."""
COLUMNS = 100
STYLE = """html {{ background: #f3f1ea; }} body {{ margin: {margin}px; color: #1c1c1a;
font: 14px/{line}px "DejaVu Sans Mono", monospace; white-space: pre; }}
.s1 {{ font-weight: bold }} .s2 {{ color: #7b7a74 }} .s3 {{ font-style: italic }} .s31 {{ color: #8b0f0f }}
.s32 {{ color: #1f7a2d }} .s33 {{ color: #7d7100 }} .s36 {{ color: #0e6f7a }}"""
CODES = re.compile(r"\x1b\[([0-9;]*)m")


def text_of(report, *, colour: bool = False) -> str:
    """Return what the command prints of a report, as wide as in the picture."""
    from qc.plugin_api import Evidence
    from qc.report.text.report import Text

    out = io.BytesIO()
    Text(width=COLUMNS, colour=colour).render(report, Evidence(), out)
    return out.getvalue().decode()


def comment_of(picture: bytes) -> str:
    """Return the comment in a PNG; raises StopIteration without one."""
    at = 8
    while True:
        (length,) = struct.unpack_from(">I", picture, at)
        kind, content = picture[at + 4 : at + 8], picture[at + 8 : at + 8 + length]
        if kind == b"iTXt" and content.startswith(b"Comment\0"):
            return content[len(b"Comment\0\0\0\0\0") :].decode()
        if kind == b"IEND":
            raise StopIteration
        at += 12 + length


def make() -> None:
    """Make it anew."""
    from qc import api
    from qc.cli.main import main

    with tempfile.TemporaryDirectory() as folder:
        delivery = Path(folder, "sidegate-demo")
        report = api.demo(delivery).report
        page = Path(folder, "page.html")
        printed = "$ sidegate check sidegate-demo\n" + text_of(report, colour=True)
        style = STYLE.format(margin=MARGIN, line=LINE)
        page.write_text(f"<!doctype html><meta charset=utf-8><style>{style}</style>{_marked(printed)}", "utf-8")
        height = LINE * printed.count("\n") + 2 * MARGIN
        PICTURE.write_bytes(_commented(_drawn(page, (WIDTH, height)), text_of(report)))
        whole = Path(folder, "report.html")
        main(["check", str(delivery), "--no-cache", "--reproducible", "--out", f"html={whole}"])
        PAGE.write_bytes(_commented(_drawn(whole, PAGE_SIZE), words_of(report)))
    sys.stdout.write(f"{PICTURE.name} and {PAGE.name} are made anew\n")


def words_of(report) -> str:
    """Return the SHA-256 of the words on the page of a report: without script, style, pictures, spaces and the run."""
    from qc.plugin_api import Evidence
    from qc.report.html.page import document

    page = document(report.model_copy(update={"run": None}), Evidence())
    bare = re.sub(r"<(script|style|svg)\b.*?</\1>|<[^>]*>", " ", page, flags=re.DOTALL)
    return hashlib.sha256(" ".join(html.unescape(bare).split()).encode()).hexdigest()


def _drawn(page: Path, size: tuple[int, int]) -> bytes:
    """Return a page as a PNG of that many pixels."""
    shot = page.with_suffix(".png")
    words = ["chromium", "--headless", "--no-sandbox", "--hide-scrollbars", f"--window-size={size[0]},{size[1]}"]
    subprocess.run([*words, f"--screenshot={shot}", page.as_uri()], check=True, capture_output=True)
    return shot.read_bytes()


def _marked(text: str) -> str:
    """Turn a terminal's codes into spans."""
    parts = CODES.split(text)
    out = [html.escape(parts[0])]
    open_spans = 0
    for codes, piece in zip(parts[1::2], parts[2::2], strict=True):
        if codes in {"", "0"}:
            out.append("</span>" * open_spans)
            open_spans = 0
        else:
            classes = " ".join(f"s{code}" for code in codes.split(";"))
            out.append(f'<span class="{classes}">')
            open_spans += 1
        out.append(html.escape(piece))
    return "".join(out) + "</span>" * open_spans


def _commented(picture: bytes, comment: str) -> bytes:
    """Add a comment before the end of a PNG."""
    content = b"iTXt" + b"Comment\0\0\0\0\0" + comment.encode()
    chunk = struct.pack(">I", len(content) - 4) + content + struct.pack(">I", zlib.crc32(content))
    end = picture.rindex(b"IEND") - 4
    return picture[:end] + chunk + picture[end:]


if __name__ == "__main__":
    make()
