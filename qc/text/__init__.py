"""Text: harmless to print, with the nearest known name, in Markdown, on a page."""
