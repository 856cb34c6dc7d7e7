"""pilotlamp's watcher: from a sensor board's bytes to readings, warnings and diagnoses."""
