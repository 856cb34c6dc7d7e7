"""Set-up: what a first hour asks, as plain data for the terminal and the page alike."""
