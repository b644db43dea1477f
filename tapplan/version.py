"""The version: stated here alone; the build reads it from this file."""

__version__ = "0.2.0"
