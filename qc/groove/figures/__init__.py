"""Curves and close views for pictures."""
