"""Checks of the file itself: its sample rate and what was done to it before."""
