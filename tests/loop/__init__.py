"""The whole stage in a closed loop: what the package says, against a simulation that knows nothing of it."""
