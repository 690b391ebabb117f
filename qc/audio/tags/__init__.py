"""Tags: statements of an audio file about itself, apart from its samples. Read in bounded memory, judged elsewhere."""
