"""Measured mains: logs of voltage as files have them, read into samples, with every bad row counted and told."""
