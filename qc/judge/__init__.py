"""Judging: limits bound to checks, each check run on each side, outcomes and the verdict."""
