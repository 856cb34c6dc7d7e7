"""pilotlamp's watcher: from a sensor board's bytes to readings, warnings and diagnoses."""

import os

# Before numpy is loaded: its matrices here are tall and narrow, and two threads that wait for each other take twice the time of one.
os.environ.setdefault("OPENBLAS_NUM_THREADS", "1")
