"""What the program says, in words. Pure; one module a language, numbers from the pack itself."""
