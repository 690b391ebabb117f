"""YAML with lines: what is read stays as written, and every fault is one sentence with its line."""

from __future__ import annotations

import hashlib
import os
from collections.abc import Mapping
from importlib.resources import files
from pathlib import Path
from typing import Any

import pytest
from hypothesis import example, given, settings
from hypothesis import strategies as st
from pydantic import Field
from ruamel.yaml import __with_libyaml__

import qc.files.yaml_nodes
from qc.files.yaml_source import LARGEST, YamlSource, load_yaml, parse_yaml, validate
from qc.model.errors import DeliveryError, RulesetError
from qc.model.quantity import Model
from qc.text.sanitize import misplaced


def read(text: str | bytes):
    return parse_yaml(text.encode() if isinstance(text, str) else text, "d.yaml", "delivery", DeliveryError)


def sentence(text: str | bytes) -> str:
    with pytest.raises(DeliveryError) as caught:
        read(text)
    return str(caught.value)


def test_scalars_stay_as_they_are_written():
    data = read("a: 001\nb: 1e3\nc: yes\nd: 2026-03-01\ne: '~'\nf: 4:31\ng: 0x1F\nh: \"null\"\n").data
    assert data == {
        "a": "001", "b": "1e3", "c": "yes", "d": "2026-03-01", "e": "~", "f": "4:31", "g": "0x1F",
        "h": "null",
    }  # fmt: skip


def test_a_tab_between_words_may_be_a_space_or_in_quotes():
    assert read('a: "b\tc"\n').data == {"a": "b\tc"}
    assert read("a: b c\n").data == {"a": "b c"}


@pytest.mark.parametrize("written", ["", "~", "null", "Null", "NULL"])
def test_nothing_is_none(written: str):
    assert read(f"a: {written}\n").data == {"a": None}


def test_lists_mappings_and_blocks():
    data = read("a:\n- x\n- {b: [1, 2], c: }\nd: |\n  one\n  two\n").data
    assert data == {"a": ["x", {"b": ["1", "2"], "c": None}], "d": "one\ntwo\n"}


def test_lines_of_keys_items_and_of_the_deepest_part_there_is():
    yaml_source = read("# paper\na:\n  - x\n  -\n    b: 1\n    c: {d: 2,\n      e: 3}\nf: |\n  text\n")
    at = {
        (): 2, ("a",): 2, ("a", 0): 3, ("a", 1): 5, ("a", 1, "b"): 5, ("a", 1, "c"): 6, ("a", 1, "c", "e"): 7,
        ("a", 1, "c", "e", "x"): 7, ("a", 7): 2, ("f",): 8, ("g", "h"): 2,
    }  # fmt: skip
    assert {loc: yaml_source.line(loc) for loc in at} == at
    assert yaml_source.at(("f",)) == "d.yaml:8"


def test_byte_order_mark_and_line_ends():
    plain = read("a: 1\nb:\n  - 2\n")
    for text in (b"\xef\xbb\xbfa: 1\r\nb:\r\n  - 2\r\n", b"a: 1\rb:\r  - 2\r"):
        yaml_source = read(text)
        assert yaml_source.data == plain.data
        assert yaml_source.line(("b", 0)) == 3
        assert yaml_source.sha256 == hashlib.sha256(text).hexdigest()


# text, line, a part of the sentence
BAD: list[tuple[str | bytes, int, str]] = [
    ("", 1, "is empty"),
    ("# only a remark\n", 1, "is empty"),
    ("- a\n", 1, "holds a list"),
    ("\na:b\n", 2, "holds a single value"),
    ("a:\n\tb: 1\n", 2, "there is a tab in the indentation"),
    ("a: 1\nb:\n-\tc: 1\n", 3, "there is a tab in the indentation"),
    ("a: 1\nb: c\td\n", 2, "there is a tab between or after the words"),
    ("a: 1\nb: c: d\n", 2, "a key is not allowed here"),
    ("a: 1\n b: 2\n", 2, "a key is not allowed here"),
    ("a: 1\nb\nc: 2\n", 2, 'has no ":"'),
    ("a: 1\nb: 'x\nc: 2\nd: 3\n", 2, "quotation mark"),
    ("a: 1\nb: [1, 2\nc: 3\n", 2, 'opened with "["'),
    ("a: 1\nb: {c: 1\n", 2, 'opened with "{"'),
    ("a: 1\nb: [1, 2]]\n", 2, 'a "]" closes nothing'),
    ("a: 1\nb: %x\n", 2, 'cannot begin with "%"'),
    ("a: 1\nb: @x\n", 2, 'cannot begin with "@"'),
    ("a: 1\nb: - c\n", 2, "a list item"),
    ("a: 1\n- b\n", 2, "not indented as those above it"),
    ("a: 1\nb: 'c' d\n", 2, "after a closing quotation mark"),
    ('a: 1\nb: "c\\q"\n', 2, "a backslash inside"),
    ('a: 1\nb: "\\U00110000"\n', 2, "not valid YAML"),
    ('a: 1\nb: "\\ud800"\n', 2, "unseen character U+D800"),
    ('a: 1\nb: "x\\0"\n', 2, "unseen character U+0000"),
    ("a: 1\nb: x\x00\n", 2, "unseen character U+0000"),
    ("a: 1\nb: x\x1b[2J\n", 2, "unseen character U+001B"),
    ("a: 1\nb: x\u2028\n", 2, "unseen character U+2028"),
    (b"a: 1\nb: caf\xe9\n", 2, "the byte 0xe9 at offset 11 is not UTF-8"),
    (b"\xff\xfea\x00", 1, "the byte 0xff at offset 0 is not UTF-8"),
    ("a: 1\nb: 2\na: 3\n", 3, 'the key "a" is already on line 1'),
    ("a:\n  - b: 1\n    'b': 2\n", 3, 'the key "b" is already on line 2'),
    ("a: 1\nb: &x [1]\n", 2, '"&x" is an anchor'),
    ("a: 1\nb: *x\n", 2, '"*x" is an alias'),
    ("a: 1\nb: [c, &x d, *x]\n", 2, '"&x" is an anchor'),
    ("a: &x 1\nb: &x 2\n", 1, '"&x" is an anchor'),
    ("é: 𝄞\n𝄞: !!str x\n", 2, '"!!str" is a tag'),
    ("a: 1\n*x : 1\n", 2, '"*x" is an alias'),
    ("a: 1\nb: !!python/object:os.system x\n", 2, '"!!python/object:os.system" is a tag'),
    ("a: 1\nb: !mine {c: 1}\n", 2, '"!mine" is a tag'),
    ("a: 1\nb: ! c\n", 2, '"!" is a tag'),
    ("a: 1\n<<: {b: 1}\n", 2, "the merge key"),
    ("a: 1\n---\nb: 2\n", 2, "a second document"),
    ("a: 1\n...\nb\n", 3, "a second document"),
    ("%YAML 1.1\n---\na: 1\n", 1, 'begins with "%"'),
    ("# x\n%TAG ! tag:x,2000:\n---\na: 1\n", 2, 'begins with "%"'),
    ("a: 1\n? [b]\n: c\n", 2, "a key must be plain text"),
    ("a: 1\nb: {{ c }}\n", 2, "a key must be plain text"),
    ("a: 1\n: b\n", 2, "a key is missing"),
    ("a: " + "[" * 33 + "\n", 1, "nested deeper than 32"),
    ("a: 1\nb: " + "[" * 100_000, 2, "nested deeper than 32"),
    ("a: 1\nb:\n  " + "- " * 100_000, 3, "nested deeper than 32"),
    ("a: 1\nb: " + "{a: " * 60_000, 2, "nested deeper than 32"),
    ("a: 1\nb: " + "[" * 3_000 + "]" * 3_000 + "\n", 2, "nested deeper than 32"),
    ("\n".join(" " * i + "a:" for i in range(40)), 33, "nested deeper than 32"),
]


@pytest.mark.parametrize(("text", "line", "part"), BAD, ids=[f"{i}-{part[:20]}" for i, (_, _, part) in enumerate(BAD)])
def test_a_fault_is_one_sentence_with_its_line(text: str | bytes, line: int, part: str):
    said = sentence(text)
    assert said.startswith(f"d.yaml:{line}: ")
    assert part in said
    assert "\n" not in said
    assert len(said) < 250


def test_nesting_up_to_the_bound_is_read():
    assert read("a: " + "[" * 31 + "]" * 31 + "\n").data["a"] is not None


def test_an_anchor_bomb_is_refused_before_it_grows():
    bomb = "a: &a [x, x]\n" + "".join(f"{b}: &{b} [*{a}, *{a}]\n" for a, b in zip("abcdefgh", "bcdefghi", strict=True))
    assert sentence(bomb).startswith('d.yaml:1: "&a" is an anchor')


@given(st.text(alphabet="ab:-?[]{}&*!|>%@'\"#,<~ \t\n\\x0u\x00\u2028é", max_size=40))
@example('a: "\\U00110000"')
@example("%YAML 9\n")
@settings(max_examples=600, deadline=None)
def test_no_text_breaks_the_reader(text: str):
    try:
        yaml_source = read(text)
    except DeliveryError as error:
        name, line, said = str(error).split(":", 2)
        assert (name, "\n" in said) == ("d.yaml", False)
        assert 1 <= int(line) <= text.count("\n") + 1
    else:
        assert isinstance(yaml_source.data, dict)


WORDS = st.sampled_from([
    "a", "b: x", "- ", "- a", "[", "]", "{", "}", ", ", ": ", ":", "? ", "#", " # c", '"', "'", "\n", "\n  ",
    "\n    ", "|\n", ">\n", " ", "\t", "---\n", "...\n", "~", '"x"', "'y'", '"\\n"', '"\\/"', "é", "http://x",
    "a:b", "%", "@", "`", "!t ", "&a ", "*a", "<<", "|-\n", "|2\n", ">+\n", "4:31", "\\", '"a\n b"',
    "key: [1, 2]", "key: {a: 1}", "\n- ", "\n  - ", "=",
])  # fmt: skip


TWO_PARSERS = pytest.mark.skipif(not __with_libyaml__, reason="needs ruamel.yaml.clib")
TEXTS = st.lists(WORDS, max_size=14).map("".join)


@TWO_PARSERS
@given(TEXTS)
@example("a: 1\n...\n...\n")
@example("a: b\tc\n")
@example("<<: a\n")
@settings(max_examples=300, deadline=None)
def test_both_parsers_read_the_same(text: str):
    assert_both_parsers_agree(text)


@pytest.mark.long
@TWO_PARSERS
@given(TEXTS)
@settings(max_examples=1500, deadline=None)
def test_both_parsers_read_the_same_of_many_texts(text: str):
    assert_both_parsers_agree(text)


def assert_both_parsers_agree(text: str):
    """libyaml is the quick one; what it takes and ruamel.yaml's own would not, or not so, must not come through."""
    taken = []
    for quick in (True, False):
        with pytest.MonkeyPatch.context() as patch:
            patch.setattr("qc.files.yaml_nodes.__with_libyaml__", quick)
            try:
                yaml_source = read("top: 1\n" + text)
                taken.append((yaml_source.data, lines(yaml_source)))
            except DeliveryError as error:
                taken.append(str(error))
    assert taken[0] == taken[1]


def lines(yaml_source: YamlSource) -> dict[Any, int]:
    """Place of each value of a file -> its line."""

    def below(loc: tuple[Any, ...], value: Any):
        yield loc
        if isinstance(value, dict | list):
            for part in value if isinstance(value, dict) else range(len(value)):
                yield from below((*loc, part), value[part])

    return {loc: yaml_source.line(loc) for loc in below((), yaml_source.data)}


@pytest.mark.skipif(not __with_libyaml__, reason="needs ruamel.yaml.clib")
def test_shipped_rulesets_are_read_alike_and_by_the_quick_parser(monkeypatch):
    slow = []
    compose = qc.files.yaml_nodes._composed
    monkeypatch.setattr(qc.files.yaml_nodes, "_composed", lambda written: slow.append(written) or compose(written))
    for path in sorted(Path(str(files("qc_rulesets"))).rglob("*.yaml")):
        text = path.read_bytes()
        quick = read(text)
        assert not slow, path
        with monkeypatch.context() as patch:
            patch.setattr("qc.files.yaml_nodes.__with_libyaml__", False)
            other = read(text)
        assert slow.pop().text == text.decode()
        assert other == quick
        assert lines(other) == lines(quick)


@given(st.binary(max_size=30))
def test_no_bytes_break_the_reader(text: bytes):
    try:
        read(text)
    except DeliveryError as error:
        said = str(error)
        assert said.startswith("d.yaml:")


# -- files -------------------------------------------------------------------------------------------------


def load(path: Any) -> str:
    with pytest.raises(RulesetError) as caught:
        load_yaml(path, "ruleset", RulesetError)
    assert str(caught.value).startswith(f"{path}: ")
    return str(caught.value)


def test_a_file_is_read_with_its_digest(tmp_path: Path):
    path = tmp_path / "r.yaml"
    path.write_bytes(b"name: x\n")
    yaml_source = load_yaml(path, "ruleset", RulesetError)
    assert (yaml_source.data, yaml_source.path, yaml_source.name) == ({"name": "x"}, path, str(path))
    assert yaml_source.sha256 == hashlib.sha256(b"name: x\n").hexdigest()


def test_what_is_no_plain_file_is_refused_without_blocking(tmp_path: Path):
    os.mkfifo(tmp_path / "pipe")
    (tmp_path / "dangling").symlink_to(tmp_path / "nowhere")
    assert "there is no such file" in load(tmp_path / "r.yaml")
    assert "there is no such file" in load(tmp_path / "dangling")
    assert "is a folder, not a ruleset" in load(tmp_path)
    assert "not a plain file" in load(tmp_path / "pipe")
    assert "not a plain file" in load(Path("/dev/null"))
    (tmp_path / "r.yaml").write_bytes(b"")
    assert "cannot be read" in load(tmp_path / "r.yaml" / "x")


def test_a_file_of_more_than_a_mebibyte_is_refused(tmp_path: Path):
    path = tmp_path / "r.yaml"
    path.write_bytes(b"a: x #" + b"x" * (LARGEST - 7) + b"\n")
    assert load_yaml(path, "ruleset", RulesetError).data["a"]
    path.write_bytes(b"a: x #" + b"x" * (LARGEST - 6) + b"\n")
    assert "larger than 256 KiB" in load(path)


def test_an_odd_file_name_is_shown_on_one_line(tmp_path: Path):
    path = tmp_path / "a\nb\udce9.yaml"
    path.write_bytes(b"- a\n")
    with pytest.raises(DeliveryError, match=r"a\\nb\\udce9\.yaml:1: ") as caught:
        load_yaml(path, "delivery", DeliveryError)
    assert str(caught.value).encode()


# -- models ------------------------------------------------------------------------------------------------


class Inner(Model):
    width: int = Field(ge=1, le=9)
    from_: str | None = Field(None, alias="from")


class Outer(Model):
    title: str = Field(examples=["Quiet Harbour"])
    inner: Inner | None = None
    many: tuple[Inner, ...] = Field((), min_length=1)
    named: Mapping[str, Inner] = Field(default_factory=dict)
    flag: bool = False
    share: float = 0.0

    def model_post_init(self, _: Any) -> None:
        if self.title == "{odd}":
            raise misplaced("{odd} is odd", ("title",), ("many", 0))


def outer(text: str) -> str:
    with pytest.raises(DeliveryError) as caught:
        validate(read(text), Outer, DeliveryError)
    return str(caught.value)


def test_a_model_is_filled_from_text():
    model = validate(read("title: 1984\nmany: [{width: 3, from: x}]\nflag: true\n"), Outer, DeliveryError)
    assert (model.title, model.many[0].width, model.many[0].from_, model.flag) == ("1984", 3, "x", True)


@pytest.mark.parametrize(
    ("text", "said"),
    [
        ("flag: true\n", 'd.yaml:1: "title" is missing; write it as title: Quiet Harbour'),
        ("flag: true\ntitel: x\n", 'd.yaml:2: unknown key "titel"; did you mean "title"?'),
        ("title: x\nTitle: x\n", 'd.yaml:2: unknown key "Title"; did you mean "title"?'),
        (
            "title: x\nzzz: x\n",
            'd.yaml:2: unknown key "zzz"; the keys here are title, inner, many, named, flag, share',
        ),
        ("title: x\ninner: {width: 1,\n fron: y}\n", 'd.yaml:3: unknown key "fron"; did you mean "from"?'),
        ("title: x\ninner: {width: 1,\n from_: y}\n", 'd.yaml:3: unknown key "from_"; did you mean "from"?'),
        (
            "title: x\nmany:\n  - width: 1\n  - widht: 2\n",
            'd.yaml:4: unknown key "widht"; did you mean "width"?',
        ),
        ("title: x\nnamed:\n  a:\n    wide: 2\n", 'd.yaml:4: unknown key "wide"; did you mean "width"?'),
        ("title: x\nmany:\n  - {}\n", 'd.yaml:3: "width" is missing; add it'),
        ("title: x\nmany:\n  - width: x\n", 'd.yaml:3: "width" is "x"; it must be a whole number'),
        ("title: x\nmany:\n  - width: 10\n", 'd.yaml:3: "width" is "10"; it must be at most 9'),
        ("title: x\nmany:\n  - width: 0\n", 'd.yaml:3: "width" is "0"; it must be at least 1'),
        ("title: x\nmany: []\n", 'd.yaml:2: "many" is empty; fill it in'),
        (
            "title: x\nmany: 1\n",
            'd.yaml:2: "many" is "1"; it must be a list, [...] or lines that begin with "- "',
        ),
        (
            "title: x\nmany: [1]\n",
            'd.yaml:2: item 1 of "many" is "1"; it must hold keys with values: width, from',
        ),
        ("title: x\ninner: [1]\n", 'd.yaml:2: "inner" is a list; it must hold keys with values: width, from'),
        ("title:\n", 'd.yaml:1: "title" is empty; fill it in'),
        ("title: [x]\n", 'd.yaml:1: "title" is a list; it must be one value'),
        ("title: {x: y}\n", 'd.yaml:1: "title" holds keys of its own; it must be one value'),
        ("title: x\nflag: perhaps\n", 'd.yaml:2: "flag" is "perhaps"; it must be true or false'),
        ("title: x\nshare: much\n", 'd.yaml:2: "share" is "much"; it must be a number'),
        ("title: x\nshare: nan\n", 'd.yaml:2: "share" is "nan"; it must be a number'),
        (
            "flag: x\nshare: y\ntitle: z\nfoo: 1\n",
            'd.yaml:1: "flag" is "x"; it must be true or false (and 2 more)',
        ),
        ("many:\n- width: 1\ntitle: '{odd}'\n", "d.yaml:3: {odd} is odd (see line 2)"),
    ],
)
def test_a_fault_of_the_model_is_one_sentence_in_plain_words(text: str, said: str):
    assert outer(text) == said
