"""The acoustic model's recipe: speak a corpus, train on it, export, evaluate."""
