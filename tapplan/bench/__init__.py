"""At the bench: what to measure, what it should show, and which faults explain what it does show."""
