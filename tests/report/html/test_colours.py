"""The colours of the page: told apart by every eye, in grey too, and dark enough to be read.

Eyes without one kind of cone are simulated as Machado, Oliveira and Fernandes published in 2009, severity 1.
"""

import re
from importlib.resources import files

import numpy as np
import pytest

EYES = {
    "all cones": (1, 0, 0, 0, 1, 0, 0, 0, 1),
    "no long cones": (0.152286, 1.052583, -0.204868, 0.114503, 0.786281, 0.099216, -0.003882, -0.048116, 1.051998),
    "no medium cones": (0.367322, 0.860646, -0.227968, 0.280085, 0.672501, 0.047413, -0.011820, 0.042940, 0.968881),
    "no short cones": (1.255528, -0.076749, -0.178779, -0.078411, 0.930809, 0.147602, 0.004733, 0.691367, 0.303900),
}
TEXT = ("--ink", "--dim", "--fail", "--warn", "--good")


def themes():
    style = files("qc.report.html").joinpath("templates", "page.css").read_text(encoding="utf-8")
    blocks = [
        dict(re.findall(r"(--\w+): (#[0-9a-f]{6})", block))
        for block in re.findall(r"\{([^{}]*--paper: [^{}]*)\}", style)
    ]
    light, dark, asked_dark, printed = blocks
    assert dark == asked_dark
    return {"light": light, "dark": dark, "print": printed}


THEMES = themes()


def linear(colour):
    values = np.array([int(colour[at : at + 2], 16) / 255.0 for at in (1, 3, 5)])
    return np.where(values <= 0.04045, values / 12.92, ((values + 0.055) / 1.055) ** 2.4)


def luminance(colour):
    return float(np.array([0.2126, 0.7152, 0.0722]) @ linear(colour))


def contrast(one, other):
    low, high = sorted((luminance(one), luminance(other)))
    return (high + 0.05) / (low + 0.05)


def lab(rgb):
    """CIE L*a*b* under D65 of linear sRGB."""
    matrix = np.array([[0.4124, 0.3576, 0.1805], [0.2126, 0.7152, 0.0722], [0.0193, 0.1192, 0.9505]])
    xyz = matrix @ np.clip(rgb, 0.0, 1.0) / np.array([0.9505, 1.0, 1.089])
    f = np.where(xyz > 216 / 24389, np.cbrt(xyz), (24389 / 27 * xyz + 16) / 116)
    return np.array([116 * f[1] - 16, 500 * (f[0] - f[1]), 200 * (f[1] - f[2])])


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("name", TEXT)
def test_words_can_be_read(theme, name):
    """4.5 to 1 (WCAG 2.2, 1.4.3)."""
    assert contrast(THEMES[theme][name], THEMES[theme]["--paper"]) >= 4.5


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("name", ["--one", "--two"])
def test_curves_stand_out(theme, name):
    """3 to 1 (WCAG 2.2, 1.4.11)."""
    assert contrast(THEMES[theme][name], THEMES[theme]["--paper"]) >= 3.0


@pytest.mark.parametrize("theme", THEMES)
@pytest.mark.parametrize("eye", EYES)
def test_two_curves_are_told_apart(theme, eye):
    seen = [lab(np.reshape(EYES[eye], (3, 3)) @ linear(THEMES[theme][name])) for name in ("--one", "--two")]
    assert np.linalg.norm(seen[0] - seen[1]) > 25.0


@pytest.mark.parametrize("theme", THEMES)
def test_two_curves_are_told_apart_in_grey(theme):
    assert contrast(THEMES[theme]["--one"], THEMES[theme]["--two"]) > 1.35
