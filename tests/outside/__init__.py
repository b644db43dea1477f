"""A second reading of the format, from outside: nothing here imports from the package that it judges."""
