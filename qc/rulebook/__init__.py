"""The rulebook: pages of Markdown made from the checks, the rulesets and their sources. `python -m qc.rulebook`.

A house makes its own with it, so it is in the wheel; `project/`, which makes the pages of these sources, is not.
"""
