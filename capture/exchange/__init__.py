"""What leaves the program and comes back: CSV, JSON, FHIR. Text in, plain objects out."""
