"""Sound in and out: files, microphone, voice."""
