"""SARIF, for code review in CI."""
