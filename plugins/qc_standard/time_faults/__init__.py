"""Faults in time within the programme: clicks, dropouts and repeats."""
