"""Laws of laying one ruleset over another, over rulesets made up of any parts."""

from __future__ import annotations

from hypothesis import given
from hypothesis import strategies as st

from qc.files.yaml_source import parse_yaml
from qc.model.errors import RulesetError
from qc.ruleset.merge import DEPTH, Document, joined, merge_data

NAMES = st.sampled_from(["a.one", "b.two", "c.three"])
LEAVES = st.dictionaries(st.sampled_from(["value", "warn", "source"]), st.sampled_from(["1", "2", "3"]), max_size=3)
PARTS = {
    "serves": LEAVES,
    "chain": st.dictionaries(NAMES, st.dictionaries(NAMES, LEAVES, max_size=3), max_size=3),
    "limits": st.dictionaries(NAMES, st.dictionaries(NAMES, LEAVES, max_size=3), max_size=3),
    "off": st.dictionaries(NAMES, st.sampled_from(["by eye", "by ear"]), max_size=3),
    "measures": st.dictionaries(NAMES, LEAVES, max_size=3),
}
OWN = {key: st.sampled_from(["x", "y"]) for key in ("name", "version")}
RULESETS = st.fixed_dictionaries(OWN, optional=PARTS)
WHOLE = st.fixed_dictionaries({**OWN, **PARTS})


def leaves(data):
    """Every value that is taken whole, by its path."""
    found = {}

    def walk(part, path, depth):
        if depth == 0 or not isinstance(part, dict):
            found[path] = part
            return
        for key, inner in part.items():
            walk(inner, (*path, key), depth - 1)

    for key, depth in DEPTH.items():
        if key in data:
            walk(data[key], (key,), depth - 1)
    return found


def shuffled(data, random):
    if not isinstance(data, dict):
        return data
    keys = list(data)
    random.shuffle(keys)
    return {key: shuffled(data[key], random) for key in keys}


@given(WHOLE)
def test_a_child_that_says_nothing_is_its_parent(parent):
    own = {"name": "child", "version": "2"}
    assert merge_data(own, parent) == {**parent, **own}


@given(RULESETS, WHOLE)
def test_what_the_child_names_is_its_own_and_all_else_the_parents(child, parent):
    merged, mine, theirs = leaves(merge_data(child, parent)), leaves(child), leaves(parent)
    judged = {*child.get("limits", {}), *child.get("measures", {})}
    on_again = {path for path in theirs if path[0] == "off" and path[1] in judged and path not in mine}
    assert merged == {path: mine.get(path, theirs.get(path)) for path in mine.keys() | theirs.keys() - on_again}
    assert (merge_data(child, parent)["name"], merge_data(child, parent)["version"]) == (
        child["name"],
        child["version"],
    )


@given(RULESETS, RULESETS, WHOLE)
def test_three_generations_are_laid_in_either_order(child, parent, grandparent):
    assert merge_data(child, merge_data(parent, grandparent)) == merge_data(merge_data(child, parent), grandparent)


@given(RULESETS, WHOLE, st.randoms(use_true_random=False))
def test_the_order_of_keys_says_nothing(child, parent, random):
    assert merge_data(shuffled(child, random), shuffled(parent, random)) == merge_data(child, parent)


def written(data):
    """Write a ruleset as YAML, a value that is taken whole on a line of its own."""
    lines = []

    def walk(key, part, depth, indent):
        text = f"{' ' * indent}{key}:"
        if depth == 0 or not isinstance(part, dict) or not part:
            inner = "{" + ", ".join(f"{k}: '{v}'" for k, v in part.items()) + "}" if isinstance(part, dict) else part
            lines.append(f"{text} {inner}")
            return
        lines.append(text)
        for name, value in part.items():
            walk(name, value, depth - 1, indent + 2)

    for key, part in data.items():
        walk(key, part, DEPTH.get(key, 1) - 1, 0)
    return "\n".join(lines)


@given(st.tuples(RULESETS, RULESETS, WHOLE))
def test_an_origin_names_the_file_that_holds_the_value(generations):
    """Each value is looked up where its origin says: that line of that file holds it, as it is after merging."""
    texts = [written(data) for data in generations]
    files = [
        parse_yaml(text.encode(), f"{name}.yaml", "ruleset", RulesetError)
        for name, text in zip(("child", "parent", "grandparent"), texts, strict=True)
    ]
    document = Document.of(files[2]).extended_by(files[1]).extended_by(files[0])
    for path, value in leaves(document.data).items():
        name, _, line = document.at(path).partition(":")
        index = ("child.yaml", "parent.yaml", "grandparent.yaml").index(name)
        assert leaves(generations[index])[path] == value
        assert texts[index].splitlines()[int(line) - 1].strip().startswith(f"{path[-1]}:")
        nearest = next(i for i, data in enumerate(generations) if path in leaves(data))
        assert index == nearest


SPECIFIERS = st.dictionaries(st.sampled_from(["one", "two"]), st.sampled_from([">=1", "<3", ">=1, <3"]))


@given(SPECIFIERS, SPECIFIERS, SPECIFIERS)
def test_what_is_required_is_joined_in_any_grouping(child, parent, grandparent):
    assert joined(child, joined(parent, grandparent)) == joined(joined(child, parent), grandparent)
    assert joined({}, parent) == joined(parent, {}) == parent
    assert joined(child, parent).keys() == child.keys() | parent.keys()
