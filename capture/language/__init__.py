"""What may be said and what it means: JSGF grammars, spoken numbers, intents. All pure."""
