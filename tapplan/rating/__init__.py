"""What copper, iron and contacts carry: physics in floating point, on top of the exact table."""
