"""Version numbers and the versions that are asked for, as PEP 440 writes them, no longer than anyone writes them.

Python refuses to read integers of thousands of digits with an error of its own, which no caller expects.
"""

from __future__ import annotations

from packaging.specifiers import InvalidSpecifier, SpecifierSet
from packaging.version import InvalidVersion, Version

LONGEST_VERSION = 64
"""Characters of a version; "2026.1.0rc1.post2+local" has 23 (practice)."""
LONGEST_SPECIFIER = 256
"""Characters of what asks for versions, such as ">=0.1,<2" (practice)."""


def read_version(text: str) -> Version:
    """Read a version; raises InvalidVersion for what is none, or too long to be one."""
    if len(text) > LONGEST_VERSION:
        raise InvalidVersion(f"a version has at most {LONGEST_VERSION} characters, this has {len(text)}")
    return Version(text)


def read_specifier(text: str) -> SpecifierSet:
    """Read what asks for versions; raises InvalidSpecifier for what does not, or is too long."""
    if len(text) > LONGEST_SPECIFIER:
        raise InvalidSpecifier(
            f"versions are asked for in at most {LONGEST_SPECIFIER} characters, this has {len(text)}"
        )
    return SpecifierSet(text)
