"""Views: pure functions from values to payloads and components; no threads, clocks or requests."""
