"""Spectra along a side, and what is measured on them: hum, steady lines, edges, rumble, tilt and the noise floor."""
