"""foldcall: skinfold readings by voice and keypad, offline, read back before they count."""

__version__ = "0.1.0"
