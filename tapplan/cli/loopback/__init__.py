"""A report served while its design file is edited: `tapplan report FILE --watch`."""
