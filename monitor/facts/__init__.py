"""Electrical facts below both judges: ticks, rows, edges, openings, balance over a supply. Protection says how urgent, diagnosis why."""
