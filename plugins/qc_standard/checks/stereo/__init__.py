"""Relation of the left and the right channel."""
