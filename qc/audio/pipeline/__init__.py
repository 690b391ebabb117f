"""The one pass: a source read block by block, taps and analyses run over every block, threads share the work."""
