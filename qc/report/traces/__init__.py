"""Curves along a side as files."""
