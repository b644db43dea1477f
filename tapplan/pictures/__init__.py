"""Pictures as SVG: the schematic, output against input, the bands. Drawn from values; nothing is decided here."""
