"""Planning: discs compared, running orders and breaks searched."""
