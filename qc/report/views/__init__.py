"""What several formats say about a side, a finding, a level: computed once."""
