"""Shared vocabulary: quantities, the cutting chain, errors, the models of reports and plans. Imports nothing else of qc."""
