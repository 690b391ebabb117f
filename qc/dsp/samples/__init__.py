"""Samples packed to bytes and unpacked from them."""
