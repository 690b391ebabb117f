"""Bad input, one kind a test: the exit code, one sentence with what, where and what to do, and nothing left over."""

from __future__ import annotations

import hashlib
import os

import numpy as np
import pytest
import soundfile

from support.command import AUDIO_LINE, DELIVERY, PINNED, RATE, one_sentence, programme

AUDIO = "    audio: side-a.wav\n"
LINES = DELIVERY.count("\n")
DISAGREES = "delivery.audio-disagrees"


def assert_says(sentence, *parts):
    for part in parts:
        assert part in sentence


# -- the delivery file: exit code 2 ------------------------------------------------------------------------------


def test_no_such_delivery(bench):
    sentence = one_sentence(bench.check(delivery="no-such.yaml"))
    assert_says(sentence, "no-such.yaml", "there is no such file or folder", "give a delivery file")


def test_a_fifo_for_a_delivery_does_not_block(bench):
    os.mkfifo(bench.folder / "delivery.yaml")
    for delivery in (bench.folder, bench.folder / "delivery.yaml"):
        sentence = one_sentence(bench.check(delivery=delivery))
        assert_says(sentence, "delivery.yaml", "not a plain file", "name the YAML file itself")


def test_a_folder_without_a_delivery(bench):
    assert_says(one_sentence(bench.check()), str(bench.folder), "holds no delivery.yaml", "add it, or name")


BOMB = "a: &a [x, x]\n" + "".join(
    f"{new}: &{new} [{', '.join(['*' + old] * 9)}]\n" for old, new in zip("abcdefgh", "bcdefghi", strict=True)
)
FILES = {
    "empty": ("", 1, "the delivery file is empty", "write it first"),
    "comments only": ("# nothing yet\n", 1, "the delivery file is empty", "write it first"),
    "a list": ("- schema: 1\n- title: Quiet Harbour\n", 1, "holds a list", "it must hold keys with values"),
    "binary": (bytes(range(128, 256)) * 20, 1, "0x80 at offset 0 is not UTF-8", "save the file as UTF-8"),
    "binary with noughts": (b"RIFF\0\0\0\0WAVE", 1, "unseen character U+0000", "delete it"),
    "tabs": (DELIVERY.replace(AUDIO, AUDIO.replace("    ", "\t")), AUDIO_LINE, "a tab", "use spaces"),
    "an anchor bomb": (BOMB, 1, '"&a" is an anchor', "write the value out"),
    "a key twice": (DELIVERY + "title: Low Light\n", LINES + 1, '"title" is already on line 2', "keep one of the two"),
    "an unknown key": (
        DELIVERY.replace("cut_level", "cut_levl", 1), AUDIO_LINE + 1, "unknown key", 'did you mean "cut_level"?',
    ),
    "an unknown key on top": (DELIVERY + "catalog: QH-1\n", LINES + 1, "unknown key", 'did you mean "catalogue"?'),
    "an end before its start": (
        DELIVERY.replace("start: 1.0, end: 2.0", "start: 1.0, end: 0.5"), 10,
        "track 2 ends at 0:00.500, which is not after its start at 0:01.000", "correct one of the two",
    ),
    "overlapping tracks": (
        DELIVERY.replace("start: 1.0, end: 2.0", "start: 0.9, end: 2.0"), 10,
        "track 2 starts at 0:00.900, before track 1 ends at 0:01.000", "tracks must not overlap (see line 9)",
    ),
    "two sides with one id": (
        DELIVERY.replace("id: B", "id: A"), 11, 'side id "A" is given twice', "name every side differently",
    ),
    "two sides whose ids differ in case only": (
        DELIVERY.replace("id: B", "id: a"), 11, 'side id "a" is given twice', "name every side differently",
    ),
    "a path that climbs out": (
        DELIVERY.replace("side-a.wav", "../side-a.wav"), AUDIO_LINE, "climbs out", "inside the delivery's folder",
    ),
    "an absolute path": (
        DELIVERY.replace("side-a.wav", "/etc/hostname"), AUDIO_LINE, "is an absolute path", "inside the delivery's",
    ),
    "speed 34": (DELIVERY.replace("speed: 33", "speed: 34"), 3, '"speed" is "34"', "it must be 33 or 45"),
    "an unknown ruleset": (
        DELIVERY.replace("disc: {size: 12in, speed: 33}", "ruleset: disc-12in-3"), 3,
        'no ruleset is called "disc-12in-3"', 'did you mean "disc-12in-33"?',
    ),
    "an unknown version of a ruleset": (
        DELIVERY.replace("disc: {size: 12in, speed: 33}", "ruleset: disc-12in-33@9.0.0"), 3,
        "disc-12in-33 has no version 9.0.0", "3.0.0",
    ),
    "a ruleset that is only there to be extended": (
        DELIVERY.replace("disc: {size: 12in, speed: 33}", "ruleset: disc-common@3.0.0"), 3,
        "disc-common is only there to be extended; name a ruleset such as disc-12in-33, or give the disc",
    ),
    "such a ruleset beside the disc": (
        DELIVERY + "ruleset: disc-common\n", LINES + 1, "name a ruleset such as disc-12in-33, or none, and the disc",
    ),
    "an unseen character": (
        DELIVERY.replace("Slack Water", "Slack \x1b[31mWater"), 9, "unseen character U+001B", "delete it",
    ),
    "an escaped control character": (
        DELIVERY.replace("Slack Water", r'"Slack \x9b31mWater"'), 9, "unseen character U+009B", "leave it out",
    ),
}  # fmt: skip


@pytest.mark.parametrize("kind", FILES)
def test_a_delivery_file_that_cannot_be_used(bench, kind):
    text, line, *parts = FILES[kind]
    bench.deliver(text, audio=False)
    assert_says(one_sentence(bench.check()), f"delivery.yaml:{line}: ", *parts)


def test_a_link_that_leaves_the_folder(bench):
    bench.deliver()
    (bench.folder / "side-a.wav").rename(bench.output.parent / "elsewhere.wav")
    (bench.folder / "side-a.wav").symlink_to("../elsewhere.wav")
    sentence = one_sentence(bench.check())
    assert_says(sentence, f"delivery.yaml:{AUDIO_LINE}: ", '"side-a.wav" leads through a link out of', "put the file")


# -- the command line: exit code 2 -------------------------------------------------------------------------------


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        (["--ruleset", "disc-12in-45x"], ['no ruleset is called "disc-12in-45x"', 'did you mean "disc-12in-45"?']),
        (["--ruleset", "disc-12in-33@4"], ["disc-12in-33 has no version 4", "3.2.0"]),
        (["--ruleset", "disc-12in-33@new"], ['"new" is not a version', "write disc-12in-33@3.2.0"]),
        (["--ruleset", "./house.yaml"], ["house.yaml: there is no such file", "check the name of the ruleset"]),
        (["--ruleset", "."], ['no ruleset is called "."', "known are disc-10in-33"]),
        (["--side", "C"], ["--side C: the delivery has no such side", "it has A, B"]),
        (["--out", "jsn=x"], ['--out jsn=x: there is no format "jsn"', 'did you mean "json"?']),
        (["--out", "pdf=x"], ['there is no format "pdf"', "there are html, json, junit, note, pictures, sarif, sheet"]),
        (["--out", "x.json"], ["--out x.json", "write it as FORMAT=PATH"]),
        (["--out", "text="], ["--out text=", "write it as FORMAT=PATH"]),
        (["--out", "text=no/such/place.txt"], ["there is no folder no/such", "make it first"]),
        (["--out", "text=../out"], ["../out is a folder", "name the file to write"]),
        (["--out", f"text={'x' * 300}"], ["--out text=xxx", "File name too long", "name another place"]),
        (["--out", "text=loop"], ["loop is a link that leads to itself", "name another place"]),
        (["--out", "text=delivery.yaml"], ["delivery.yaml belongs to the delivery", "write the report elsewhere"]),
        (["--out", "text=side-b.wav"], ["side-b.wav belongs to the delivery", "write the report elsewhere"]),
        (["--out", "text=./link.txt"], ["link.txt belongs to the delivery", "write the report elsewhere"]),
        (["--out", "text=x.txt", "--out", "json=x.txt"], ["x.txt is named twice", "its own place"]),
        (["--out", "text=x.txt", "--out", "json=./x.txt"], ["./x.txt is named twice", "its own place"]),
        (["--out", "text=x.txt", "--out", "json=sub/../x.txt"], ["sub/../x.txt is named twice", "its own place"]),
        (["--out", "text=x.txt", "--out", "json=here/x.txt"], ["here/x.txt is named twice", "its own place"]),
        (["--quiet", "--verbose"], ["--verbose: not allowed with argument --quiet", "see sidegate check --help"]),
        (["--out", "text=-", "--out", "json=-"], ["- is named twice", "its own place"]),
        (["--workers", "0"], ["--workers: 0 is not a number of threads from 1 to 64", "see sidegate check --help"]),
        (["--workers", "-1"], ["--workers", "see sidegate check --help"]),
        (["--workers", "65"], ["--workers: 65 is not a number of threads from 1 to 64"]),
        (["--workers", "two"], ["--workers: two is not a number of threads from 1 to 64"]),
        (["--workers", "²"], ["--workers: ² is not a number of threads from 1 to 64"]),
        (["--workers", "9" * 5000], ["--workers: 99", "is not a number of threads from 1 to 64"]),
        (["--wrkers", "2"], ["unrecognized arguments: --wrkers 2", "see sidegate"]),
        (["--side"], ["--side: expected one argument", "see sidegate check --help"]),
        (["\x1b[2J"], [r"unrecognized arguments: \x1b[2J", "see sidegate"]),
    ],
    ids=lambda value: " ".join(value)[:40].encode("unicode_escape").decode() if value[0][:1] in "-\x1b" else "",
)
def test_words_that_cannot_be_used(bench, words, parts):
    bench.deliver()
    (bench.folder / "sub").mkdir()
    (bench.folder / "here").symlink_to(".")
    (bench.folder / "loop").symlink_to("loop")
    (bench.folder / "link.txt").symlink_to("side-a.wav")
    before = digests(bench.folder)
    assert_says(one_sentence(bench.check(*words)), *parts)
    assert digests(bench.folder) == before


def digests(folder):
    return {
        path.name: hashlib.sha256(path.read_bytes()).digest() for path in sorted(folder.iterdir()) if path.is_file()
    }


def test_the_report_does_not_take_the_place_of_the_ruleset(bench, shipped):
    bench.deliver()
    house = bench.folder / "house.yaml"
    house.write_bytes(shipped)
    ran = bench.check("--ruleset", "./house.yaml", "--out", "text=house.yaml")
    assert_says(one_sentence(ran), "house.yaml", "write the report elsewhere")
    assert house.read_bytes() == shipped
    bench.deliver(DELIVERY + "ruleset: ./house.yaml\n")
    assert_says(one_sentence(bench.check("--out", "text=house.yaml")), "house.yaml", "write the report elsewhere")
    assert house.read_bytes() == shipped


def test_a_folder_that_may_not_be_written(bench):
    bench.deliver()
    ran = bench.run("check", bench.folder, "--out", "text=/proc/self/report.txt")
    if os.access("/proc/self", os.W_OK):  # no file can be made there, whatever the access bits say
        assert ran.code == 2
        assert_says(ran.sentences[-1], "/proc/self/report.txt cannot be written", "name another place")
    else:
        assert_says(one_sentence(ran), "/proc/self may not be written", "name another place")


@pytest.mark.parametrize(
    ("words", "parts"),
    [
        ([], ["COMMAND", "see sidegate --help"]),
        (["chekc"], ["invalid choice: 'chekc'", "check", "see sidegate --help"]),
        (["check"], ["DELIVERY", "see sidegate check --help"]),
        (["schema"], ["model", "see sidegate schema --help"]),
        (["schema", "side"], ["invalid choice: 'side'", "report", "see sidegate schema --help"]),
        (["rulesets", "all"], ["invalid choice: 'all'", "diff", "see sidegate rulesets --help"]),
        (["--fast"], ["see sidegate --help"]),
        ([""], ["invalid choice: ''", "see sidegate --help"]),
        (["check", ""], ["the delivery has no name", "give a delivery file"]),
    ],
)
def test_commands_that_there_are_not(bench, words, parts):
    assert_says(one_sentence(bench.run(*words)), *parts)


# -- the audio: exit code 1, and the other side is judged --------------------------------------------------------


def cut(share, container, coding):
    """Write a file and cut it off after a share of its bytes."""

    def make(path):
        soundfile.write(path, programme(), RATE, format=container, subtype=coding)
        os.truncate(path, int(path.stat().st_size * share))

    return make


def samples(change, coding="FLOAT", rate=RATE, seconds=2.0):
    """Write a file of samples that are changed before."""

    def make(path):
        soundfile.write(path, change(programme(seconds, rate)), rate, format="WAV", subtype=coding)

    return make


def holding(value, second=1.25):
    """Put one value where a second begins."""

    def change(x):
        x[round(second * RATE), 1] = value
        return x

    return samples(change)


def noise(dbfs):
    rng = np.random.default_rng(7)
    return samples(lambda x: np.clip(rng.standard_normal(x.shape), -2.0, 2.0) / 2.0 * 10.0 ** (dbfs / 20.0), "PCM_24")


def cut_flac(path):
    """Noise, so that the frames of the file are all about as long."""
    x = np.random.default_rng(3).uniform(-0.1, 0.1, (10 * RATE, 2))
    soundfile.write(path, x, RATE, format="FLAC", subtype="PCM_16")
    os.truncate(path, path.stat().st_size // 2)


# kind -> maker, kind in the report, words of the message, words of the remedy, second (with the range of a doubt)
AUDIO_FAULTS = {
    "missing": (lambda _: None, "missing", "side-a.wav is not there", "correct its name", None),
    "a folder": (lambda path: path.mkdir(), "not a plain file", "is a folder", "Name the audio file itself", None),
    "a FIFO": (os.mkfifo, "not a plain file", "is a FIFO", "Name the audio file itself", None),
    "a link to itself": (lambda path: path.symlink_to(path.name), "missing", "cannot be reached", "check again", None),
    "text": (lambda path: path.write_text("RIFF of the sea\n"), "not audio", "cannot be read", "Ask for a WAV", None),
    "0 bytes": (lambda path: path.touch(), "empty", "holds no bytes", "Ask for the file again", None),
    "0 frames": (samples(lambda x: x[:0]), "empty", "holds no frames", "Ask for the file again", None),
    "a header only": (cut(0.00007, "WAV", "PCM_24"), "not audio", "ends inside its header", "Ask for a WAV", None),
    "WAV cut off": (cut(0.5, "WAV", "PCM_24"), "cut off", "header says 0:02.000", "Ask for the file again", 1.0),
    "WAV without its last byte": (
        cut(1.0 - 2e-6, "WAV", "PCM_24"), "cut off", "header says 0:02.000", "Ask for the file again", 2.0,
    ),
    "AIFF cut off": (cut(0.25, "AIFF", "PCM_16"), "cut off", "header says 0:02.000", "Ask for the file again", 0.5),
    "RF64 cut off": (cut(0.5, "RF64", "PCM_24"), "cut off", "header says 0:02.000", "Ask for the file again", 1.0),
    "FLAC cut off": (cut_flac, "cut off", "side-a.wav", "Ask for the file again", 5.0),
    "OGG": (
        lambda path: soundfile.write(path, programme(), RATE, format="OGG", subtype="VORBIS"),
        "not audio", "is OGG", "Ask for a WAV, RF64, AIFF or FLAC file", None,
    ),
    "MP3": (
        lambda path: soundfile.write(path, programme(), RATE, format="MP3"),
        "not audio", "not WAV, RF64, AIFF or FLAC", "Ask for a WAV, RF64, AIFF or FLAC file", None,
    ),
    "not a number": (holding(np.nan), "not finite", "not a number at 0:01.250", "Ask for the file again", 1.25),
    "infinite": (holding(-np.inf, 0.5), "not finite", "infinite at 0:00.500", "Ask for the file again", 0.5),
    "1e30": (holding(1e30, 1.5), "absurd level", "+600 dBFS at 0:01.500", "Ask for the file again", 1.5),
    "digital silence": (
        samples(np.zeros_like), "silent", "holds no programme from start to end", "Ask for the file again", None,
    ),
    "noise at -70 dBFS": (
        noise(-70.0), "silent", "holds no programme from start to end", "Ask for the file again", None,
    ),
    "5 channels": (
        samples(lambda x: np.repeat(x[:, :1], 5, axis=1)), "channels", "has 5 channels", "stereo or mono master", None,
    ),
    "8 kHz": (samples(lambda x: x, rate=8_000), "rate", "8000 Hz", "Ask for one of 44.1, 48", None),
    "8 bit": (samples(lambda x: x, "PCM_U8"), "bit depth", "8 bit", "before it was reduced", None),
}  # fmt: skip


def assert_disagrees(ran, kind, message, remedy, second):
    """Side A fails by one finding and is not measured; side B is judged as ever."""
    assert ran.code == 1, ran.err
    assert ran.report["verdict"] == "fail"
    assert ran.report["plugin_failures"] == []
    result = ran.result(DISAGREES)
    assert result["outcome"] == "fail"
    (finding,) = result["findings"]
    assert finding["measured"] == kind
    assert message in finding["message"]
    assert remedy in finding["remedy"]
    at = finding["location"]
    where = {"checksum": ("sha256", AUDIO_LINE + 1)}
    assert (at["side"], at["field"], at["line"]) == ("A", *where.get(kind, ("audio", AUDIO_LINE)))
    if second is None:
        assert at["start_s"] is None
    else:
        assert at["start_s"] == pytest.approx(second, abs=0.2 if kind in {"cut off", "damaged"} else 1e-4)
    others = {check: outcome for check, outcome in ran.outcomes("A").items() if check != DISAGREES}
    assert set(others.values()) == {"not_measured"}
    assert all(finding["message"] in r["reason"] for r in ran.report["results"] if r["outcome"] == "not_measured")
    good = ran.outcomes("B")
    assert good.keys() == ran.outcomes("A").keys()
    assert set(good.values()) <= {"pass", "not_applicable"}
    assert good[DISAGREES] == good["groove.drive-too-high"] == "pass"
    for sentence in ran.sentences:
        assert sentence.startswith("sidegate: ")


@pytest.mark.parametrize("fault", AUDIO_FAULTS)
def test_audio_that_cannot_be_judged(bench, fault):
    make, *expected = AUDIO_FAULTS[fault]
    bench.deliver()
    (bench.folder / "side-a.wav").unlink()
    make(bench.folder / "side-a.wav")
    assert_disagrees(bench.check(), *expected)


def test_a_wrong_checksum(bench):
    bench.deliver(PINNED.replace(AUDIO, AUDIO + f"    sha256: {'0' * 64}\n"))
    ran = bench.check()
    assert_disagrees(ran, "checksum", "the delivery says 000000000000", "Ask for the file that was meant", None)


def test_the_right_checksum(bench):
    bench.deliver()
    digest = hashlib.sha256((bench.folder / "side-a.wav").read_bytes()).hexdigest()
    bench.deliver(DELIVERY.replace(AUDIO, AUDIO + f"    sha256: {digest.upper()}\n"))
    assert bench.check().code == 0


def test_mono_that_was_declared_as_stereo(bench):
    bench.deliver(PINNED.replace(AUDIO, AUDIO + "    channels: [left, right]\n"))
    soundfile.write(bench.folder / "side-a.wav", programme()[:, 0], RATE, subtype="PCM_24")
    ran = bench.check()
    assert_disagrees(ran, "channels", "has 1 channel, the delivery says 2", "correct the delivery", None)


def test_a_file_that_ends_before_its_last_track_fails_and_is_measured(bench):
    bench.deliver()
    seconds = 2.0 - 1.1 / 75.0
    soundfile.write(bench.folder / "side-a.wav", programme(seconds), RATE, subtype="PCM_24")
    ran = bench.check()
    assert ran.code == 1
    (finding,) = ran.result(DISAGREES)["findings"]
    assert (finding["measured"], finding["severity"]) == ("shorter than declared", "fail")
    assert "ends at 0:01.985, track 2 is said to end at 0:02.000" in finding["message"]
    assert "correct the track times" in finding["remedy"]
    at = finding["location"]
    assert (at["field"], at["line"]) == ("tracks.1.end", AUDIO_LINE + 4)
    assert at["start_s"] == pytest.approx(seconds, abs=1e-4)
    assert ran.outcomes("A")["groove.drive-too-high"] == "pass"
    assert "not_measured" not in ran.outcomes("A").values()


def test_a_track_may_end_a_hundredth_of_a_second_late(bench):
    bench.deliver()
    soundfile.write(bench.folder / "side-a.wav", programme(1.99), RATE, subtype="PCM_24")
    ran = bench.check()
    assert ran.code == 0
    assert ran.outcomes("A")[DISAGREES] == "pass"


def test_a_flac_file_that_leaves_its_length_open(bench):
    """What a stream leaves behind: no number of frames in the header."""
    bench.deliver()
    path = bench.folder / "side-a.wav"
    soundfile.write(path, programme(), RATE, format="FLAC", subtype="PCM_24")
    whole = bytearray(path.read_bytes())
    assert whole[:4] == b"fLaC"
    whole[21] &= 0xF0
    whole[22:26] = bytes(4)
    path.write_bytes(whole)
    ran = bench.check()
    assert_disagrees(ran, "length left open", "does not say how long it is", "Ask for the file again", None)
    assert ran.report["sides"][0]["audio"]["frames"] is None


def test_two_faults_are_two_findings(bench):
    bench.deliver(DELIVERY.replace(AUDIO, AUDIO + f"    sha256: {'0' * 64}\n"))
    samples(lambda x: x[:, :1], "PCM_U8", rate=8_000)(bench.folder / "side-a.wav")
    ran = bench.check()
    assert ran.code == 1
    assert [f["measured"] for f in ran.result(DISAGREES)["findings"]] == ["checksum", "rate", "bit depth"]


def test_damage_in_the_middle_of_a_flac_file(bench):
    bench.deliver()
    path = bench.folder / "side-a.wav"
    x = np.random.default_rng(3).uniform(-0.1, 0.1, (2 * RATE, 2))
    soundfile.write(path, x, RATE, format="FLAC", subtype="PCM_16")
    whole = bytearray(path.read_bytes())
    middle = len(whole) // 2
    whole[middle : middle + 20_000] = bytes(20_000)
    path.write_bytes(whole)
    assert_disagrees(bench.check(), "damaged", "side-a.wav cannot be decoded from 0:0", "Ask for the file again", 1.0)
