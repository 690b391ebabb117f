"""The documents of a delivery: its file, waivers and lists of checksums. Reads no audio."""
