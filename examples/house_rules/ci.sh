#!/bin/sh
# What a build server runs for this package: the lint, the types, the tests, and the cases as a report that it can read.
set -e
pip install -q '.[ci]'
ruff check .
mypy
pytest
sidegate test tests/cases --junit cases.xml
sidegate plugins
