"""Filters: biquads, cascades, linear-phase FIR, the recording curve."""
