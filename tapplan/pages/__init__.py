"""Values to text, tables, drawings and JSON; nothing is decided here."""
