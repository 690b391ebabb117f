"""Checks of the programme itself: its channels and their direct current."""
