"""Layout of a side: its length, its silences, its gaps, the order of its tracks."""
