"""Audio: reading files block by block, and running taps and analyses on every block in several threads."""
