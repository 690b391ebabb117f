"""The groove worked out a second time, a whole file at once, for the streaming pass to answer to."""
