"""Waivers: loaded, matched with findings, counted."""
