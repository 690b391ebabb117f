"""The plugin surface: what a plugin may give (spec), how plugins are found (finder) and kept apart (host)."""
