"""Two rulesets compared, and what an audio delivery makes of the difference."""
