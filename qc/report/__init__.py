"""Reports: a registry of formats, shared words (`views`), and a module or package for each format."""
