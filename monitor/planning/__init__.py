"""Before the show: bench checks, terminals, budget, sharing the load."""
