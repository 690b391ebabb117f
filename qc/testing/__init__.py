"""The public kit for people who write checks: music by code, deliveries in a folder, a driver."""
