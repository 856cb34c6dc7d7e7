"""The hall's pages: all stations worst first, one station as its own page shows it, a wall that turns through trouble."""
