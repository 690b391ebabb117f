"""Shared vocabulary: quantities, the cutting chain, errors, models of reports and plans. Imports nothing of qc."""
