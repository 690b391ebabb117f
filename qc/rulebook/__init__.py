"""The rulebook: pages of Markdown made from the checks, the rulesets and their sources. `python -m qc.rulebook`."""
