"""The public kit for people who write checks: signals, music by code, deliveries in a folder, a driver."""
