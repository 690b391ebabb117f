"""Bits of the samples: how many are in use, and what a fade does in the last of them."""
