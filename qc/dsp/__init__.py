"""Pure signal processing in numpy and numba: knows nothing of deliveries, rules or grooves."""
