"""Remedies of the standard checks: numbers computed from a second look at the place of a finding, and sentences."""
