"""The tables of a design file, by what they are about; `tapplan.design.model` has the whole, and is imported from."""
