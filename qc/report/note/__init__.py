"""The letter to the client."""
