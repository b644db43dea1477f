"""What the controller does: which bands to use, where to switch, which band is in force."""
