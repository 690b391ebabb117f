"""The report as one page for a browser: words, tables and pictures, with nothing to fetch."""
