"""Text: sanitising, suggestions of names, numbers in words, tables, Markdown, and pages of a given width."""
