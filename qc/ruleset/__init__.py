"""What is allowed: ruleset files found by name and version, read with lines, each value with its source."""
