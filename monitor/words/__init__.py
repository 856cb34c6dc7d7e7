"""What is said to people: the table of sentences of state and warnings, and the one way in which figures are written."""
