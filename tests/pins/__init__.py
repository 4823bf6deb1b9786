"""Numbers of the demo session as they were last looked at; ``python -m tests.pins`` writes them anew."""
