"""Questions that make or change a design and ask again."""
