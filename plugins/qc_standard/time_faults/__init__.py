"""Faults within the programme: clicks, dropouts, and blocks that were repeated or cut out."""
