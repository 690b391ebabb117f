"""Long and deep input through the whole command: one sentence, the right exit code, and work that grows with the input.

Where a pattern or a loop is quadratic these texts keep a processor busy for minutes; here each run has as long as any
command of the bench, and needs half a second.
"""

from __future__ import annotations

import random

import pytest
import soundfile

from support.command import DELIVERY, RATE, one_sentence, programme

AT_MOST = 20.0
"""s of the processor for a report in seven formats, which needs two; what is quadratic takes minutes"""
LONG = 240_000
TEXTS = {
    "a level and blanks": 'cut_level: "-3' + " " * LONG + '!"',
    "a level of digits": f'cut_level: "{"3" * LONG}!"',
    "a level with an exponent": f'cut_level: "1e{"3" * LONG}!"',
    "a digest": f"sha256: {'0' * LONG}g",
    "a path": f"audio2: {'a/' * (LONG // 2)}",
    "an inscription": f"inscription: {'-' * LONG}",
    "a key": f"? {'k' * LONG}\n    : 1",
    "quoted line ends": 'inscription: "' + "\n" * (LONG - 20) + '"',
    "escapes": 'inscription: "' + "\\x41" * (LONG // 4) + '"',
    "a block": "inscription: |\n" + "      x\n" * (LONG // 8),
}


@pytest.mark.parametrize("kind", TEXTS)
def test_a_long_value_is_refused_by_its_line(bench, kind):
    bench.deliver(DELIVERY.replace("cut_level: 0 dB", TEXTS[kind], 1), audio=False)
    sentence = one_sentence(bench.check())
    assert "delivery.yaml:7: the value is " in sentence
    assert "characters long; at most 10000 are accepted" in sentence


@pytest.mark.parametrize("kind", ["ruleset", "waivers"])
def test_a_long_value_of_another_file_is_refused_too(bench, shipped, kind):
    bench.deliver()
    house = bench.root / "house.yaml"
    if kind == "ruleset":
        house.write_bytes(b"off: {level.clipped: '" + b" " * LONG + b"!'}\n" + shipped)
    else:
        house.write_text(f"schema: 1\nwaivers:\n  - {{check: level.clipped, owner: x, reason: '{' ' * LONG}!'}}\n")
    sentence = one_sentence(bench.check(f"--{kind}", str(house)))
    assert f"house.yaml:{3 if kind == 'waivers' else 1}: the value is 240001 characters long" in sentence


@pytest.mark.parametrize(
    ("text", "says"),
    [
        ("".join(f"k{i}: 1\n" for i in range(25_000)), 'unknown key "k0"'),
        ("sides:\n" + "".join(f"  - {{id: a{i}, audio: side-a.wav}}\n" for i in range(6000)), "at most 99 are judged"),
        ("ruleset: disc-12in-33@" + "9" * 5000 + "\n", "is not a version"),
        ("part: {of: x, volume: " + "9" * 5000 + "}\n", '"volume" is "999'),
        ("schema: " + "9" * 5000 + "\n", "is not known to this version"),
    ],
    ids=["unknown keys", "sides", "a version", "a number", "a schema"],
)
def test_much_of_one_kind_is_refused_in_time(bench, text, says):
    key = text.partition(":")[0] + ":"
    kept = DELIVERY.partition("sides:")[0] if key == "sides:" else DELIVERY
    lines = [line for line in kept.splitlines() if not line.startswith(key)]
    bench.deliver("\n".join(lines) + "\n" + text, audio=False)
    assert says in one_sentence(bench.check())


DIGITS = "9" * 5000


@pytest.mark.parametrize(
    ("old", "new"),
    [
        ("version: 2.0.0", f"version: {DIGITS}"),
        ("version: 2.0.0", f"version: 2.0.0\nextends: disc-12in-33@{DIGITS}"),
        ("version: 2.0.0", f"version: 2.0.0\nextends: {DIGITS}@{DIGITS}"),
        ("version: 2.0.0", f'version: 2.0.0\nneeds_tool: ">={DIGITS}"'),
        ("version: 2.0.0", f'version: 2.0.0\nrequires: {{numpy: ">={DIGITS}"}}'),
        ("schema: 1", f"schema: {DIGITS}"),
        ("speed: 33", f"speed: {DIGITS}"),
        ("land: {value: 13 um", f"land: {{value: {DIGITS} um"),
        ("land: {value: 13 um", f"land: {{value: 13e{DIGITS} um"),
    ],
)
def test_numbers_of_thousands_of_digits_in_a_ruleset(bench, shipped, old, new):
    bench.deliver()
    text = [line for line in shipped.decode().splitlines() if not line.startswith(("needs_tool:", "requires:"))]
    text = "\n".join(text).replace("version: 1.0.0", "version: 2.0.0") + "\n"
    assert old in text
    house = bench.root / "house.yaml"
    house.write_text(text.replace(old, new, 1))
    assert one_sentence(bench.check("--ruleset", str(house))).startswith(f"sidegate: {house}:")


@pytest.mark.parametrize(
    "words",
    [
        ["--ruleset", f"disc-12in-33@{DIGITS}"],
        ["--ruleset", f"{DIGITS}@1"],
        ["--ruleset", "disc-12in-33@1." + "0." * 60_000 + "0"],
        ["--chain", f"cut.land={DIGITS}um"],
        ["--chain", f"cut.land=13{' ' * 100_000}!"],
        ["--side", DIGITS],
        ["--ruleset", "x" * 100_000],
    ],
    ids=lambda words: " ".join(words)[:30],
)
def test_long_words_of_the_command_line(bench, words):
    bench.deliver()
    assert len(one_sentence(bench.check(*words))) < 3000


@pytest.mark.parametrize(
    "track",
    [
        f"number: {DIGITS}, start: 0, end: 1", f'number: 1, start: "{DIGITS}:00", end: 1',
        f"number: 1, start: {DIGITS}, end: 1", f"number: 1, start: 0, end: 1.{DIGITS}",
        f'number: 1, start: "0:{DIGITS}", end: 1', f'number: 1, start: 0, end: 1, gap_after: "{DIGITS} s"',
        f'number: 1, start: "-{" " * 9000}x", end: 1', f'number: 1, start: "{"1:" * 4000}", end: 1',
    ],
)  # fmt: skip
def test_numbers_and_times_of_thousands_of_digits_in_a_delivery(bench, track):
    bench.deliver(DELIVERY.replace("{number: 1, title: Slack Water, start: 0, end: 1.0}", f"{{{track}}}"), audio=False)
    assert "delivery.yaml:9: " in one_sentence(bench.check())


HEAD = 'FILE "side-a.wav" WAVE\n  TRACK 01 AUDIO\n    INDEX 01 0:00:00\n'
SHEETS = {
    "a name and blanks": "FILE a" + " " * LONG + "b c\n",
    "a name, blanks and words": "FILE a" + " b" * (LONG // 2) + "\n",
    "quotation marks": 'FILE "' + '" "' * (LONG // 3) + "\n",
    "a title": HEAD + f"TITLE {'x' * LONG}\n",
    "a time": f'FILE "a" WAVE\nTRACK 01 AUDIO\nINDEX 01 {"9" * LONG}:00:00\n',
    "a track": f'FILE "a" WAVE\nTRACK {"9" * LONG} AUDIO\n',
    "a name of blanks as long as a line may be": ("FILE a" + " " * 4900 + "b c\n") * 50,
}


@pytest.mark.parametrize("kind", SHEETS)
def test_long_lines_of_a_cue_sheet(bench, kind):
    bench.deliver()
    (bench.folder / "sheet.cue").write_text(SHEETS[kind])
    ran = bench.run("init", "side-a.wav", "--cue", "sheet.cue", "--out", str(bench.output / "d.yaml"))
    sentence = one_sentence(ran)
    assert "sheet.cue:" in sentence
    assert ("characters long; at most 5000" in sentence) == (kind != "a name of blanks as long as a line may be")


def test_a_cue_sheet_of_as_many_indexes_as_there_can_be(bench):
    """Each line is compared with the one before it, and not with a list of all of them that is made anew."""
    lines = ['FILE "side-a.wav" WAVE']
    for track in range(1, 100):
        lines += [
            f"TRACK {track:02d} AUDIO",
            *(f"INDEX {i:02d} 0:{track // 75:02d}:{track % 75:02d}" for i in range(1, 100)),
        ]
    bench.deliver()
    (bench.folder / "sheet.cue").write_text("\n".join(lines))
    ran = bench.run("init", "side-a.wav", "--cue", "sheet.cue", "--out", str(bench.root / "delivery.yaml"))
    assert ran.code == 0, ran.err


LISTS = {
    "blanks": ("a" + " " * 4000 + "\u2003x\n") * 250,
    "brackets": ("sha256 (" + ") = a" * 900 + "x\n") * 200,
    "a long line": "0" * 1_000_000,
    "another name a line": "".join(f"{i:064x}  {'./' * 20}x{i}.wav\n" for i in range(9000)),
}


@pytest.mark.parametrize("kind", LISTS)
def test_lists_of_checksums_that_cover_a_hundred_files(bench, kind):
    """One list is taken apart once and not a hundred times, and its lines are found by name."""
    tracks = "".join(f"      - {{number: {i}, audio: t{i}.wav}}\n" for i in range(1, 100))
    bench.deliver("schema: 1\ntitle: T\ndisc: {size: 12in, speed: 33}\nsides:\n  - id: A\n    tracks:\n" + tracks)
    for name in ("SHA256SUMS", "checksums.sha256", "MD5SUMS", "checksums.md5"):
        (bench.folder / name).write_text(LISTS[kind])
    assert bench.check().code == 1


RUNS = (
    "-",
    " ",
    "a-",
    "_",
    "*",
    "a b",
    "\u0301",
    "\u00a0",
    "<",
    "[",
    "|",
    "\\",
    "`",
    "\u3000",
    "'",
    ".",
    "1.",
    "\U0001f30a",
)


def test_long_texts_in_every_format(bench):
    """Fifty texts of five thousand characters each, repeating what patterns and word breakers stumble over."""
    rng = random.Random(17)
    texts = [(run * 5000)[:4900] for run in RUNS] + ["".join(rng.choices("".join(RUNS), k=4900)) for _ in range(10)]
    lines = ["schema: 1", "title: x", "disc: {size: 12in, speed: 33}", f"catalogue: 'A{'A' * 4900}'", "sides:"]
    lines += ["  - id: A", "    audio: side-a.wav", "    inscription: '" + "A" * 4800 + " A'", "    tracks:"]
    for i, text in enumerate(texts):
        quoted = text.replace("'", "''")
        lines.append(f"      - {{number: {i + 1}, title: 'x{quoted}x', start: {i / 20}, end: {i / 20 + 0.04}}}")
    bench.deliver("\n".join(lines) + "\n")
    formats = ("text", "html", "sheet", "note", "junit", "sarif", "json")
    words = [word for name in formats for word in ("--out", f"{name}={bench.output / name}.{name}")]
    ran = bench.run("check", bench.folder, "--no-cache", *words)
    assert ran.code in {0, 1}, ran.err
    assert ran.seconds < AT_MOST
    assert sorted(path.suffix for path in bench.output.iterdir()) == sorted(f".{name}" for name in formats)


@pytest.mark.parametrize(
    "rate",
    [44_100, 96_000, *(pytest.param(rate, marks=pytest.mark.long) for rate in (48_000, 88_200, 176_400, 192_000))],
)
def test_sides_of_a_few_frames_are_judged(bench, rate):
    """0.4 ms at 44.1 and 96 kHz are 18 and 38 frames."""
    lines = ["schema: 1", "title: T", "disc: {size: 12in, speed: 33}", "sides:"]
    for frames in (1, 2, 3, 19, 40, 77):
        name = f"side-{frames}.wav"
        soundfile.write(bench.folder / name, programme(1.0)[RATE // 2 :][:frames], rate, subtype="PCM_24")
        lines.append(f"  - {{id: S{frames}, audio: {name}}}")
    bench.deliver("\n".join(lines) + "\n", audio=False)
    ran = bench.check()
    assert len(ran.report["sides"]) == 6
    assert ran.code in {0, 1}, ran.err
    assert ran.report["plugin_failures"] == []
    assert {result["outcome"] for result in ran.report["results"]} <= {
        "pass",
        "warn",
        "fail",
        "not_measured",
        "not_applicable",
    }
