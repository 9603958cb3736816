"""From sound to words: the recogniser port, its models and its graphs."""
