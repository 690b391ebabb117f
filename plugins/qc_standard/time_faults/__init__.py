"""Faults in time within the programme: clicks and dropouts."""
