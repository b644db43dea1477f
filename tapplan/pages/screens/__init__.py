"""The answers on a screen, or as plain text in a pipe: one module an answer, each with `screen(answer, width)`."""
