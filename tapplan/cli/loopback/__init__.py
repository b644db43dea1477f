"""A report that is served on this machine while its design file is edited: `tapplan report FILE --watch`."""
