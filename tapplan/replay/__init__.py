"""Years of measured mains through the compiled controller: moves, time in each band, time outside, contact life."""
