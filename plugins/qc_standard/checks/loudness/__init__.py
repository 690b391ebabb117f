"""Loudness of the programme."""
